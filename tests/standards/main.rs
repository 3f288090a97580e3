//! The stages and meters against published numbers. The source stands beside each check.

mod tone_design;
mod tone_motion;
mod tone_running;

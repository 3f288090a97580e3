//! The stages and meters against published numbers. The source stands beside each check.

mod glue_curve;
mod glue_rig;
mod glue_times;

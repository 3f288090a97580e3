//! The stages and meters against published numbers. The source stands beside each check.

mod glue_any;
mod glue_curve;
mod glue_makeup;
mod glue_release;
mod glue_rig;
mod glue_sound;
mod glue_times;

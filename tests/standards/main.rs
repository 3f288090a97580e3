//! The stages and meters against published numbers. The source stands beside each check.

mod ceiling_clean;
mod ceiling_meter;
mod ceiling_peaks;
mod ceiling_promises;
mod ceiling_rig;
mod ceiling_signals;
mod glue_curve;
mod glue_rig;
mod glue_times;

//! The stages and meters against published numbers. The source stands beside each check.

mod ceiling_clean;
mod ceiling_peaks;
mod ceiling_promises;
mod glue_any;
mod glue_curve;
mod glue_makeup;
mod glue_release;
mod glue_sound;
mod glue_times;
mod meter_loudness;
mod meter_reference;
mod meter_signals;
mod meter_true_peak;
mod tone_design;
mod tone_motion;
mod tone_running;

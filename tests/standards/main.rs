//! The stages and meters against published numbers. The source stands beside each check.

mod compressor_any;
mod compressor_curve;
mod compressor_makeup;
mod compressor_release;
mod compressor_sound;
mod compressor_times;
mod eq_design;
mod eq_motion;
mod eq_running;
mod grade;
mod grade_items;
mod limiter_clean;
mod limiter_passes;
mod limiter_peaks;
mod limiter_promises;
mod meter_loudness;
mod meter_reference;
mod meter_signals;
mod meter_true_peak;

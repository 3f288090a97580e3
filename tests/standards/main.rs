//! The stages and meters against published numbers. The source stands beside each check.

mod meter_loudness;
mod meter_reference;
mod meter_signals;
mod meter_true_peak;

//! Prices.

pub mod instance;

//! Measuring: what is loud, what is high, what was taken away, and what that means.

pub mod matching;

//! The window in hosts, on a display of its own (Xvfb; where it is missing the tests say so and pass).
#![cfg(all(feature = "editor", target_os = "linux"))]

mod closing;
mod leaves;
mod pair;

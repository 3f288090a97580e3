//! The window in hosts, on a display of its own (Xvfb; where it is missing the tests say so and pass).
#![cfg(all(feature = "editor", target_os = "linux"))]

#[path = "../rig/child.rs"]
mod child;
mod closing;
#[path = "../rig/display.rs"]
mod display;
mod leaves;
mod pair;
#[path = "../rig/window.rs"]
mod parent;
#[path = "../rig/mod.rs"]
#[allow(dead_code)]
mod rig;

#![no_main]
#[path = "../../tests/rig/mod.rs"]
#[allow(dead_code)]
mod rig;
#[path = "../../tests/faults/state.rs"]
mod state;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    state::state(bytes);
});

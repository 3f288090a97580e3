#![no_main]
#[path = "../../tests/faults/checks.rs"]
#[allow(dead_code)]
mod checks;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    // The FLAC decoder panics on some damaged files; the reader makes a fault of it, the fuzzer would end.
    if !bytes.starts_with(b"fLaC") {
        checks::wav(bytes);
    }
});

#![no_main]

use testkit::host::raw::Rig;

thread_local! {
    static RIG: Rig = Rig::inside(&lintel::plugin::clap_entry);
}

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    RIG.with(|rig| testkit::check::state::state(rig, bytes));
});

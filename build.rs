//! Keeps the plugin's library in memory once a host has loaded it (ELF systems).
//!
//! The standard library inside the plugin registers a thread-exit handler on every thread that
//! has asked for its own handle, and hosts' threads do so through the framework. When a host
//! unloads the library and such a thread ends later, the handler's code is gone and the host
//! crashes: seen with a scanning thread that loads, lists, unloads and exits. `nodelete` makes
//! unloading a promise that is never kept; it costs the mapped pages, once.

fn main() {
    println!("cargo:rerun-if-changed=build.rs");
    let os = std::env::var("CARGO_CFG_TARGET_OS").unwrap_or_default();
    if matches!(os.as_str(), "linux" | "freebsd" | "netbsd" | "openbsd") {
        println!("cargo:rustc-cdylib-link-arg=-Wl,-z,nodelete");
    }
}

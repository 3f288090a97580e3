//! What the plugin sees of the host: its extensions and callbacks.

use clap_sys::ext::gui::*;
use clap_sys::ext::thread_check::*;
use clap_sys::host::clap_host;
use clap_sys::version::CLAP_VERSION;
use std::cell::Cell;
use std::ffi::{CStr, c_char, c_void};
use std::ptr::{null, null_mut};
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};

thread_local! {
    /// The thread is being the audio thread.
    static AUDIO: Cell<bool> = const { Cell::new(false) };
}

/// What the plugin sees of the host.
pub struct Callbacks {
    pub host: clap_host,
    pub wants_callback: AtomicBool,
    pub restarts: AtomicU32,
}

impl Callbacks {
    /// At an address that does not change, for the plugin keeps it.
    pub fn new() -> Box<Self> {
        let mut callbacks = Box::new(Self {
            host: clap_host {
                clap_version: CLAP_VERSION,
                host_data: null_mut(),
                name: c"host by hand".as_ptr(),
                vendor: c"".as_ptr(),
                url: c"".as_ptr(),
                version: c"1".as_ptr(),
                get_extension: Some(extension),
                request_restart: Some(request_restart),
                request_process: Some(request_process),
                request_callback: Some(request_callback),
            },
            wants_callback: AtomicBool::new(false),
            restarts: AtomicU32::new(0),
        });
        callbacks.host.host_data = &raw mut *callbacks as *mut c_void;
        callbacks
    }
}

/// Does something as the audio thread.
pub fn audio<T>(work: impl FnOnce() -> T) -> T {
    let before = AUDIO.replace(true);
    let result = work();
    AUDIO.set(before);
    result
}

unsafe extern "C" fn extension(_host: *const clap_host, id: *const c_char) -> *const c_void {
    static CHECK: clap_host_thread_check =
        clap_host_thread_check { is_main_thread: Some(is_main), is_audio_thread: Some(is_audio) };
    unsafe extern "C" fn is_main(_: *const clap_host) -> bool {
        !AUDIO.get()
    }
    unsafe extern "C" fn is_audio(_: *const clap_host) -> bool {
        AUDIO.get()
    }
    static WINDOW: clap_host_gui = clap_host_gui {
        resize_hints_changed: Some(ignore),
        request_resize: Some(resize),
        request_show: Some(show),
        request_hide: Some(show),
        closed: Some(closed),
    };
    unsafe extern "C" fn ignore(_: *const clap_host) {}
    unsafe extern "C" fn resize(_: *const clap_host, _: u32, _: u32) -> bool {
        true
    }
    unsafe extern "C" fn show(_: *const clap_host) -> bool {
        true
    }
    unsafe extern "C" fn closed(_: *const clap_host, _: bool) {}
    // SAFETY: the interface's ids end with a zero.
    match unsafe { CStr::from_ptr(id) } {
        id if id == CLAP_EXT_THREAD_CHECK => (&raw const CHECK).cast(),
        id if id == CLAP_EXT_GUI => (&raw const WINDOW).cast(),
        _ => null(),
    }
}

/// The callbacks that a host pointer belongs to.
///
/// # Safety
/// The pointer is the one that the plugin was created with.
unsafe fn callbacks<'a>(host: *const clap_host) -> &'a Callbacks {
    // SAFETY: by the contract above.
    unsafe { &*((*host).host_data as *const Callbacks) }
}

unsafe extern "C" fn request_restart(host: *const clap_host) {
    // SAFETY: called by the plugin with its own host.
    unsafe { callbacks(host) }.restarts.fetch_add(1, Ordering::AcqRel);
}

unsafe extern "C" fn request_process(_host: *const clap_host) {}

unsafe extern "C" fn request_callback(host: *const clap_host) {
    // SAFETY: as above.
    unsafe { callbacks(host) }.wants_callback.store(true, Ordering::Release);
}

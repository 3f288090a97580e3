//! Parameter events on their way to the plugin, and the end of its own.

use clap_sys::events::*;
use std::ffi::c_void;
use std::ptr::{null, null_mut};

/// Parameter events of one call, in the order of time. Never grows past its first size while it is
/// cleared and filled.
#[derive(Default)]
pub struct Events(Vec<clap_event_param_value>);

impl Events {
    pub fn with_capacity(events: usize) -> Self {
        Self(Vec::with_capacity(events))
    }

    pub fn clear(&mut self) {
        self.0.clear();
    }

    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    pub fn len(&self) -> usize {
        self.0.len()
    }

    pub fn push(&mut self, time: u32, id: u32, value: f64) {
        let header = clap_event_header {
            size: size_of::<clap_event_param_value>() as u32,
            time,
            space_id: CLAP_CORE_EVENT_SPACE_ID,
            type_: CLAP_EVENT_PARAM_VALUE,
            flags: 0,
        };
        self.0.push(clap_event_param_value {
            header,
            param_id: id,
            cookie: null_mut(),
            note_id: -1,
            port_index: -1,
            channel: -1,
            key: -1,
            value,
        });
    }

    pub fn list(&self) -> clap_input_events {
        unsafe extern "C" fn size(list: *const clap_input_events) -> u32 {
            // SAFETY: made below from a living `Events`.
            let events = unsafe { &*((*list).ctx as *const Events) };
            events.len() as u32
        }
        unsafe extern "C" fn get(list: *const clap_input_events, at: u32) -> *const clap_event_header {
            // SAFETY: as above.
            let events = unsafe { &*((*list).ctx as *const Events) };
            events.0.get(at as usize).map_or(null(), |event| &raw const event.header)
        }
        clap_input_events { ctx: std::ptr::from_ref(self) as *mut c_void, size: Some(size), get: Some(get) }
    }
}

/// Where the plugin's own events go: nowhere.
pub fn answers() -> clap_output_events {
    unsafe extern "C" fn push(_: *const clap_output_events, _: *const clap_event_header) -> bool {
        true
    }
    clap_output_events { ctx: null_mut(), try_push: Some(push) }
}

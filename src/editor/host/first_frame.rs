//! A window that is shown late draws all the same (X11).
//!
//! The framework (baseview 0.4) paces its frames with the X server's Present extension: it asks for a
//! notice, and asks again only when the notice has come. It selects those notices when the window is
//! mapped. Its repaint timer runs from the beginning, so a host that takes more than a frame between
//! making and showing a window lets it ask for a notice that nobody has selected; it waits for that one
//! for ever, and the window stays empty. docs/upstream.md says what to report.
//!
//! A `MapNotify` event sent to the window when it is built makes the framework select the notices before
//! it first asks for one. The real event, later, selects the same again.

use nice_plug_egui::baseview::WindowContext;
use raw_window_handle::{HasWindowHandle, RawWindowHandle};
use std::error::Error;
use x11rb::connection::RequestConnection;
use x11rb::protocol::present;
use x11rb::protocol::xproto::{ConnectionExt, EventMask, MAP_NOTIFY_EVENT, MapNotifyEvent};

/// Call it while the window is built, on its thread. Without it the window works as far as the framework
/// does, so a failure is logged and not more.
pub fn prepare(window: &WindowContext) {
    if let Err(why) = announce(window) {
        nice_plug::nice_warn!("The window could not be prepared for being shown late: {why}");
    }
}

fn announce(window: &WindowContext) -> Result<(), Box<dyn Error>> {
    let window = match window.window_handle().map_err(|why| why.to_string())?.as_raw() {
        RawWindowHandle::Xlib(handle) => u32::try_from(handle.window)?,
        RawWindowHandle::Xcb(handle) => handle.window.get(),
        other => return Err(format!("not an X11 window: {other:?}").into()),
    };
    let (connection, _) = x11rb::connect(None)?;
    // Without the extension the framework draws by a timer, one for each of these events.
    if connection.extension_information(present::X11_EXTENSION_NAME)?.is_none() {
        return Ok(());
    }
    let event = MapNotifyEvent {
        response_type: MAP_NOTIFY_EVENT,
        sequence: 0,
        event: window,
        window,
        override_redirect: false,
    };
    // With no mask the event goes to whoever made the window: the framework's own connection. When the
    // reply is there, the event is on its way, before the window's thread reads for the first time.
    connection.send_event(false, window, EventMask::NO_EVENT, event)?.check()?;
    Ok(())
}

//! An empty window for the plugin's own to open in.

use x11rb::connection::Connection;
use x11rb::protocol::xproto::{ConnectionExt, CreateWindowAux, WindowClass};
use x11rb::rust_connection::RustConnection;

/// A window on the display that the environment names.
pub struct Parent {
    _connection: RustConnection,
    pub id: u32,
}

impl Parent {
    pub fn open() -> Self {
        let (connection, screen) = x11rb::connect(None).expect("a display");
        let root = connection.setup().roots[screen].root;
        let id = connection.generate_id().expect("an id");
        connection
            .create_window(
                0,
                id,
                root,
                0,
                0,
                1300,
                860,
                0,
                WindowClass::INPUT_OUTPUT,
                0,
                &CreateWindowAux::new(),
            )
            .expect("sent");
        connection.map_window(id).expect("sent");
        connection.flush().expect("sent");
        Self { _connection: connection, id }
    }
}

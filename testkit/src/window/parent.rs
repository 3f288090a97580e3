//! An empty window for the plugin's own to open in.

use x11rb::connection::Connection;
use x11rb::protocol::xproto::{ConnectionExt, CreateWindowAux, ImageFormat, WindowClass};
use x11rb::rust_connection::RustConnection;

/// A window on the display that the environment names.
pub struct Parent {
    connection: RustConnection,
    pub id: u32,
}

/// Its size, pixels.
pub const SIZE: [u16; 2] = [1300, 860];

impl Parent {
    /// So many pixels from the left.
    pub fn open_at(x: i16) -> Self {
        let (connection, screen) = x11rb::connect(None).expect("a display");
        let root = connection.setup().roots[screen].root;
        let id = connection.generate_id().expect("an id");
        connection
            .create_window(
                0,
                id,
                root,
                x,
                0,
                SIZE[0],
                SIZE[1],
                0,
                WindowClass::INPUT_OUTPUT,
                0,
                &CreateWindowAux::new(),
            )
            .expect("sent");
        connection.map_window(id).expect("sent");
        connection.flush().expect("sent");
        Self { connection, id }
    }

    /// What can be seen in it, four bytes a pixel.
    pub fn picture(&self) -> Vec<u8> {
        let [width, height] = SIZE;
        let image = self.connection.get_image(ImageFormat::Z_PIXMAP, self.id, 0, 0, width, height, u32::MAX);
        image.expect("sent").reply().expect("a picture").data
    }
}

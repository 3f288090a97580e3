//! A virtual display with an empty window on it, for the plugin's own to open in.

use std::io::Read;
use std::process::{Child, Command, Stdio};
use x11rb::connection::Connection;
use x11rb::protocol::xproto::{ConnectionExt, CreateWindowAux, WindowClass};
use x11rb::rust_connection::RustConnection;

/// A running virtual display; ends with it.
pub struct Display {
    server: Child,
    pub name: String,
}

impl Display {
    /// Starts one, or says aloud that it cannot.
    pub fn start() -> Option<Self> {
        let mut command = Command::new("Xvfb");
        command.args(["-displayfd", "1", "-screen", "0", "1400x900x24"]);
        let Ok(mut server) = command.stdout(Stdio::piped()).stderr(Stdio::null()).spawn() else {
            assert!(std::env::var_os("LINTEL_FOREIGN").is_none(), "Xvfb is missing");
            eprintln!("SKIPPED: no window without a virtual display; install Xvfb");
            return None;
        };
        // It writes its number when it is ready.
        let mut name = String::new();
        let mut byte = [0];
        let stdout = server.stdout.as_mut().expect("piped");
        while stdout.read(&mut byte).is_ok_and(|n| n == 1) && byte != *b"\n" {
            name.push(char::from(byte[0]));
        }
        assert!(!name.is_empty(), "Xvfb did not start");
        Some(Self { server, name: format!(":{name}") })
    }
}

impl Drop for Display {
    fn drop(&mut self) {
        let _ = self.server.kill();
        let _ = self.server.wait();
    }
}

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

//! A virtual display for windows in tests.

use std::io::Read;
use std::process::{Child, Command, Stdio};

/// A running virtual display; ends with it.
pub struct Display {
    server: Child,
    pub name: String,
}

impl Display {
    /// Starts one, or says aloud that it cannot.
    pub fn start() -> Option<Self> {
        let mut command = Command::new("Xvfb");
        command.args(["-displayfd", "1", "-screen", "0", "2700x1000x24"]);
        let Ok(mut server) = command.stdout(Stdio::piped()).stderr(Stdio::null()).spawn() else {
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

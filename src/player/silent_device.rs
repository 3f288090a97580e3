//! A clock in place of a sound device.

use super::device_ring::DeviceRing;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// Frames read at once.
const BLOCK_FRAMES: u64 = 512;

/// Reads frames in real time and discards them, where there is no sound device. Dropping it ends the
/// thread.
pub struct SilentDevice {
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl SilentDevice {
    /// Starts to read `ring` at `rate` Hz. Fails if the system refuses a thread.
    pub fn start(mut ring: DeviceRing, rate: u32) -> std::io::Result<Self> {
        let stop = Arc::new(AtomicBool::new(false));
        let stopped = stop.clone();
        let run = move || {
            let (start, mut done) = (Instant::now(), 0_u64);
            let mut buffer = [0.0_f32; 2 * BLOCK_FRAMES as usize];
            while !stopped.load(Ordering::Relaxed) {
                let due = (start.elapsed().as_secs_f64() * f64::from(rate)) as u64;
                while done + BLOCK_FRAMES <= due {
                    ring.fill(&mut buffer, 2);
                    done += BLOCK_FRAMES;
                }
                std::thread::sleep(Duration::from_millis(5));
            }
        };
        let thread = std::thread::Builder::new().name("lintel no device".into()).spawn(run)?;
        Ok(Self { stop, thread: Some(thread) })
    }
}

impl Drop for SilentDevice {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

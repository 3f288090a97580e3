//! The end of the ring that sounds: frames of the device's rate out of it, into the device's own
//! buffers, in its callback. Nothing here allocates, locks or waits.
//!
//! Starting, pausing and jumping are short fades, so that none of them clicks.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// Seconds of a fade.
const FADE: f64 = 0.005;

/// What the two ends of the ring tell each other. Frames are counted at the device's rate since
/// the ring was made.
#[derive(Debug, Default)]
pub struct RingStatus {
    /// Whether it shall sound.
    pub open: AtomicBool,
    /// Frames before this one shall not sound: the hand has gone elsewhere.
    pub skip: AtomicU64,
    /// Frames taken out of the ring.
    pub taken: AtomicU64,
    /// Frames that the device wanted and the ring did not hold.
    pub missed: AtomicU64,
}

/// The device's end.
pub struct DeviceRing {
    ring: rtrb::Consumer<[f32; 2]>,
    status: Arc<RingStatus>,
    gain: f32,
    step: f32,
    taken: u64,
}

impl DeviceRing {
    /// For a device at `rate` Hz.
    pub fn new(ring: rtrb::Consumer<[f32; 2]>, status: Arc<RingStatus>, rate: u32) -> Self {
        let step = (1.0 / (FADE * f64::from(rate))) as f32;
        Self { ring, status, gain: 0.0, step, taken: 0 }
    }

    /// Fills interleaved frames of so many channels: the first two sound, one alone gets the mean.
    pub fn fill(&mut self, out: &mut [f32], channels: usize) {
        let open = self.status.open.load(Ordering::Acquire);
        let skip = self.status.skip.load(Ordering::Acquire);
        let mut missed = 0;
        for frame in out.chunks_mut(channels.max(1)) {
            if self.gain == 0.0 && self.taken < skip {
                self.drop_until(skip);
            }
            let wanted = open && self.taken >= skip;
            let mut pair = [0.0; 2];
            if wanted || self.gain > 0.0 {
                match self.ring.pop() {
                    Ok(next) => {
                        self.taken += 1;
                        self.gain = (self.gain + if wanted { self.step } else { -self.step }).clamp(0.0, 1.0);
                        pair = next.map(|x| x * self.gain);
                    }
                    // What comes after a gap fades in again.
                    Err(_) => {
                        missed += u64::from(wanted);
                        self.gain = 0.0;
                    }
                }
            }
            match frame {
                [one] => *one = 0.5 * (pair[0] + pair[1]),
                [left, right, others @ ..] => {
                    (*left, *right) = (pair[0], pair[1]);
                    others.fill(0.0);
                }
                [] => {}
            }
        }
        self.status.taken.store(self.taken, Ordering::Release);
        if missed > 0 {
            self.status.missed.fetch_add(missed, Ordering::Relaxed);
        }
    }

    fn drop_until(&mut self, skip: u64) {
        let n = (skip - self.taken).min(self.ring.slots() as u64) as usize;
        if let Ok(old) = self.ring.read_chunk(n) {
            old.commit_all();
            self.taken += n as u64;
        }
    }
}

/// A clock in the place of a device: takes frames in real time and lets nobody hear them. Ends
/// with its drop.
pub struct SilentDevice {
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl SilentDevice {
    /// Starts to take frames at `rate` Hz. Fails when the system gives no thread.
    pub fn start(mut sink: DeviceRing, rate: u32) -> std::io::Result<Self> {
        let stop = Arc::new(AtomicBool::new(false));
        let stopped = stop.clone();
        let run = move || {
            let (start, mut done) = (Instant::now(), 0_u64);
            let mut buffer = [0.0_f32; 2 * 512];
            while !stopped.load(Ordering::Relaxed) {
                let due = (start.elapsed().as_secs_f64() * f64::from(rate)) as u64;
                while done + 512 <= due {
                    sink.fill(&mut buffer, 2);
                    done += 512;
                }
                std::thread::sleep(Duration::from_millis(5));
            }
        };
        let thread = std::thread::Builder::new().name("lintel silence".into()).spawn(run)?;
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

#[cfg(test)]
mod tests {
    use super::*;

    fn ring(frames: usize) -> (rtrb::Producer<[f32; 2]>, DeviceRing, Arc<RingStatus>) {
        let (producer, consumer) = rtrb::RingBuffer::new(frames);
        let status = Arc::new(RingStatus::default());
        (producer, DeviceRing::new(consumer, status.clone(), 48_000), status)
    }

    #[test]
    fn it_starts_and_pauses_in_fades_and_goes_on_where_it_was() {
        let (mut producer, mut sink, status) = ring(4096);
        (0..4096).for_each(|_| producer.push([1.0, -1.0]).unwrap());
        let mut out = [9.0_f32; 2 * 512];
        sink.fill(&mut out, 2);
        assert!(out.iter().all(|x| *x == 0.0) && status.taken.load(Ordering::Relaxed) == 0);
        let mut heard = Vec::new();
        for open in [true, false, true] {
            status.open.store(open, Ordering::Relaxed);
            sink.fill(&mut out, 2);
            heard.extend(out.iter().step_by(2).copied());
        }
        assert!(heard.windows(2).all(|pair| (pair[1] - pair[0]).abs() < 0.005), "no click");
        assert!(heard[500] == 1.0 && heard[1000] == 0.0 && heard[1530] == 1.0);
        // Nothing is lost but what sounded in the fades.
        let taken = status.taken.load(Ordering::Relaxed);
        assert!(taken.abs_diff(512 + 240 + 512) <= 2, "{taken}");
    }

    #[test]
    fn a_jump_is_heard_at_once_without_a_click() {
        let (mut producer, mut sink, status) = ring(8192);
        (0..4096).for_each(|_| producer.push([0.5; 2]).unwrap());
        status.open.store(true, Ordering::Relaxed);
        let mut out = [0.0_f32; 2 * 512];
        sink.fill(&mut out, 2);
        status.skip.store(4096, Ordering::Relaxed);
        (0..2048).for_each(|_| producer.push([-0.5; 2]).unwrap());
        let last = out[1023];
        sink.fill(&mut out, 2);
        let heard: Vec<f32> = std::iter::once(last).chain(out.iter().step_by(2).copied()).collect();
        assert!(heard.windows(2).all(|pair| (pair[1] - pair[0]).abs() < 0.003), "no click");
        assert_eq!(heard[512], -0.5);
    }

    #[test]
    fn what_is_missing_is_silence_and_is_counted() {
        let (mut producer, mut sink, status) = ring(512);
        (0..300).for_each(|_| producer.push([0.5; 2]).unwrap());
        status.open.store(true, Ordering::Relaxed);
        let mut out = [9.0_f32; 512];
        sink.fill(&mut out, 1);
        assert!(out[299] > 0.4 && out[300..].iter().all(|x| *x == 0.0));
        assert_eq!(status.missed.load(Ordering::Relaxed), 212);
    }

    #[test]
    fn more_channels_than_two_stay_silent() {
        let (mut producer, mut sink, status) = ring(512);
        (0..512).for_each(|_| producer.push([0.5; 2]).unwrap());
        status.open.store(true, Ordering::Relaxed);
        let mut out = [9.0_f32; 6 * 400];
        sink.fill(&mut out, 6);
        assert!(out.chunks(6).all(|f| f[0] == f[1] && f[2..] == [0.0; 4]) && out[6 * 399] == 0.5);
    }
}

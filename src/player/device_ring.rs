//! The device's end of the ring: reads frames at the device's rate in the device's callback. Nothing
//! here allocates, locks or waits.
//!
//! Starting, pausing and seeking are short fades, so that none of them clicks. On request a start begins
//! [`RISE_DB`] lower and reaches the full level after [`RISE_S`], so that nobody is startled.

use crate::sync::{AtomicBool, AtomicU64, Ordering};
use std::sync::Arc;

/// Length of a fade, s.
const FADE_S: f64 = 0.005;

/// How much lower a soft start begins, dB, and how long it takes to rise to the full level, s (own choice:
/// long enough to reach for the monitor's control).
pub const RISE_DB: f64 = 20.0;
/// See [`RISE_DB`].
pub const RISE_S: f64 = 1.0;

/// State shared by the two ends of the ring. Frames are counted at the device's rate since the ring
/// was made.
#[derive(Debug, Default)]
pub struct RingStatus {
    /// Whether the device plays.
    pub playing: AtomicBool,
    /// Frames before this one are discarded: the user has moved the position.
    pub discard_before: AtomicU64,
    /// Frames read from the ring.
    pub read: AtomicU64,
    /// Frames that the device needed and the ring did not hold.
    pub missed: AtomicU64,
    /// Soft starts requested so far.
    pub soft_starts: AtomicU64,
}

impl RingStatus {
    /// For the player: discards all frames before this one.
    pub fn discard_before(&self, frame: u64) {
        self.discard_before.store(frame, Ordering::Release);
    }

    /// For the player: the next start is a soft one. To be called before what makes it start.
    pub fn start_softly(&self) {
        self.soft_starts.fetch_add(1, Ordering::Release);
    }

    /// For the player: lets the device play, after what was to be discarded has been named.
    pub fn play(&self) {
        self.playing.store(true, Ordering::Release);
    }

    /// For the device: whether to play, and from which frame on. Read in this order, so that who plays knows
    /// all that was to be discarded before.
    pub fn orders(&self) -> (bool, u64) {
        let playing = self.playing.load(Ordering::Acquire);
        (playing, self.discard_before.load(Ordering::Acquire))
    }
}

/// The device's end.
pub struct DeviceRing {
    ring: rtrb::Consumer<[f32; 2]>,
    status: Arc<RingStatus>,
    gain: f32,
    step: f32,
    read: u64,
    /// Soft starts that have begun.
    soft_starts: u64,
    /// Gain of a soft start, 1 when it is over, and the factor a frame.
    rise: f32,
    rise_factor: f32,
}

impl DeviceRing {
    /// For a device at `rate` Hz.
    pub fn new(ring: rtrb::Consumer<[f32; 2]>, status: Arc<RingStatus>, rate: u32) -> Self {
        let step = (1.0 / (FADE_S * f64::from(rate))) as f32;
        let rise_factor = 10.0_f64.powf(RISE_DB / 20.0 / (RISE_S * f64::from(rate))) as f32;
        Self { ring, status, gain: 0.0, step, read: 0, soft_starts: 0, rise: 1.0, rise_factor }
    }

    /// Fills interleaved frames of `channels` channels: the first two get the sound, a single one the
    /// mean.
    pub fn fill(&mut self, out: &mut [f32], channels: usize) {
        let (playing, discard_before) = self.status.orders();
        let soft_starts = self.status.soft_starts.load(Ordering::Acquire);
        let mut missed = 0;
        for frame in out.chunks_mut(channels.max(1)) {
            if self.gain == 0.0 && self.read < discard_before {
                self.discard_until(discard_before);
            }
            let wanted = playing && self.read >= discard_before;
            // It begins out of silence: the level of what sounds never drops at once.
            if self.gain == 0.0 && wanted && soft_starts != self.soft_starts {
                self.soft_starts = soft_starts;
                self.rise = 10.0_f32.powf(-RISE_DB as f32 / 20.0);
            }
            let mut pair = [0.0; 2];
            if wanted || self.gain > 0.0 {
                match self.ring.pop() {
                    Ok(next) => {
                        self.read += 1;
                        self.gain = (self.gain + if wanted { self.step } else { -self.step }).clamp(0.0, 1.0);
                        pair = next.map(|x| x * self.gain * self.rise);
                        self.rise = (self.rise * self.rise_factor).min(1.0);
                    }
                    // After a gap the sound fades in again.
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
        self.status.read.store(self.read, Ordering::Release);
        if missed > 0 {
            self.status.missed.fetch_add(missed, Ordering::Relaxed);
        }
    }

    fn discard_until(&mut self, discard_before: u64) {
        let n = (discard_before - self.read).min(self.ring.slots() as u64) as usize;
        if let Ok(old) = self.ring.read_chunk(n) {
            old.commit_all();
            self.read += n as u64;
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
    fn playing_and_pausing_fade_and_resume_at_the_same_frame() {
        let (mut producer, mut device, status) = ring(4096);
        (0..4096).for_each(|_| producer.push([1.0, -1.0]).unwrap());
        let mut out = [9.0_f32; 2 * 512];
        device.fill(&mut out, 2);
        assert!(out.iter().all(|x| *x == 0.0) && status.read.load(Ordering::Relaxed) == 0);
        let mut output = Vec::new();
        for playing in [true, false, true] {
            status.playing.store(playing, Ordering::Relaxed);
            device.fill(&mut out, 2);
            output.extend(out.iter().step_by(2).copied());
        }
        assert!(output.windows(2).all(|pair| (pair[1] - pair[0]).abs() < 0.005), "no click");
        assert!(output[500] == 1.0 && output[1000] == 0.0 && output[1530] == 1.0);
        // Only the frames of the fades are consumed while pausing.
        let read = status.read.load(Ordering::Relaxed);
        assert!(read.abs_diff(512 + 240 + 512) <= 2, "{read}");
    }

    #[test]
    fn a_seek_is_audible_at_once_without_a_click() {
        let (mut producer, mut device, status) = ring(8192);
        (0..4096).for_each(|_| producer.push([0.5; 2]).unwrap());
        status.playing.store(true, Ordering::Relaxed);
        let mut out = [0.0_f32; 2 * 512];
        device.fill(&mut out, 2);
        status.discard_before.store(4096, Ordering::Relaxed);
        (0..2048).for_each(|_| producer.push([-0.5; 2]).unwrap());
        let last = out[1023];
        device.fill(&mut out, 2);
        let output: Vec<f32> = std::iter::once(last).chain(out.iter().step_by(2).copied()).collect();
        assert!(output.windows(2).all(|pair| (pair[1] - pair[0]).abs() < 0.003), "no click");
        assert_eq!(output[512], -0.5);
    }

    #[test]
    fn a_soft_start_begins_20_db_lower_and_rises_for_one_second() {
        let (mut producer, mut device, status) = ring(200_000);
        (0..200_000).for_each(|_| producer.push([1.0, 1.0]).unwrap());
        let mut play = |frames: usize| {
            let mut out = vec![0.0_f32; 2 * frames];
            device.fill(&mut out, 2);
            out.into_iter().step_by(2).collect::<Vec<f32>>()
        };
        status.start_softly();
        status.playing.store(true, Ordering::Relaxed);
        let rising = play(60_000);
        // 5 ms of fade, then −20 dB at the start and a twentieth of the way each 50 ms.
        let db = |at: usize| 20.0 * rising[at].log10();
        for (at, wanted) in [(480, -19.8), (2_400, -19.0), (24_000, -10.0), (43_200, -2.0), (48_100, 0.0)] {
            assert!((db(at) - wanted).abs() < 0.05, "{} dB at {at}", db(at));
        }
        assert!(rising.windows(2).all(|pair| pair[1] >= pair[0] && pair[1] - pair[0] < 0.005), "monotone");
        // Asked for while it sounds, it waits for silence: nothing drops at once.
        status.start_softly();
        assert!(play(4_800).iter().all(|x| *x == 1.0));
        status.playing.store(false, Ordering::Relaxed);
        play(4_800);
        status.playing.store(true, Ordering::Relaxed);
        assert!((play(960)[959].log10() * 20.0 + 19.6).abs() < 0.05, "again");
        // The next start without a request is a plain one.
        play(60_000);
        for playing in [false, true] {
            status.playing.store(playing, Ordering::Relaxed);
            play(4_800);
        }
        assert_eq!(play(1)[0], 1.0);
    }

    #[test]
    fn missing_frames_are_silent_and_counted() {
        let (mut producer, mut device, status) = ring(512);
        (0..300).for_each(|_| producer.push([0.5; 2]).unwrap());
        status.playing.store(true, Ordering::Relaxed);
        let mut out = [9.0_f32; 512];
        device.fill(&mut out, 1);
        assert!(out[299] > 0.4 && out[300..].iter().all(|x| *x == 0.0));
        assert_eq!(status.missed.load(Ordering::Relaxed), 212);
    }

    #[test]
    fn channels_beyond_two_are_silent() {
        let (mut producer, mut device, status) = ring(512);
        (0..512).for_each(|_| producer.push([0.5; 2]).unwrap());
        status.playing.store(true, Ordering::Relaxed);
        let mut out = [9.0_f32; 6 * 400];
        device.fill(&mut out, 6);
        assert!(out.chunks(6).all(|f| f[0] == f[1] && f[2..] == [0.0; 4]) && out[6 * 399] == 0.5);
    }
}

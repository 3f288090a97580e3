//! A session that does on the audio thread all that a host may do there. What it needs is made
//! beforehand; from then on the host's side allocates nothing.

use std::ptr::null_mut;
use testkit::Random;
use testkit::host::raw::{Events, Position, Rig};

/// Longest call in frames.
pub const MOST: usize = 512;

/// Everything that the audio thread needs.
pub struct Rehearsal<'a> {
    rig: &'a Rig,
    events: Events,
    input: [Vec<f32>; 2],
    output: [Vec<f32>; 2],
    /// Frames done.
    frame: i64,
    random: Random,
}

impl<'a> Rehearsal<'a> {
    pub fn new(rig: &'a Rig) -> Self {
        let channel = || vec![0.0; MOST];
        Self {
            rig,
            events: Events::with_capacity(rig.params.len() * 2),
            input: [channel(), channel()],
            output: [channel(), channel()],
            frame: 0,
            random: Random::new(7),
        }
    }

    /// One call: a block of any size, in place or not, with no event, one, or one for every parameter
    /// of the instance; now and then a reset, a stop and start, a call without a frame, a flush.
    pub fn block(&mut self) {
        let frames = [0, 1, 31, 32, 33, 64, 64, 64, 441, MOST][self.random.below(10)];
        let kind = self.random.below(5);
        for ch in 0..2 {
            for n in 0..frames {
                let noise = self.random.below(1 << 20) as f32 / (1 << 19) as f32 - 1.0;
                self.input[ch][n] = match kind {
                    0 => 0.0,
                    1 => noise * 4.0,
                    2 => [f32::NAN, f32::INFINITY, -1e30, 1e-41, 0.3][n % 5],
                    _ => noise * 0.3,
                };
            }
        }
        self.events.clear();
        let events = match self.random.below(8) {
            0 => self.rig.params.len(),
            1..4 => 1,
            _ => 0,
        };
        for n in 0..events {
            // In the order of time, as a host must.
            let time = if frames == 0 { 0 } else { (n * frames / events.max(1)).min(frames - 1) };
            let at = if events == 1 { self.random.below(self.rig.params.len()) } else { n };
            let param = &self.rig.params[at];
            let (id, min, max) = (param.id, param.min, param.max);
            let value = min + (max - min) * self.random.below(1001) as f64 / 1000.0;
            self.events.push(time as u32, id, value);
        }
        match self.random.below(500) {
            0 => self.rig.reset(),
            1 => {
                self.rig.stop();
                assert!(self.rig.start());
            }
            2 => self.rig.flush(&self.events, true),
            _ => {}
        }
        let (mut sources, mut sinks) = ([null_mut(); 2], [null_mut(); 2]);
        let in_place = self.random.below(2) == 0;
        for ch in 0..2 {
            sources[ch] = self.input[ch].as_mut_ptr();
            sinks[ch] = if in_place { sources[ch] } else { self.output[ch].as_mut_ptr() };
        }
        let playing = self.random.below(50) > 0;
        let at = Position { playing, frame: playing.then_some(self.frame) };
        // SAFETY: both buffers hold `MOST` samples and are used by nobody else.
        let done = unsafe { self.rig.process(frames as u32, &mut sources, &mut sinks, &self.events, at) };
        assert!(done);
        self.frame += frames as i64;
    }
}

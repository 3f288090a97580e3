//! The same through the CLAP interface: layouts, rates, activations, events for every parameter at every
//! frame, states whole and broken, calls without a frame, in-place buffers and separate ones.

use std::ptr::null_mut;
use testkit::Random;
use testkit::host::raw::{Events, Position, Rig};
use testkit::session::{Dice, Input};

const STEPS: usize = 30_000;

/// Names of the switches that decide which bound holds, with the value at which it does.
const LISTENING: [(&str, f64); 4] =
    [("bypass", 0.0), ("compare", 0.0), ("limiter on", 1.0), ("removed signal only", 0.0)];

struct Session {
    rig: Rig,
    dice: Random,
    input: [Input; 2],
    channels: usize,
    rate: f64,
    frame: i64,
    /// Frames since the last block before which a switch was not as the bound needs it.
    clear: i64,
    /// Frames for which bypass may still hand on what came in: it fades from the next tick on.
    raw: i64,
    states: Vec<Vec<u8>>,
    switches: Vec<(u32, f64)>,
}

impl Session {
    fn new(seed: u64) -> Self {
        let rig = Rig::inside(&lintel::plugin::clap_entry);
        let switches = LISTENING
            .iter()
            .map(|(name, value)| {
                let id = lintel::params::all().iter().find(|param| param.name == *name);
                (rig.id(id.unwrap_or_else(|| panic!("no {name}")).name), *value)
            })
            .collect();
        let states = vec![rig.save(usize::MAX).expect("a state")];
        let mut session = Self {
            rig,
            dice: Random::new(seed),
            input: [Input::new(), Input::new()],
            channels: 2,
            rate: 48_000.0,
            frame: 0,
            clear: 0,
            raw: 0,
            states,
            switches,
        };
        session.begin();
        session
    }

    fn begin(&mut self) {
        let layouts = self.rig.layouts();
        let layout = layouts[self.dice.below(layouts.len())];
        assert!(self.rig.select(layout));
        self.channels = layout.1 as usize;
        self.rate = [8_000.0, 44_100.0, 48_000.0, 96_000.0][self.dice.below(4)];
        assert!(self.rig.activate(self.rate, 1024) && self.rig.start());
        self.clear = 0;
    }

    fn end(&mut self) {
        self.rig.stop();
        self.rig.deactivate();
    }

    fn events(&mut self, frames: usize) -> Events {
        let mut events = Events::default();
        let count = match self.dice.below(40) {
            0 => self.rig.params.len() * 2,
            1..6 => 1 + self.dice.below(4),
            _ => 0,
        };
        for n in 0..count {
            let param = &self.rig.params[self.dice.below(self.rig.params.len())];
            let (id, min, max) = (param.id, param.min, param.max);
            let time = if frames == 0 { 0 } else { (n * frames / count).min(frames - 1) };
            let value = match self.dice.below(30) {
                0 => [f64::NAN, f64::INFINITY, -1e300, 1e300][self.dice.below(4)],
                _ => min + (max - min) * f64::from(self.dice.share()),
            };
            let id = if self.dice.below(50) == 0 { self.dice.below(1 << 30) as u32 } else { id };
            events.push(time as u32, id, value);
        }
        events
    }

    fn step(&mut self) {
        match self.dice.below(400) {
            0 => {
                self.end();
                if self.dice.below(2) == 0 {
                    let state = self.states[self.dice.below(self.states.len())].clone();
                    assert!(self.rig.load(&state, 1 + self.dice.below(7)));
                }
                self.begin();
            }
            1 => self.rig.reset(),
            2 => {
                self.rig.stop();
                assert!(self.rig.start());
            }
            3..6 => {
                let state = self.states[self.dice.below(self.states.len())].clone();
                assert!(self.rig.load(&state, usize::MAX));
            }
            6 => {
                let state = self.rig.save(1 + self.dice.below(64)).expect("a state");
                let at = self.states.len() % 16;
                if self.states.len() < 16 { self.states.push(state) } else { self.states[at] = state }
            }
            7 => {
                let mut state = self.states[self.dice.below(self.states.len())].clone();
                for _ in 0..1 + self.dice.below(6) {
                    let at = self.dice.below(state.len());
                    state[at] = self.dice.below(256) as u8;
                }
                state.truncate(self.dice.below(state.len() + 1));
                let before = self.rig.save(usize::MAX);
                if !self.rig.load(&state, usize::MAX) {
                    assert_eq!(self.rig.save(usize::MAX), before, "refused, and yet something changed");
                }
            }
            8..12 => {
                let events = self.events(0);
                self.rig.flush(&events, true);
            }
            12..40 => {
                let mut input = self.input.clone();
                input.iter_mut().for_each(|input| input.change(&mut self.dice));
                self.input = input;
            }
            40..46 => {
                // A while under the bound.
                let mut events = Events::default();
                self.switches.iter().for_each(|(id, value)| events.push(0, *id, *value));
                self.rig.flush(&events, true);
                for _ in 0..(self.rate * 0.6) as usize / 1024 + 1 {
                    self.block(1024, &Events::default());
                }
            }
            46 => self.rig.serve(),
            _ => {}
        }
        let frames = [0, 1, 16, 32, 33, 64, 64, 64, 64, 128, 480, 1024][self.dice.below(12)];
        let events = self.events(frames);
        self.block(frames, &events);
    }

    fn block(&mut self, frames: usize, events: &Events) {
        let tight =
            |session: &Self| session.switches.iter().all(|(id, value)| session.rig.value(*id) == *value);
        let was_tight = tight(self);
        let bypassed = self.rig.value(self.switches[0].0) != 0.0;
        let mut into: [Vec<f32>; 2] =
            std::array::from_fn(|ch| (0..frames).map(|_| self.input[ch].sample()).collect());
        let mut out: [Vec<f32>; 2] = std::array::from_fn(|_| vec![f32::NAN; frames]);
        let in_place = self.dice.below(2) == 0;
        let (mut sources, mut sinks) = ([null_mut(); 2], [null_mut(); 2]);
        for ch in 0..2 {
            sources[ch] = into[ch].as_mut_ptr();
            sinks[ch] = if in_place { sources[ch] } else { out[ch].as_mut_ptr() };
        }
        let n = self.channels;
        let at = Position { playing: self.dice.below(9) > 0, frame: Some(self.frame) };
        // SAFETY: all buffers hold `frames` samples and are used by nobody else.
        let done = unsafe { self.rig.process(frames as u32, &mut sources[..n], &mut sinks[..n], events, at) };
        assert!(done);
        self.clear =
            if was_tight && tight(self) && events.is_empty() { self.clear + frames as i64 } else { 0 };
        // Fades, the smoothed ceiling and the latency.
        let bounded = self.clear > (self.rate * 0.5) as i64 + frames as i64;
        let bypassed = bypassed || self.rig.value(self.switches[0].0) != 0.0 || !events.is_empty();
        let raw = bypassed || self.raw > 0;
        self.raw = if bypassed { lintel::dsp::CHUNK as i64 } else { self.raw - frames as i64 };
        for out in &(if in_place { &into } else { &out })[..n] {
            for x in out {
                assert!(x.is_finite() || raw, "{x}");
                assert!(!bounded || x.abs() <= 1.0, "{x} over 0 dBTP");
            }
        }
        self.frame += frames as i64;
    }
}

#[test]
fn the_plugin_survives_sessions_of_anything() {
    let mut bounded = 0;
    for seed in 0..4 {
        let mut session = Session::new(seed);
        for step in 0..STEPS / 4 {
            let before = (seed, step);
            let result = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| session.step()));
            assert!(result.is_ok(), "seed and step: {before:?}");
            bounded += usize::from(session.clear > (session.rate * 0.5) as i64);
        }
        session.end();
    }
    assert!(bounded > STEPS / 100, "the bound was looked at {bounded} times");
}

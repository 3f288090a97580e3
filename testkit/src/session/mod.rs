//! One session with the chain: steps drawn from dice, everything checked in every block.

mod dice;
mod input;

pub use dice::Dice;
pub use input::{Input, taken_for};

use crate::Random;
use lintel::chain::Chain;
use lintel::dsp::db;
use lintel::dsp::k_weighting::KWeighting;
use lintel::params;
use lintel::settings::{Compare, Settings, StageOrder};
use std::collections::VecDeque;

/// Hz.
pub const RATES: [f64; 10] =
    [1_234.57, 8_000.0, 11_025.0, 44_100.0, 44_100.0, 48_000.0, 48_000.0, 88_200.0, 96_000.0, 192_000.0];

/// Seconds after which a change of a switch or of the ceiling has arrived for certain. The slowest are the
/// listening levels, which approach their targets with 50 ms until 10⁻⁶ are left, 0.7 s (the ceiling: 20 ms,
/// 10⁻⁷, 0.32 s).
const ARRIVED: f64 = 0.75;

/// Own goal for level-matched comparison 5 s after a move, dB (tests/chain/level_match.rs asks for 0.2 from usual
/// settings; here they are any).
const LEVEL_MATCH_DB: f64 = 0.5;

/// Magnitude that nothing inside the chain passes: the ceiling takes what is beyond 2³² for silence.
const MOST: f32 = 4.3e9;

/// The ceiling takes no more than this: 2³² down to −12 dBTP.
const DEEPEST: f32 = 210.0;

/// A session in progress.
pub struct Session<D> {
    dice: D,
    rate: f64,
    chain: Chain,
    /// Gets the input as the chain should take it; must make the same samples.
    twin: Option<Chain>,
    settings: Settings,
    input: [Input; 2],
    mono: bool,
    /// Steady noise in place of the input.
    noise: Option<Random>,
    /// The last input, as long as the latency.
    delayed: [VecDeque<f32>; 2],
    /// Frame counts, and when what last was otherwise.
    frame: u64,
    last: Last,
    buffers: [Vec<f32>; 2],
    cleaned: [Vec<f32>; 2],
    before: [Vec<f32>; 2],
    after: [Vec<f32>; 2],
    after_twin: [Vec<f32>; 2],
}

/// The frames at which each was last not as it should be for the tight bounds.
#[derive(Clone, Debug, Default)]
struct Last {
    /// The ceiling was off, or removed signal only was heard.
    loose: Option<u64>,
    /// Bypass or compare were on.
    listening: Option<u64>,
    /// Bypass was on; it begins to fade at the next tick.
    bypass: Option<u64>,
    /// Ceilings (linear) that have been replaced, and when.
    ceilings: VecDeque<(u64, f64)>,
}

impl<D: Dice> Session<D> {
    /// A fresh chain at a drawn rate; `twin`: with a second one beside it.
    pub fn new(mut dice: D, twin: bool) -> Self {
        let rate = RATES[dice.below(RATES.len())];
        let empty = || [Vec::new(), Vec::new()];
        let mut session = Self {
            dice,
            rate,
            chain: Chain::new(rate),
            twin: twin.then(|| Chain::new(rate)),
            settings: Settings::default(),
            input: [Input::new(), Input::new()],
            mono: false,
            noise: None,
            delayed: Default::default(),
            frame: 0,
            last: Last::default(),
            buffers: empty(),
            cleaned: empty(),
            before: empty(),
            after: empty(),
            after_twin: empty(),
        };
        session.begin(rate);
        session
    }

    /// Moves one parameter under steady noise: five seconds later the difference that the chain states for
    /// level-matched comparison must be the one of result and input.
    pub fn check_level_match(&mut self) {
        self.settings.limiter.removed_only = false;
        self.each(|chain| chain.solo(None));
        self.noise = Some(Random::new(1 + self.dice.below(1000) as u64));
        self.apply();
        // Without what came before: the match is a mean over up to 10 s.
        self.reset();
        self.level_step_db(3.0);
        let param = loop {
            let param = &params::all()[self.dice.below(params::all().len())];
            if !param.is_monitoring() {
                break param;
            }
        };
        let from = param.get(&self.settings);
        param.set(&mut self.settings, param.at_position(self.dice.share()));
        self.apply();
        self.level_step_db(2.5);
        let heard = self.level_step_db(2.5);
        let stated = self.chain.louder_by_db();
        self.noise = None;
        let to = param.get(&self.settings);
        assert!(
            (stated - heard).abs() <= LEVEL_MATCH_DB,
            "{} from {from} to {to} at {} Hz: {stated:.2} dB stated, {heard:.2} dB heard\n{:?}",
            param.id,
            self.rate,
            self.settings
        );
    }

    /// So many seconds; gives how much louder the result is than the input, K-weighted, dB.
    fn level_step_db(&mut self, seconds: f64) -> f64 {
        let mut weighting = KWeighting::<4>::new(self.rate);
        let mut energy = [0.0; 4];
        for _ in 0..(seconds * self.rate / 480.0) as usize {
            self.process(480);
            let [left, right] = &self.before;
            let [left_after, right_after] = &self.after;
            weighting.add_energy([left, right, left_after, right_after], &mut energy);
        }
        db::from_power((energy[2] + energy[3]) / (energy[0] + energy[1]))
    }

    /// Another activation.
    fn begin(&mut self, rate: f64) {
        if rate != self.rate {
            self.rate = rate;
            self.chain = Chain::new(rate);
            self.twin = self.twin.take().map(|_| Chain::new(rate));
        }
        self.each(|chain| chain.set(&Settings::default()));
        self.mono = self.dice.below(4) == 0;
        self.reset();
        self.apply();
    }

    fn each(&mut self, mut what: impl FnMut(&mut Chain)) {
        what(&mut self.chain);
        self.twin.iter_mut().for_each(what);
    }

    /// Forgets all sound: everything is where it should go, at once.
    fn reset(&mut self) {
        self.each(Chain::reset);
        let latency = self.chain.latency();
        self.delayed = std::array::from_fn(|_| VecDeque::from(vec![0.0; latency]));
        self.last = Last::default();
    }

    /// True when the dice have nothing left.
    pub fn over(&self) -> bool {
        self.dice.over()
    }

    /// One step: mostly a block.
    pub fn step(&mut self) {
        match self.dice.below(64) {
            0 => self.reset(),
            1 if self.dice.below(8) == 0 => {
                let rate = RATES[self.dice.below(RATES.len())];
                self.begin(rate);
            }
            2 => self.each_parameter(),
            3..6 => self.one_parameter(),
            6 => {
                let band = self.dice.below(8);
                self.each(|chain| chain.solo((band < 5).then_some(band)));
            }
            7 => {
                // Listening and the order of the stages: the rarest parameters move often.
                self.settings.compare =
                    [Compare::Off, Compare::Before, Compare::After, Compare::Reference][self.dice.below(4)];
                self.settings.order = [StageOrder::EqFirst, StageOrder::CompressorFirst][self.dice.below(2)];
                self.apply();
            }
            8 => self.calm(),
            9 => self.process(0),
            10..16 => {
                let mut input = self.input.clone();
                input.iter_mut().for_each(|input| input.change(&mut self.dice));
                self.input = input;
            }
            _ => {}
        }
        let frames = [1, 2, 7, 16, 31, 32, 32, 33, 64, 64, 64, 64, 64, 128, 480, 0][self.dice.below(16)];
        let frames = match self.dice.below(256) {
            0 => 1 + self.dice.below(8192),
            1 => 1 + self.dice.below(2048),
            _ => frames,
        };
        self.process(frames);
    }

    /// All parameters at once, each anywhere, some beyond their range.
    fn each_parameter(&mut self) {
        for param in params::all() {
            let value = match self.dice.below(24) {
                0 => [f32::NAN, f32::INFINITY, -1e30, 1e30][self.dice.below(4)],
                _ => param.at_position(self.dice.share()),
            };
            param.set(&mut self.settings, value);
        }
        self.apply();
    }

    fn one_parameter(&mut self) {
        let param = &params::all()[self.dice.below(params::all().len())];
        param.set(&mut self.settings, param.at_position(self.dice.share()));
        self.apply();
    }

    /// Settings that let the tight bounds hold, and then some sound under them.
    fn calm(&mut self) {
        self.settings.bypass = false;
        self.settings.compare = Compare::Off;
        self.settings.limiter.on = true;
        self.settings.limiter.removed_only = false;
        self.apply();
        let frames = self.arrived() as usize / 3 + 1;
        (0..3).for_each(|_| self.process(frames));
        let bounded = |frame: &Option<u64>| frame.is_none_or(|frame| self.frame - frame >= self.arrived());
        assert!(bounded(&self.last.loose) && bounded(&self.last.listening), "not calm for long enough");
    }

    /// Hands the settings over and notes what the bounds need to know.
    fn apply(&mut self) {
        let old = *self.chain.settings();
        let new = self.settings;
        self.each(|chain| chain.set(&new));
        if !old.limiter.on || old.limiter.removed_only {
            self.last.loose = Some(self.frame);
        }
        if old.bypass {
            self.last.bypass = Some(self.frame);
        }
        if old.bypass || old.compare != Compare::Off {
            self.last.listening = Some(self.frame);
        }
        if old.limiter.ceiling != new.limiter.ceiling {
            self.last.ceilings.push_back((self.frame, gain(old.limiter.ceiling)));
        }
    }

    /// Frames in which a change has come through to the output.
    fn arrived(&self) -> u64 {
        (ARRIVED * self.rate) as u64 + self.chain.latency() as u64 + 64
    }

    fn process(&mut self, frames: usize) {
        for ch in 0..2 {
            self.buffers[ch].clear();
            self.cleaned[ch].clear();
            self.before[ch].clear();
            self.after[ch].clear();
            self.after_twin[ch].clear();
        }
        for _ in 0..frames {
            for ch in 0..2 {
                let x = if self.mono && ch == 1 {
                    self.buffers[0][self.buffers[0].len() - 1]
                } else if let Some(noise) = &mut self.noise {
                    (0.2 * noise.signed()) as f32
                } else {
                    self.input[ch].sample()
                };
                self.buffers[ch].push(x);
                self.cleaned[ch].push(taken_for(x));
                self.delayed[ch].push_back(x);
            }
        }
        let (mut deepest, mut least) = (0.0_f32, 0.0_f32);
        let [left, right] = &mut self.buffers;
        let (before, after) = (&mut self.before, &mut self.after);
        let mut tapped = |tap: &lintel::tap_ring::Tap| {
            for ch in 0..2 {
                before[ch].extend_from_slice(tap.before[ch]);
                after[ch].extend_from_slice(tap.after[ch]);
            }
            for db in tap.compressor_db.iter().chain(tap.limiter_db) {
                assert!(db.is_finite(), "a reduction of {db} dB");
                deepest = deepest.max(*db);
                least = least.min(*db);
            }
        };
        if self.mono {
            self.chain.process(&mut [left], &mut tapped);
        } else {
            self.chain.process(&mut [left, right], &mut tapped);
        }
        assert!(least >= 0.0 && deepest <= DEEPEST, "reductions from {least} to {deepest} dB");
        self.follow_twin();
        self.check();
        self.frame += frames as u64;
    }

    /// The same from an input without faults.
    fn follow_twin(&mut self) {
        let Some(twin) = &mut self.twin else { return };
        let [left, right] = &mut self.cleaned;
        let after = &mut self.after_twin;
        let tapped = |tap: &lintel::tap_ring::Tap| {
            for ch in 0..2 {
                after[ch].extend_from_slice(tap.after[ch]);
            }
        };
        if self.mono {
            twin.process(&mut [left], tapped);
        } else {
            twin.process(&mut [left, right], tapped);
        }
        assert!(self.after == self.after_twin, "a fault has left a trace");
    }

    fn check(&mut self) {
        let arrived = self.arrived();
        let now = self.frame;
        let recent = |frame: &Option<u64>| frame.is_some_and(|frame| now - frame < arrived);
        let settings = self.chain.settings();
        let bounded = settings.limiter.on && !settings.limiter.removed_only && !recent(&self.last.loose);
        let listening = settings.bypass || settings.compare != Compare::Off || recent(&self.last.listening);
        while self.last.ceilings.front().is_some_and(|(frame, _)| now - frame >= arrived) {
            self.last.ceilings.pop_front();
        }
        let highest =
            self.last.ceilings.iter().map(|(_, gain)| *gain).fold(gain(settings.limiter.ceiling), f64::max);
        for ch in 0..if self.mono { 1 } else { 2 } {
            for (n, out) in self.buffers[ch].iter().copied().enumerate() {
                let bypass = settings.bypass
                    || self
                        .last
                        .bypass
                        .is_some_and(|frame| now + n as u64 - frame < lintel::dsp::CHUNK as u64);
                let (before, after) = (self.before[ch][n], self.after[ch][n]);
                let input = self.delayed[ch].pop_front().expect("as long as the latency");
                assert_eq!(
                    before.to_bits(),
                    kept(input).to_bits(),
                    "the untouched input is not what came in"
                );
                for (x, what) in [(out, "output"), (after, "result")] {
                    assert!(!x.is_subnormal(), "the {what} has {x:e}, frame {n}");
                }
                let most = if bounded { highest } else { f64::from(MOST) };
                assert!(f64::from(after.abs()) <= most, "{after} over {most}, frame {n}");
                if !listening {
                    assert_eq!(out.to_bits(), after.to_bits(), "frame {n}");
                } else if !out.is_finite() {
                    assert!(bypass && out.to_bits() == before.to_bits(), "{out} at frame {n}");
                } else if !(bypass && out.to_bits() == before.to_bits()) {
                    // A mean of both, neither raised; one rounding each.
                    let most = most.max(f64::from(taken_for(before).abs())) * (1.0 + 1e-6);
                    assert!(f64::from(out.abs()) <= most, "{out} over {most} while listening, frame {n}");
                }
            }
        }
        if self.mono {
            let frames = self.buffers[0].len();
            self.delayed[1].drain(..frames);
        }
        let (level, reduction) = self.chain.compressor_point();
        assert!(!level.is_nan() && reduction.is_finite() && self.chain.makeup_db().is_finite());
    }
}

/// What the chain keeps of an input sample for bypass: everything but subnormal numbers, which become zero.
fn kept(x: f32) -> f32 {
    if x.is_subnormal() { 0.0_f32.copysign(x) } else { x }
}

fn gain(db: f32) -> f64 {
    10f64.powf(f64::from(db) / 20.0)
}

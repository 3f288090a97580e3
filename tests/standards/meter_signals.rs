//! Test signals of the loudness standards, written from their text, and the three ways in which
//! the meters are fed: in line, and through the ring in blocks of 64 and of 480 frames.

use lintel::meter::{Analysis, LoudnessMeter};
use lintel::tap_ring::{self, Tap, TapReceiver, TapSender, Transport};

pub const RATES: [u32; 4] = [44_100, 48_000, 96_000, 192_000];

/// How the meters are fed.
#[derive(Clone, Copy, Debug)]
pub enum Path {
    /// In line with the chain, in blocks of 1024 frames.
    Offline,
    /// Through the ring, in blocks of so many frames.
    Live(usize),
}

pub const PATHS: [Path; 3] = [Path::Offline, Path::Live(64), Path::Live(480)];

/// What is fed.
enum Engine {
    /// The whole analysis.
    Whole(Box<Analysis>),
    /// Its loudness meter alone, behind the same ring. That the rest of the analysis changes no
    /// digit of it is shown in `tests/live`.
    LoudnessMeter(Box<LoudnessMeter>),
}

/// Figures of one moment, LUFS, LU and dBTP.
pub struct Figures {
    pub momentary: f64,
    pub short_term: f64,
    pub integrated: f64,
    pub range: f64,
    pub max_momentary: f64,
    pub max_short_term: f64,
    /// −∞ from the loudness meter alone.
    pub max_true_peak: f64,
}

/// A meter and what feeds it.
pub struct Meter {
    pub rate: u32,
    engine: Engine,
    path: Path,
    ring: (TapSender, TapReceiver),
    /// Where the tone's phase stands, in frames.
    at: usize,
    /// One second of a 1 kHz sine: a whole number of periods.
    tone: Vec<f32>,
}

impl Meter {
    /// The whole analysis.
    pub fn whole(rate: u32, path: Path) -> Self {
        Self::new(rate, path, Engine::Whole(Box::new(Analysis::new(rate, 2))))
    }

    /// The whole analysis at 48 kHz, its loudness meter alone at other rates.
    pub fn loudness(rate: u32, path: Path) -> Self {
        match rate {
            48_000 => Self::whole(rate, path),
            _ => Self::new(rate, path, Engine::LoudnessMeter(Box::new(LoudnessMeter::new(rate, 2)))),
        }
    }

    fn new(rate: u32, path: Path, engine: Engine) -> Self {
        let tone =
            (0..rate).map(|n| (std::f64::consts::TAU * 1000.0 * f64::from(n) / f64::from(rate)).sin() as f32);
        Self { rate, engine, path, ring: tap_ring::tap_ring(rate, 1.0), at: 0, tone: tone.collect() }
    }

    /// A new meter on the same path.
    pub fn another(&self) -> Self {
        Self::loudness(self.rate, self.path)
    }

    /// Feeds the same signal to both channels.
    pub fn feed(&mut self, samples: &[f32]) {
        let block = match self.path {
            Path::Offline => 1024,
            Path::Live(frames) => frames,
        };
        let zeros = [0.0; 1024];
        let transport = Transport { playing: true, position: None };
        for part in samples.chunks(block) {
            let zeros = &zeros[..part.len()];
            let tap = Tap {
                before: [zeros; 2],
                after: [part; 2],
                compressor_db: zeros,
                limiter_db: zeros,
                clip_db: zeros,
            };
            match (self.path, &mut self.engine) {
                (Path::Offline, Engine::Whole(analysis)) => analysis.feed(&tap, transport),
                (Path::Offline, Engine::LoudnessMeter(meter)) => meter.feed(&[part, part]),
                (Path::Live(_), engine) => {
                    let (taps, receiver) = &mut self.ring;
                    taps.push(&tap, transport);
                    receiver.read(usize::MAX, |chunk| match engine {
                        Engine::Whole(analysis) => analysis.feed_chunk(chunk),
                        Engine::LoudnessMeter(meter) => meter.feed(&[&chunk.after[0], &chunk.after[1]]),
                    });
                }
            }
        }
        assert_eq!(self.ring.0.lost(), 0);
    }

    /// Feeds seconds of a 1 kHz sine with a peak level in dBFS; `None` = silence.
    pub fn tone(&mut self, seconds: f64, level: Option<f64>) {
        let frames = (seconds * f64::from(self.rate)).round() as usize;
        let gain = level.map_or(0.0, |db| 10f64.powf(db / 20.0)) as f32;
        let mut block = [0.0f32; 960];
        let mut left = frames;
        while left > 0 {
            let n = left.min(block.len());
            for x in &mut block[..n] {
                *x = gain * self.tone[self.at];
                self.at = (self.at + 1) % self.tone.len();
            }
            self.feed(&block[..n]);
            left -= n;
        }
    }

    /// Feeds a list of (seconds, dBFS).
    pub fn tones(&mut self, segments: &[(f64, f64)]) {
        segments.iter().for_each(|&(seconds, level)| self.tone(seconds, Some(level)));
    }

    /// What the meter says now.
    pub fn figures(&mut self) -> Figures {
        match &mut self.engine {
            Engine::Whole(analysis) => {
                let after = analysis.snapshot().after;
                Figures {
                    momentary: after.momentary,
                    short_term: after.short_term,
                    integrated: after.integrated,
                    range: after.range,
                    max_momentary: after.max_momentary,
                    max_short_term: after.max_short_term,
                    max_true_peak: after.max_true_peak,
                }
            }
            Engine::LoudnessMeter(meter) => Figures {
                momentary: meter.momentary(),
                short_term: meter.short_term(),
                integrated: meter.integrated(),
                range: meter.range(),
                max_momentary: meter.max_momentary(),
                max_short_term: meter.max_short_term(),
                max_true_peak: f64::NEG_INFINITY,
            },
        }
    }

    /// Ends the file.
    pub fn finish(&mut self) -> Figures {
        match (self.path, &mut self.engine) {
            (Path::Offline, Engine::Whole(analysis)) => analysis.finish(),
            // A live stream goes on: what comes after the signal is silence.
            _ => self.feed(&[0.0; 960]),
        }
        self.figures()
    }
}

/// Runs one case on meters of all rates and paths, two at a time.
pub fn everywhere(meter: fn(u32, Path) -> Meter, case: impl Fn(&mut Meter) + Sync) {
    std::thread::scope(|scope| {
        for half in [&RATES[..3], &RATES[3..]] {
            let case = &case;
            scope.spawn(move || {
                for (&rate, path) in half.iter().flat_map(|rate| PATHS.map(|path| (rate, path))) {
                    case(&mut meter(rate, path));
                }
            });
        }
    });
}

/// Asserts `value` = `expected` within ±`tolerance`.
#[track_caller]
pub fn near(value: f64, expected: f64, tolerance: f64, rate: u32) {
    assert!((value - expected).abs() <= tolerance, "{value:.3} instead of {expected} at {rate} Hz");
}

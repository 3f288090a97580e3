//! Test signals of the loudness standards, written from their text, and the three ways in which
//! the meters are fed: in line, and through the ring in blocks of 64 and of 480 frames.

use lintel::link::{self, Drain, Feeder, Tap, Transport};
use lintel::meter::{Analysis, Snapshot};

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

/// An analysis and what feeds it.
pub struct Meter {
    pub rate: u32,
    analysis: Analysis,
    path: Path,
    ring: (Feeder, Drain),
    /// Where the tone's phase stands, in frames.
    at: usize,
    /// One second of a 1 kHz sine: a whole number of periods.
    tone: Vec<f32>,
}

impl Meter {
    pub fn new(rate: u32, path: Path) -> Self {
        let tone =
            (0..rate).map(|n| (std::f64::consts::TAU * 1000.0 * f64::from(n) / f64::from(rate)).sin() as f32);
        Self {
            rate,
            analysis: Analysis::new(rate, 2),
            path,
            ring: link::feeder(rate, 1.0),
            at: 0,
            tone: tone.collect(),
        }
    }

    /// A new meter on the same path.
    pub fn another(&self) -> Self {
        Self::new(self.rate, self.path)
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
            let tap = Tap { before: [zeros; 2], after: [part; 2], glue_db: zeros, ceiling_db: zeros };
            match self.path {
                Path::Offline => self.analysis.feed(&tap, transport),
                Path::Live(_) => {
                    let (feeder, drain) = &mut self.ring;
                    feeder.push(&tap, transport);
                    drain.read(usize::MAX, |chunk| self.analysis.feed_chunk(chunk));
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

    pub fn snapshot(&self) -> Snapshot {
        self.analysis.snapshot()
    }

    /// Ends the file.
    pub fn finish(&mut self) -> Snapshot {
        if matches!(self.path, Path::Offline) {
            self.analysis.finish();
        } else {
            // A live stream goes on: what comes after the signal is silence.
            self.feed(&[0.0; 960]);
        }
        self.snapshot()
    }
}

/// Runs one case at every rate and on every path, two at a time.
pub fn everywhere(case: impl Fn(&mut Meter) + Sync) {
    std::thread::scope(|scope| {
        for half in [&RATES[..3], &RATES[3..]] {
            let case = &case;
            scope.spawn(move || {
                for (&rate, path) in half.iter().flat_map(|rate| PATHS.map(|path| (rate, path))) {
                    case(&mut Meter::new(rate, path));
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

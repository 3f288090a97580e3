//! The library's own chain on the same input with the same settings: what it reduces over time,
//! and the samples to hold against the bundle's.

use lintel::chain::Chain;
use lintel::dsp::db;
use lintel::finish::chart::ChartColumn;
use lintel::meter::{Analysis, LoudnessMeter};
use lintel::settings::Settings;
use lintel::tap_ring::Transport;
use serde::Serialize;

/// Columns a second in the picture.
const COLUMNS: f64 = 50.0;

/// How deep a stage went.
#[derive(Clone, Copy, Debug, Default, Serialize)]
pub struct ReductionStats {
    /// dB ≥ 0.
    pub deepest_db: f64,
    /// Over the whole length, dB ≥ 0.
    pub mean_db: f64,
}

/// What the chain did.
pub struct Inside {
    /// Left and right, without the latency, as long as the input.
    pub output: Vec<Vec<f32>>,
    pub latency: usize,
    pub compressor: ReductionStats,
    pub limiter: ReductionStats,
    pub clip: ReductionStats,
    /// Share of the time with music in which the limiter is active, 0 … 1.
    pub working: f64,
    pub columns: Vec<ChartColumn>,
}

/// Runs the chain.
pub fn run(input: &[Vec<f32>], rate: u32, settings: &Settings) -> Inside {
    let mut chain = Chain::new(f64::from(rate));
    chain.set(settings);
    chain.reset();
    let latency = chain.latency();
    let frames = input[0].len();
    let mut lanes: Vec<Vec<f32>> = input.to_vec();
    for lane in &mut lanes {
        lane.resize(frames + latency, 0.0);
    }
    // What "active" means is the analysis' own, as on the screen and in a report.
    let mut analysis = Analysis::new(rate, 2);
    let mut tally = Tally::new(rate, latency, frames);
    {
        let mut io: Vec<&mut [f32]> = lanes.iter_mut().map(Vec::as_mut_slice).collect();
        chain.process(&mut io, |tap| {
            analysis.feed(tap, Transport::default());
            for i in 0..tap.compressor_db.len() {
                let before = tap.before[0][i].abs().max(tap.before[1][i].abs());
                let after = [tap.after[0][i], tap.after[1][i]];
                tally.frame(before, after, [tap.compressor_db[i], tap.limiter_db[i], tap.clip_db[i]]);
            }
        });
    }
    for lane in &mut lanes {
        lane.drain(..latency);
    }
    tally.finish(lanes, latency, analysis.whole_facts().limiter.share)
}

/// Sums over frames, as they come out of the chain.
struct Tally {
    rate: f64,
    /// Frames still to be left out: the latency.
    skip: usize,
    at: usize,
    frames: usize,
    sum: [f64; 3],
    deepest: [f32; 3],
    loudness: LoudnessMeter,
    column: HistoryColumn,
    columns: Vec<ChartColumn>,
}

/// The column under way, linear.
#[derive(Default)]
struct HistoryColumn {
    before: f32,
    after: f32,
    /// By compressor, limiter and soft clip.
    reductions: [f32; 3],
    played: Vec<f32>,
}

impl Tally {
    fn new(rate: u32, latency: usize, frames: usize) -> Self {
        Self {
            rate: f64::from(rate),
            skip: latency,
            at: 0,
            frames,
            sum: [0.0; 3],
            deepest: [0.0; 3],
            loudness: LoudnessMeter::new(rate, 2),
            column: HistoryColumn::default(),
            columns: Vec::new(),
        }
    }

    /// `reductions`: by compressor, limiter and soft clip, dB.
    fn frame(&mut self, before: f32, after: [f32; 2], reductions: [f32; 3]) {
        if self.skip > 0 {
            self.skip -= 1;
            return;
        }
        for (k, reduction) in reductions.into_iter().enumerate() {
            self.sum[k] += f64::from(reduction);
            self.deepest[k] = self.deepest[k].max(reduction);
            self.column.reductions[k] = self.column.reductions[k].max(reduction);
        }
        let column = &mut self.column;
        column.before = column.before.max(before);
        column.after = column.after.max(after[0].abs()).max(after[1].abs());
        column.played.extend(after);
        self.at += 1;
        let number = |at: usize| (at as f64 * COLUMNS / self.rate) as usize;
        if number(self.at) > number(self.at - 1) || self.at == self.frames {
            self.close();
        }
    }

    fn close(&mut self) {
        let column = std::mem::take(&mut self.column);
        let frames = column.played.len() / 2;
        self.loudness.feed_interleaved(&column.played);
        // Before three seconds have passed there is no short-term loudness.
        let short_term = if self.at as f64 >= 3.0 * self.rate {
            self.loudness.short_term() as f32
        } else {
            f32::NEG_INFINITY
        };
        self.columns.push(ChartColumn {
            time: (self.at - frames) as f64 / self.rate,
            input: db::from_gain(f64::from(column.before)) as f32,
            output: db::from_gain(f64::from(column.after)) as f32,
            compressor: column.reductions[0],
            limiter: column.reductions[1],
            clip: column.reductions[2],
            short_term,
        });
    }

    fn finish(self, output: Vec<Vec<f32>>, latency: usize, working: f64) -> Inside {
        let frames = self.at.max(1) as f64;
        let reduction = |k: usize| ReductionStats {
            deepest_db: f64::from(self.deepest[k]),
            mean_db: self.sum[k] / frames,
        };
        Inside {
            output,
            latency,
            compressor: reduction(0),
            limiter: reduction(1),
            clip: reduction(2),
            working,
            columns: self.columns,
        }
    }
}

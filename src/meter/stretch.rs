//! The figures of a stretch of the history: loudness, peaks, what each stage reduced, pumping, and its
//! worst moment.

use super::column::HistoryColumn;
use super::history::{COLUMNS, History};
use super::reduction::PumpingMeter;
use crate::dsp::db;
use crate::dsp::loudness_gate::{LoudnessGate, loudness};
use std::ops::Range;

/// Length of a gating block and the distance of two of them, s: BS.1770-5.
const BLOCK_S: f64 = 0.4;
/// See [`BLOCK_S`].
const BLOCK_HOP_S: f64 = 0.1;
/// Shortest stretch whose pumping is given, s: the meter compares three passages of two seconds.
const PUMPING_S: f64 = 6.0;

/// Reduction of one stage over a stretch, dB ≥ 0.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct StretchReduction {
    /// Mean over time.
    pub mean: f64,
    /// Deepest.
    pub deepest: f64,
}

/// The figures of a stretch.
#[derive(Clone, Debug, PartialEq)]
pub struct Stretch {
    /// Recorded time in it, s.
    pub seconds: f64,
    /// Loudness of the output, gated as BS.1770-5 gates a programme, LUFS. The blocks are cut from columns of
    /// about 11 ms, which is within 0.1 LU of the meter's own.
    pub loudness: f64,
    /// Highest true peak of the output, dBTP.
    pub true_peak: f64,
    /// `true_peak` over `loudness`, LU.
    pub plr: Option<f64>,
    /// All stages together.
    pub total: StretchReduction,
    /// Compressor.
    pub compressor: StretchReduction,
    /// Limiter, its curve left out.
    pub limiter: StretchReduction,
    /// Soft clip: what the curve takes.
    pub clip: StretchReduction,
    /// Pumping as the whole measurement has it, dB; none below six seconds of music.
    pub pumping: Option<f64>,
    /// Time of the deepest total reduction, s of the recording.
    pub worst_at: f64,
}

impl History {
    /// The figures of a span of frames; none where nothing was recorded.
    pub fn stretch(&self, span: Range<u64>) -> Option<Stretch> {
        let rate = f64::from(self.sample_rate());
        let view = self.view(span, COLUMNS);
        let width_s = view.width as f64 / rate;
        let recorded: Vec<(u64, &HistoryColumn)> =
            (0..).zip(&view.columns).filter(|(_, column)| column.frames > 0).collect();
        let frames: u64 = recorded.iter().map(|(_, column)| u64::from(column.frames)).sum();
        let (worst, _) = recorded.iter().max_by(|a, b| a.1.total.total_cmp(&b.1.total))?;
        let reduction = |of: fn(&HistoryColumn) -> [f32; 2]| {
            let mut sum = StretchReduction::default();
            for (_, column) in &recorded {
                let [deepest, mean] = of(column).map(f64::from);
                sum.deepest = sum.deepest.max(deepest);
                sum.mean += mean * f64::from(column.frames) / frames as f64;
            }
            sum
        };
        let highest = recorded.iter().map(|(_, column)| column.true_peak).fold(0.0, f32::max);
        let (loudness, true_peak) = (loudness_of(&recorded, width_s), db::from_gain(f64::from(highest)));
        let plr = true_peak - loudness;
        Some(Stretch {
            seconds: frames as f64 / rate,
            loudness,
            true_peak,
            plr: plr.is_finite().then_some(plr),
            total: reduction(|c| [c.total, c.compressor[1] + c.limiter[1] + c.clip[1]]),
            compressor: reduction(|c| c.compressor),
            limiter: reduction(|c| c.limiter),
            clip: reduction(|c| c.clip),
            pumping: pumping(&recorded, width_s),
            worst_at: (view.start + (worst * view.width) + view.width / 2) as f64 / rate,
        })
    }
}

/// Gated loudness of columns `width_s` long, LUFS; of a stretch shorter than a block the plain one.
fn loudness_of(columns: &[(u64, &HistoryColumn)], width_s: f64) -> f64 {
    // Energy up to the end of each column.
    let mut energy = vec![0.0];
    for (_, column) in columns {
        energy.push(energy[energy.len() - 1] + f64::from(column.power) * width_s);
    }
    let end_s = columns.len() as f64 * width_s;
    let at = |seconds: f64| {
        let place = (seconds / width_s).clamp(0.0, columns.len() as f64);
        let n = (place as usize).min(columns.len() - 1);
        energy[n] + (energy[n + 1] - energy[n]) * (place - n as f64)
    };
    if end_s < BLOCK_S {
        return loudness(energy[columns.len()] / end_s);
    }
    let mut gate: LoudnessGate = LoudnessGate::new();
    let blocks = ((end_s - BLOCK_S) / BLOCK_HOP_S + 1e-9) as usize + 1;
    for block in 0..blocks {
        let start = block as f64 * BLOCK_HOP_S;
        gate.add((at(start + BLOCK_S) - at(start)) / BLOCK_S);
    }
    gate.integrated()
}

fn pumping(columns: &[(u64, &HistoryColumn)], width_s: f64) -> Option<f64> {
    let mut meter = PumpingMeter::new(1.0 / width_s);
    let mut music_s = 0.0;
    for (n, column) in columns.iter().filter(|(_, column)| column.has_music()) {
        music_s += width_s;
        meter.add(f64::from(column.compressor[1] + column.limiter[1]), *n as f64 * width_s, true);
    }
    (music_s >= PUMPING_S).then(|| meter.most().0)
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: u32 = 48_000;

    fn column(power: f32, limiter: f32) -> HistoryColumn {
        HistoryColumn {
            power,
            limiter: [limiter, limiter / 2.0],
            compressor: [1.0, 1.0],
            total: limiter + 1.0,
            true_peak: 0.5,
            after: [-0.5, 0.5],
            frames: 512,
            ..HistoryColumn::EMPTY
        }
    }

    #[test]
    fn a_stretch_has_its_own_figures_and_those_around_it_do_not_count() {
        let mut history = History::new(RATE);
        let width = history.width();
        // 10 s loud, 10 s 20 dB lower with 2 dB of limiting and one moment of 5 dB, 10 s loud.
        let columns = 10 * u64::from(RATE) / width;
        for n in 0..3 * columns {
            let inside = (columns..2 * columns).contains(&n);
            let deepest = if n == columns + 300 { 5.0 } else { 2.0 };
            history.push(if inside { column(1e-4, deepest) } else { column(1e-2, 9.0) });
        }
        let stretch = history.stretch(columns * width..2 * columns * width).expect("recorded");
        assert!((stretch.loudness - (-0.691 - 40.0)).abs() < 0.01, "{}", stretch.loudness);
        assert!((stretch.seconds - 10.0).abs() < 0.03 && stretch.limiter.deepest == 5.0);
        assert!((stretch.limiter.mean - 1.0).abs() < 0.01 && stretch.total.deepest == 6.0);
        assert!((stretch.total.mean - 2.0).abs() < 0.01);
        assert!((stretch.compressor.mean - 1.0).abs() < 1e-6);
        let worst = ((columns + 300) * width) as f64 / f64::from(RATE);
        assert!((stretch.worst_at - worst).abs() < 0.02, "{} {worst}", stretch.worst_at);
        assert!((stretch.plr.expect("a PLR") - (-6.02 + 40.691)).abs() < 0.02);
        assert!(stretch.pumping.expect("ten seconds of music") < 0.5);
        // Gated: the quiet third lies more than 10 LU below and does not count.
        let whole = history.stretch(0..3 * columns * width).expect("recorded");
        assert!((whole.loudness - (-0.691 - 20.0)).abs() < 0.1, "{}", whole.loudness);
        assert_eq!(history.stretch(columns * width..columns * width + 4 * width).unwrap().pumping, None);
        assert_eq!(history.stretch(9 * columns * width..10 * columns * width), None);
    }
}

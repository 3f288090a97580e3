//! A forecast of the loudness from passages of a song: the song's cells and a gain in dB in; a [`Forecast`] that is
//! right at this gain out. Costs a quarter of a pass through the chain, on all cores.
//!
//! The passages lie evenly over the parts of the song that the limiter may touch. What the chain makes of them corrects
//! the model of the limiter in all cells: by the change in front of the limiter (EQ, compressor), and by the ratio of
//! the energies that the real and the modelled limiter leave, both taken as lines between the passages. It only
//! chooses which gain is tried first; the whole pass decides.

use std::ops::Range;

use super::cut::CutPlan;
use super::error::Result;
use super::format::Container;
use super::gain::{trim_db, with_gain};
use super::level_cells::LevelCells;
use super::parallel::in_parallel;
use super::planes::to_f32;
use super::progress::ProgressWatcher;
use super::render::{RenderJob, render};
use super::source::SourceMeasurement;
use crate::dsp::db;
use crate::dsp::gating::{CELLS_PER_SECOND, GatingBlocks, HOP_CELLS};
use crate::meter::MonoAs;
use crate::meter::forecast::{Forecast, SongModel};

/// Length of a passage, and of what runs before it so that the limiter's persistent gain (1.2 s) is known: cells.
const PASSAGE_CELLS: usize = 400;
const LEAD_CELLS: usize = 150;
/// Cells behind it that the limiter looks ahead into.
const AHEAD_CELLS: usize = 5;
/// Shares of the passages that are run, one batch after the other, until the loudness is known well enough, and the
/// fewest of each batch.
const BATCHES: [(f64, usize); 4] = [(0.125, 6), (0.25, 12), (0.5, 24), (1.0, 24)];
/// The golden section: places at its multiples are spread evenly, however many there are, and follow no rhythm.
const GOLDEN: f64 = 0.618_033_988_749_895;
/// Shortest song, in passages: below that, whole passes cost hardly more.
const SHORTEST: usize = 24;
/// Distance below the ceiling from which on samples may be limited: what lies between them is higher, dB.
const MARGIN_DB: f64 = 3.0;
/// Losses in the model by which cells are alike, dB.
const LOSSES_DB: [f64; 10] = [0.01, 0.25, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 9.0];
/// Levels by which cells are alike: from 0 dB down, in steps.
const LEVELS_DB: f64 = 60.0;
const LEVEL_STEP_DB: f64 = 3.0;
/// Share of the sum over all cells that counts in each group beside its own, so that few cells do not decide.
const COMMON: f64 = 0.01;
/// Change in front of the limiter that counts as none (f32 and its logarithms), as a share.
const UNCHANGED: f64 = 1e-3;
/// Gains around the one that is run for which there is a forecast, dB either way.
const NEAR_DB: f64 = 3.0;
/// Standard error of the loudness that is good enough, LU: three of them are within the search's tolerance.
const ENOUGH_LU: f64 = 0.015;
/// Least and greatest slope that is believed, LU per dB.
const SLOPES: [f64; 2] = [0.1, 1.0];

/// The passages of a song.
pub(super) struct Passages<'a> {
    pass: RenderJob<'a>,
    source: &'a SourceMeasurement,
    mono_as: MonoAs,
    /// Cells of the file that are kept.
    kept: Range<usize>,
}

/// What the chain made of a passage, cell by cell.
struct Passage {
    /// Number of the passage.
    slot: usize,
    /// Weighted mean square and highest sample in front of the limiter.
    front: Vec<[f32; 2]>,
    /// Weighted mean square behind it.
    behind: Vec<f32>,
}

/// What a gain did to passages.
pub(super) struct PassageRun {
    /// dB.
    gain: f64,
    /// The forecast that follows from it.
    pub forecast: Forecast,
    passages: Vec<Passage>,
}

impl<'a> Passages<'a> {
    /// The passages of the part that a pass keeps; none of a short song, or of a file in which places are not found
    /// quickly.
    pub fn of(pass: RenderJob<'a>, source: &'a SourceMeasurement, mono_as: MonoAs) -> Option<Self> {
        let kept = source.cells.kept_places(pass.cut);
        let is_quick =
            source.kept.is_some() || matches!(source.format.container, Container::Wav | Container::Rf64);
        let is_long = kept.len() >= SHORTEST * PASSAGE_CELLS;
        (is_quick && is_long).then_some(Self { pass, source, mono_as, kept })
    }

    /// Whole passages.
    fn count(&self) -> usize {
        self.kept.len() / PASSAGE_CELLS
    }

    /// The cells of a passage, from the first that is kept.
    fn cells_of(slot: usize) -> Range<usize> {
        slot * PASSAGE_CELLS..(slot + 1) * PASSAGE_CELLS
    }

    /// What `gain` dB does to the passages. More of them are run until the forecast is good enough, or `is_far` says
    /// that another gain is asked for anyway. The passages of an `earlier` run at another gain come first: they show
    /// the slope. None for silence.
    pub fn run(
        &self,
        gain: f64,
        earlier: Option<&PassageRun>,
        threads: usize,
        is_far: impl Fn(&Forecast) -> bool,
        watch: &dyn ProgressWatcher,
    ) -> Result<Option<PassageRun>> {
        let all: Vec<usize> = (0..self.count()).collect();
        let mut candidates = self.limited(gain);
        let mut passages = Vec::<Passage>::new();
        let mut forecast = None;
        let mut batches = BATCHES.into_iter().peekable();
        while let Some(&(share, fewest)) = batches.peek() {
            let wanted = ((share * candidates.len() as f64) as usize).max(fewest);
            let again = earlier.iter().flat_map(|earlier| &earlier.passages).map(|passage| passage.slot);
            let mut slots: Vec<usize> = again.chain(spread(&candidates).take(wanted)).collect();
            slots.sort_unstable();
            slots.dedup();
            slots.retain(|slot| passages.iter().all(|passage| passage.slot != *slot));
            passages.extend(in_parallel(threads, &slots, |slot| self.measure(*slot, gain, watch))?);
            passages.sort_by_key(|passage| passage.slot);
            let plain = passages.iter().all(|passage| self.is_unchanged(passage, gain));
            if !plain && candidates.len() < all.len() {
                // EQ or compressor act everywhere.
                candidates.clone_from(&all);
                continue;
            }
            let Some((found, error)) = self.correct(&passages, &candidates, gain) else { return Ok(None) };
            let is_enough = error < ENOUGH_LU || is_far(&found);
            forecast = Some(found);
            if is_enough {
                break;
            }
            batches.next();
        }
        let slope = earlier.and_then(|earlier| slope(earlier, gain, &passages));
        Ok(forecast.map(|forecast| {
            let forecast = match slope {
                Some(slope) => Forecast::line(gain, forecast.loudness(gain), slope),
                None => forecast,
            };
            PassageRun { gain, forecast, passages }
        }))
    }

    /// The passages that a limiter may touch at `gain` dB; all, where there are few.
    fn limited(&self, gain: f64) -> Vec<usize> {
        let cells = &self.source.cells.all()[self.kept.clone()];
        let limiter = &self.pass.settings.limiter;
        let from_db = f64::from(limiter.ceiling) - MARGIN_DB - trim_db(self.pass.settings) - gain;
        let from = db::to_gain(from_db) as f32;
        let is_limited =
            |slot: &usize| limiter.on && cells[Self::cells_of(*slot)].iter().any(|cell| cell[1] >= from);
        let limited: Vec<usize> = (0..self.count()).filter(is_limited).collect();
        if limited.is_empty() { (0..self.count()).collect() } else { limited }
    }

    /// Sums over the cells of a passage: weighted mean squares and highest samples of the source, at the level of
    /// the limiter's front.
    fn before(&self, slot: usize, gain: f64) -> [f64; 2] {
        let lift = trim_db(self.pass.settings) + gain;
        let cells = &self.source.cells.all()[self.kept.clone()][Self::cells_of(slot)];
        let [power, peak] = sums(cells);
        [power * 10f64.powf(lift / 10.0), peak * db::to_gain(lift)]
    }

    /// Nothing but the gain acts in front of the limiter.
    fn is_unchanged(&self, passage: &Passage, gain: f64) -> bool {
        let (before, after) = (self.before(passage.slot, gain), sums(&passage.front));
        (after[0] - before[0]).abs() <= UNCHANGED * before[0]
    }

    /// The corrected forecast, and the standard error of the loudness at `gain`, LU. `candidates` are the passages
    /// of which `passages` are some.
    fn correct(&self, passages: &[Passage], candidates: &[usize], gain: f64) -> Option<(Forecast, f64)> {
        let (trim, limiter) = (trim_db(self.pass.settings), &self.pass.settings.limiter);
        let lift = trim + gain;
        let (power, amplitude) = (10f64.powf(-lift / 10.0), db::to_gain(-lift));
        // A silent passage says nothing.
        let heard: Vec<&Passage> = passages
            .iter()
            .filter(|passage| self.before(passage.slot, gain)[0] > 0.0 && sums(&passage.front)[0] > 0.0)
            .collect();
        let middle = |slot: usize| (slot as f64 + 0.5) * PASSAGE_CELLS as f64;
        let source = &self.source.cells.all()[self.kept.clone()];
        // What EQ and compressor change, by the level of a cell, and what is left of it by the place in the song.
        let mut cells = source.to_vec();
        let scales = [10f64.powf(lift / 10.0), db::to_gain(lift)];
        let mut changes = [Vec::new(), Vec::new()];
        for k in 0..2 {
            let mut by_level = Groups::new(level_group(0.0) + 1);
            for passage in &heard {
                for (cell, front) in source[Self::cells_of(passage.slot)].iter().zip(&passage.front) {
                    by_level.add(level_group(cell[0]), f64::from(cell[k]) * scales[k], f64::from(front[k]));
                }
            }
            for (cell, source) in cells.iter_mut().zip(source) {
                cell[k] = (f64::from(cell[k]) * by_level.ratio(level_group(source[0]))) as f32;
            }
            for passage in &heard {
                let expected = sums(&cells[Self::cells_of(passage.slot)])[k] * scales[k];
                changes[k].push((middle(passage.slot), sums(&passage.front)[k] / expected));
            }
        }
        // Cells as the model takes them: in front of trim and gain.
        for (at, cell) in cells.iter_mut().enumerate() {
            for k in 0..2 {
                cell[k] = (f64::from(cell[k]) * between(&changes[k], at as f64)?) as f32;
            }
        }
        for passage in passages {
            for (cell, front) in cells[Self::cells_of(passage.slot)].iter_mut().zip(&passage.front) {
                *cell = [(f64::from(front[0]) * power) as f32, (f64::from(front[1]) * amplitude) as f32];
            }
        }
        let mut behind = Vec::with_capacity(cells.len());
        let song = SongModel::new(&cells, trim, limiter);
        song.each_behind(gain, |mean_square| behind.push(mean_square));
        // What the model leaves of a cell, and how much more or less the limiter really leaves of such cells.
        let left_db = |at: usize, behind: &[f64]| {
            db::from_power(behind[at] * power / f64::from(cells[at][0]).max(f64::MIN_POSITIVE))
        };
        let mut by_loss = Groups::new(LOSSES_DB.len() + 1);
        for passage in &heard {
            for (at, real) in Self::cells_of(passage.slot).zip(&passage.behind) {
                by_loss.add(loss_group(left_db(at, &behind)), behind[at], f64::from(*real));
            }
        }
        for slot in candidates {
            for at in Self::cells_of(*slot) {
                behind[at] *= by_loss.ratio(loss_group(left_db(at, &behind)));
            }
        }
        let model: Vec<f64> = heard.iter().map(|p| behind[Self::cells_of(p.slot)].iter().sum()).collect();
        let real: Vec<f64> =
            heard.iter().map(|p| p.behind.iter().map(|x| f64::from(*x)).sum::<f64>()).collect();
        let ratios: Vec<(f64, f64)> =
            (0..heard.len()).map(|i| (middle(heard[i].slot), real[i] / model[i])).collect();
        for slot in candidates {
            for at in Self::cells_of(*slot) {
                behind[at] *= between(&ratios, at as f64)?;
            }
        }
        for passage in passages {
            for (cell, mean_square) in behind[Self::cells_of(passage.slot)].iter_mut().zip(&passage.behind) {
                *cell = f64::from(*mean_square);
            }
        }
        let mut blocks = <GatingBlocks>::new(HOP_CELLS);
        behind.iter().for_each(|mean_square| _ = blocks.add(*mean_square));
        let forecast = Forecast::over(&song, gain - NEAR_DB, 2 * NEAR_DB as usize)?;
        let correction = blocks.integrated() - forecast.loudness(gain);
        // What each passage is off from the lines between the others, as energy.
        let off = |points: &[(f64, f64)], i: usize| {
            let others = [&points[..i], &points[i + 1..]].concat();
            between(&others, points[i].0)
                .map_or(f64::INFINITY, |expected| (points[i].1 / expected - 1.0).abs())
        };
        let squares = (0..heard.len()).map(|i| (real[i] * (off(&ratios, i) + off(&changes[0], i))).powi(2));
        let (n, all) = (heard.len() as f64, candidates.len() as f64);
        let variance = squares.sum::<f64>() / n * all * (all / n - 1.0).max(0.0);
        let error = 10.0 / std::f64::consts::LN_10 * variance.sqrt() / behind.iter().sum::<f64>();
        Some((forecast.louder_by(correction), error))
    }

    /// Runs a passage through the chain.
    fn measure(&self, slot: usize, gain: f64, watch: &dyn ProgressWatcher) -> Result<Passage> {
        let format = self.source.format;
        let frame = |cell: usize| cell as u64 * u64::from(format.rate) / u64::from(CELLS_PER_SECOND);
        let place = Self::cells_of(slot);
        let (first, last) = (self.kept.start + place.start, self.kept.start + place.end);
        let from = first.saturating_sub(LEAD_CELLS);
        let cut = CutPlan {
            from: frame(from),
            to: frame(last + AHEAD_CELLS).min(format.frames),
            ..CutPlan::whole(format.frames)
        };
        let settings = with_gain(self.pass.settings, gain);
        let mut cells = LevelCells::new(self.pass.rate, format.channels, self.mono_as);
        let mut narrow = [Vec::new(), Vec::new()];
        let pass = RenderJob { cut: &cut, settings: &settings, ..self.pass };
        render(pass, watch, |block| {
            to_f32(&mut narrow, block.output);
            cells.push(&narrow[0], &narrow[1], block.limiter_db, block.clip_db);
            Ok(())
        })?;
        let of = first - from..last - from;
        Ok(Passage { slot, front: cells.all()[of.clone()].to_vec(), behind: cells.behind()[of].to_vec() })
    }
}

/// The value at `at` on the lines between points, which are in order; beyond them that of the nearest. None without
/// a point.
fn between(points: &[(f64, f64)], at: f64) -> Option<f64> {
    let next = points.partition_point(|point| point.0 < at);
    match (next.checked_sub(1).map(|last| points[last]), points.get(next)) {
        (Some(last), Some(next)) => Some(last.1 + (next.1 - last.1) * (at - last.0) / (next.0 - last.0)),
        (Some(only), None) => Some(only.1),
        (None, only) => only.map(|only| only.1),
    }
}

/// Sums over the cells that are alike, expected and real.
struct Groups {
    expected: Vec<f64>,
    real: Vec<f64>,
}

impl Groups {
    fn new(count: usize) -> Self {
        Self { expected: vec![0.0; count], real: vec![0.0; count] }
    }

    fn add(&mut self, group: usize, expected: f64, real: f64) {
        self.expected[group] += expected;
        self.real[group] += real;
    }

    /// Real over expected sum of a group.
    fn ratio(&self, group: usize) -> f64 {
        let [expected, real] = [&self.expected, &self.real].map(|sums| COMMON * sums.iter().sum::<f64>());
        (self.real[group] + real) / (self.expected[group] + expected)
    }
}

/// Group of a cell of which the model leaves `left_db` (≤ 0).
fn loss_group(left_db: f64) -> usize {
    LOSSES_DB.partition_point(|loss| *loss < -left_db)
}

/// Group of a cell of the source by its weighted mean square: what a compressor does depends on it.
fn level_group(mean_square: f32) -> usize {
    let level_db = db::from_power(f64::from(mean_square)).clamp(-LEVELS_DB, -1.0);
    (-level_db / LEVEL_STEP_DB) as usize
}

/// Slope of the loudness from an earlier run to `gain` dB, from the passages that both have, LU per dB; none without
/// a distance.
fn slope(earlier: &PassageRun, gain: f64, passages: &[Passage]) -> Option<f64> {
    let energy = |passages: &[Passage], of: &[Passage]| -> f64 {
        let both = passages.iter().filter(|passage| of.iter().any(|other| other.slot == passage.slot));
        both.flat_map(|passage| &passage.behind).map(|x| f64::from(*x)).sum()
    };
    let [before, now] = [energy(&earlier.passages, passages), energy(passages, &earlier.passages)];
    let slope = (db::from_power(now) - db::from_power(before)) / (gain - earlier.gain);
    slope.is_finite().then(|| slope.clamp(SLOPES[0], SLOPES[1]))
}

/// Sums over cells.
fn sums(cells: &[[f32; 2]]) -> [f64; 2] {
    cells.iter().fold([0.0; 2], |sum, cell| [0, 1].map(|k| sum[k] + f64::from(cell[k])))
}

/// All values in an order whose every beginning is spread evenly over them.
fn spread(values: &[usize]) -> impl Iterator<Item = usize> {
    let mut order: Vec<usize> = Vec::with_capacity(values.len());
    let mut taken = vec![false; values.len()];
    for i in 0..values.len() {
        let place = ((GOLDEN * (i as f64 + 0.5)).fract() * values.len() as f64) as usize;
        // Where it is taken already, the next free one.
        let free = (place..values.len()).chain(0..place).find(|at| !taken[*at]);
        let Some(free) = free else { break };
        taken[free] = true;
        order.push(values[free]);
    }
    order.into_iter()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::finish::format::{Encoding, Layout, OutputSpec, Overwrite};
    use crate::finish::progress::NoProgress;
    use crate::finish::source::measure_source;
    use crate::finish::trial_pass::trial_pass;
    use crate::finish::writer::Writer;
    use crate::settings::Settings;

    #[test]
    fn every_beginning_of_the_order_is_spread_over_all() {
        for count in [1usize, 6, 59, 200] {
            let values: Vec<usize> = (0..count).collect();
            let mut order: Vec<usize> = spread(&values).collect();
            for some in [6, 12, 24] {
                let mut first: Vec<usize> = order.iter().copied().take(some).collect();
                first.sort_unstable();
                let widest = first.windows(2).map(|pair| pair[1] - pair[0]).max().unwrap_or(1);
                assert!(widest <= (5 * count).div_ceil(2 * first.len()), "{some} of {count}: {first:?}");
            }
            order.sort_unstable();
            assert_eq!(order, values);
        }
    }

    /// Against whole passes, with the stages before the limiter off and on, below and far above the ceiling; and the
    /// forecast without passages is worse by far.
    #[test]
    fn the_forecast_is_that_of_a_whole_pass() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("mix.wav");
        let mix =
            testkit::quartet::mix(110.0).map(|lane| lane.iter().map(|&x| f64::from(x)).collect::<Vec<_>>());
        let spec = OutputSpec::new(Layout::Wav, Encoding::Int(24), testkit::quartet::RATE as u32, 2);
        let mut writer = Writer::create(&path, spec, Overwrite::Refuse, &[]).unwrap();
        writer.write(&mix[0], &mix[1]).unwrap();
        writer.finish(None).unwrap();

        let quiet = NoProgress::default();
        let source = measure_source(&path, MonoAs::Stereo, true, &quiet).unwrap();
        let cut = CutPlan::whole(source.format.frames);
        let plain = Settings::default();
        let mut all_on = plain;
        all_on.compressor.on = true;
        all_on.compressor.threshold = -25.0;
        all_on.eq.bands[1].gain = -4.0;
        for (settings, gain, within) in [
            (&plain, -3.0, 1e-3),
            (&plain, 4.0, 0.1),
            (&plain, 9.0, 0.1),
            (&all_on, 0.0, 0.2),
            (&all_on, 9.0, 0.2),
        ] {
            let pass = RenderJob {
                input: &path,
                kept: source.kept.as_ref(),
                cut: &cut,
                rate: source.format.rate,
                settings,
            };
            let passages = Passages::of(pass, &source, MonoAs::Stereo).unwrap();
            let found = passages.run(gain, None, 2, |_| false, &quiet).unwrap().unwrap();
            let (trial, _) = trial_pass(pass, 2, MonoAs::Stereo, gain, &quiet).unwrap();
            let error = found.forecast.loudness(gain) - trial.loudness;
            assert!(error.abs() < within, "{gain} dB: {error:+.4} LU");
            // A second run knows the slope.
            let second = passages.run(gain + 1.0, Some(&found), 2, |_| false, &quiet).unwrap().unwrap();
            let (further, _) = trial_pass(pass, 2, MonoAs::Stereo, gain + 2.0, &quiet).unwrap();
            let error = second.forecast.loudness(gain + 2.0) - further.loudness;
            assert!(error.abs() < 1.5 * within.max(0.05), "{gain} + 2 dB: {error:+.4} LU");
            let without = Forecast::new(source.cells.all(), 0.0, &settings.limiter, gain - 5.0).unwrap();
            let error = without.loudness(gain) - trial.loudness;
            assert!(gain < 0.0 || error.abs() > 2.0 * within, "{gain} dB without passages: {error:+.4} LU");
        }
    }

    #[test]
    fn a_short_song_has_no_passages() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("mix.wav");
        let spec = OutputSpec::new(Layout::Wav, Encoding::Int(24), 8_000, 2);
        let mut writer = Writer::create(&path, spec, Overwrite::Refuse, &[]).unwrap();
        let tone: Vec<f64> = (0..60 * 8_000).map(|n| 0.3 * (f64::from(n) * 0.3).sin()).collect();
        writer.write(&tone, &tone).unwrap();
        writer.finish(None).unwrap();
        let source = measure_source(&path, MonoAs::Stereo, true, &NoProgress::default()).unwrap();
        let (cut, settings) = (CutPlan::whole(source.format.frames), Settings::default());
        let pass = RenderJob {
            input: &path,
            kept: source.kept.as_ref(),
            cut: &cut,
            rate: 8_000,
            settings: &settings,
        };
        assert!(Passages::of(pass, &source, MonoAs::Stereo).is_none());
    }
}

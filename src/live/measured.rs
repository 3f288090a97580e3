//! From the meters to the screen: a [`Snapshot`] of the analysis and its [`History`] in, what the
//! screen draws out. LoudnessReadout that do not exist yet become −∞ or NaN, which are written as a dash.

use super::{
    HistorySource, LiveColumn, LiveNote, LiveReadout, LoudnessReadout, ReductionReadout, SourceFinding,
};
use crate::meter::{self, Facts, History, RULES, Readings, RuleId, Snapshot, TARGETS, Target};
use crate::settings::Settings;
use std::cell::RefCell;
use std::sync::{Mutex, PoisonError};

impl LiveReadout {
    /// Takes over everything that the analysis knows; curve, compressor point and the level difference
    /// come from the chain itself and stay.
    pub fn take(&mut self, snapshot: &Snapshot, settings: &Settings) {
        self.sample_rate = f64::from(snapshot.sample_rate);
        self.before = figures(&snapshot.before);
        self.after = figures(&snapshot.after);
        self.compressor = reduction(&snapshot.compressor);
        self.limiter = reduction(&snapshot.limiter);
        self.swing = snapshot.pumping;
        let heard = snapshot.before.max_true_peak.is_finite();
        for (mine, bands) in [
            (&mut self.spectrum_before, &snapshot.spectrum_before),
            (&mut self.spectrum_after, &snapshot.spectrum_after),
        ] {
            mine.clear();
            if heard {
                mine.extend_from_slice(&bands.now);
            }
        }
        self.measuring = snapshot.measuring;
        self.measured = snapshot.measured;
        self.targets.clear();
        self.targets.extend(TARGETS);
        self.target = TARGETS.iter().position(|t| t.name == snapshot.target.name).unwrap_or(0);
        self.findings = findings(snapshot, settings);
        self.notes = snapshot.notes.iter().map(note).collect();
    }
}

fn figures(readings: &Readings) -> LoudnessReadout {
    let or_nan = |value: Option<f64>| value.unwrap_or(f64::NAN);
    let [left, right] = readings.true_peak_now;
    LoudnessReadout {
        momentary: readings.momentary,
        short_term: readings.short_term,
        integrated: readings.integrated,
        range: readings.range,
        true_peak: left.max(right),
        true_peak_max: readings.max_true_peak,
        peak_to_loudness: or_nan(readings.plr),
        crest: or_nan(readings.crest),
        correlation: or_nan(readings.correlation),
    }
}

fn reduction(stage: &meter::reduction::ReductionStats) -> ReductionReadout {
    ReductionReadout { now: stage.now, most: stage.most, share: stage.share }
}

/// What the rules about the source say, told by the same table as the notes.
fn findings(snapshot: &Snapshot, settings: &Settings) -> Vec<SourceFinding> {
    let facts = Facts {
        settings: *settings,
        measured: snapshot.measured,
        source: snapshot.source.clone(),
        source_plr: snapshot.before.plr,
        integrated: f64::NEG_INFINITY,
        true_peak: f64::NEG_INFINITY,
        target: snapshot.target,
        ..Facts::default()
    };
    let about_the_source = |id: RuleId| {
        use RuleId::*;
        matches!(
            id,
            ChannelSilent
                | OutOfPhase
                | FlatTops
                | FullScale
                | TooDense
                | DcOffset
                | LittleHeadroom
                | LeadInNoisy
                | ChannelsIdentical
        )
    };
    RULES
        .iter()
        .filter(|rule| about_the_source(rule.id))
        .filter_map(|rule| {
            let note = rule.note(&facts, rule.value(&facts).filter(|value| rule.applies(*value))?);
            let trims = matches!(rule.id, RuleId::FullScale | RuleId::LittleHeadroom);
            Some(SourceFinding { text: note.says, trim: trims.then_some(snapshot.source.trim_db as f32) })
        })
        .collect()
}

fn note(note: &meter::AdviceNote) -> LiveNote {
    use RuleId::*;
    let mild = matches!(
        note.rule,
        UnderTarget
            | EqMoveLarge
            | LeadInLong
            | LeadInShort
            | LittleHeadroom
            | LeadInNoisy
            | ChannelsIdentical
    );
    LiveNote { serious: !mild, text: note.says.clone(), remedy: note.advises.clone() }
}

/// The target of that name; the first of the list if there is none.
pub fn target(name: &str) -> Target {
    Target::named(name).unwrap_or_default()
}

/// The analysis's columns as the chart's recording.
pub struct MeasuredHistory<'a> {
    history: &'a Mutex<History>,
    /// Kept for its memory.
    read: RefCell<Vec<meter::HistoryColumn>>,
}

impl<'a> MeasuredHistory<'a> {
    /// Reads `history`, locking it for each read only.
    pub fn new(history: &'a Mutex<History>) -> Self {
        Self { history, read: RefCell::default() }
    }

    fn with<R>(&self, look: impl FnOnce(&History) -> R) -> R {
        look(&self.history.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

impl HistorySource for MeasuredHistory<'_> {
    fn seconds(&self) -> f64 {
        self.with(|history| history.frames() as f64 / f64::from(history.sample_rate()))
    }

    fn read(&self, first: i64, step: f64, columns: &mut [LiveColumn]) {
        // Nothing stands before the start.
        let skip = usize::try_from(-first).unwrap_or(0).min(columns.len());
        columns[..skip].fill(LiveColumn::NONE);
        let columns = &mut columns[skip..];
        if columns.is_empty() {
            return;
        }
        let mut read = self.read.borrow_mut();
        read.clear();
        read.resize(columns.len(), meter::HistoryColumn::EMPTY);
        self.with(|history| {
            let frame = |n: i64| (n as f64 * step * f64::from(history.sample_rate())).round().max(0.0) as u64;
            let from = first + skip as i64;
            history.read(frame(from)..frame(from + columns.len() as i64), &mut read);
        });
        for (to, from) in columns.iter_mut().zip(&*read) {
            *to = column(from);
        }
    }

    fn song_time(&self, seconds: f64) -> f64 {
        let mut one = [meter::HistoryColumn::EMPTY];
        self.with(|history| {
            let rate = f64::from(history.sample_rate());
            let frame = (seconds * rate).max(0.0) as u64;
            history.read(frame..frame + history.width(), &mut one);
            // A host whose transport stands still says where it stands, not where the paper is.
            let position = one[0].position.filter(|_| one[0].marks.playing);
            position.map_or(seconds, |position| position as f64 / rate)
        })
    }
}

fn column(from: &meter::HistoryColumn) -> LiveColumn {
    let db = |pair: [f32; 2]| 20.0 * pair[1].max(-pair[0]).log10();
    LiveColumn {
        before: db(from.before),
        after: db(from.after),
        compressor: from.compressor[0],
        limiter: from.limiter[0],
        short_term: from.short_term[1],
        over: from.overs > 0,
        jump: from.marks.jump,
        there: from.frames > 0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn history(columns: usize) -> Mutex<History> {
        let mut history = History::new(48_000);
        let frames = history.width() as u32;
        for n in 0..columns {
            let level = if n == 40 { 0.5 } else { 0.1 };
            history.push(meter::HistoryColumn {
                before: [-level, level],
                after: [-0.1, 0.2],
                compressor: [1.0, 0.5],
                frames,
                ..meter::HistoryColumn::EMPTY
            });
        }
        Mutex::new(history)
    }

    #[test]
    fn columns_stand_at_their_times_and_nothing_stands_before_the_start() {
        let history = history(200);
        let recording = MeasuredHistory::new(&history);
        let seconds = recording.seconds();
        assert!((seconds - 200.0 * 512.0 / 48_000.0).abs() < 1e-9, "{seconds}");
        let mut read = [LiveColumn::NONE; 60];
        recording.read(-10, 0.02, &mut read);
        assert!(read[..10].iter().all(|c| !c.there) && read[10..].iter().all(|c| c.there));
        let peak = read.iter().position(|c| c.before > -10.0).unwrap();
        let time = (peak as i64 - 10) as f64 * 0.02;
        assert!((time - 40.0 * 512.0 / 48_000.0).abs() <= 0.02, "{time}");
        assert!((read[20].after + 13.979).abs() < 0.01 && read[20].compressor == 1.0);
    }

    #[test]
    fn a_fresh_analysis_shows_dashes_and_finds_nothing() {
        let mut live = LiveReadout::default();
        let snapshot = meter::Analysis::new(48_000, 2).snapshot();
        live.take(&snapshot, &Settings::default());
        assert!(!live.after.integrated.is_finite() && live.findings.is_empty() && live.notes.is_empty());
        assert!(live.spectrum_before.is_empty());
    }
}

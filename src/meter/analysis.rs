//! The analysis engine: taps of the chain or chunks of the ring in; readings, history, source check
//! and advice out. Live and offline run the same code on the same chunks, so they agree to the last
//! digit.

use std::sync::{Arc, Mutex};

use super::advice::{Advisor, verdict};
use super::chunk::{ChunkFacts, without_faults};
use super::column::{ColumnMarks, HistoryColumn};
use super::coverage::SongCoverage;
use super::drive_cells::DriveCells;
use super::facts::{Facts, FileFacts, SETTLED_S};
use super::history::History;
use super::levels::LevelSums;
use super::loudness::MonoAs;
use super::passes::Passes;
use super::reduction::{GainReductionMeter, PumpingMeter};
use super::rules::AdviceNote;
use super::signal_meters::SignalMeters;
use super::snapshot::{Readings, Snapshot};
use super::source::{SourceCheck, SourceReport};
use super::targets::Target;
use crate::dsp::loudness_gate::LoudnessGate;
use crate::dsp::{CHANNELS, CHUNK, db};
use crate::params::without_monitoring;
use crate::settings::Settings;
use crate::sync::lock;
use crate::tap_ring::{Tap, TapChunk, TapChunker, Transport};

/// Columns between two updates of the advice: about 100 ms.
const ADVICE_COLUMNS: u64 = 9;
/// How far inside the tolerance a note on the target still stands, LU; its rule ends at 0.2.
const NOTE_HYSTERESIS_LU: f64 = 0.25;
/// Updates of the advice between two forecasts of the drive: about 5 s.
const FORECAST_TICKS: u64 = 50;
/// Tolerance over the target's true peak before a peak counts as over, dB: the meter's own error
/// against 32-fold interpolation, invisible in a figure with one decimal.
const OVER_TOLERANCE_DB: f64 = 0.05;

/// Measures the signal before and after the chain.
pub struct Analysis {
    sample_rate: u32,
    channels: usize,
    chunker: TapChunker,
    /// Number of the chunk that should come next.
    next: u64,
    before: SignalMeters,
    after: SignalMeters,
    check: SourceCheck,
    /// Where in the song what is measured was played, by the frame of the measurement.
    measured_passes: Passes,
    compressor: GainReductionMeter,
    limiter: GainReductionMeter,
    clip: GainReductionMeter,
    total: GainReductionMeter,
    pumping: PumpingMeter,
    drive_cells: DriveCells,
    /// The forecast of [`Facts::drive_move`], of the last tick of [`FORECAST_TICKS`].
    drive_move: Option<f64>,
    ticks: u64,
    advisor: Advisor,
    /// Advice follows the measurement; otherwise it is only known at its end.
    advises: bool,
    history: Arc<Mutex<History>>,
    /// The column under way, and how many chunks it has and will have.
    column: HistoryColumn,
    chunks: usize,
    chunks_per_column: usize,
    /// Columns finished.
    columns: u64,
    /// Cells of the loudness meter that had ended with the last column.
    cells: u64,
    /// Columns a second.
    rate: f64,
    running: bool,
    follow: bool,
    /// Frames measured.
    measured: u64,
    /// The settings have been told, and have changed since the measurement began.
    knows_settings: bool,
    mixed_settings: bool,
    /// True peak above which a chunk counts as over, linear; and the last chunk was.
    limit: f64,
    over: bool,
    overs: u64,
    lost: u64,
    /// What was measured of the song, where its length is known.
    coverage: Option<SongCoverage>,
    /// Transport of the last chunk.
    transport: Option<Transport>,
    target: Target,
    settings: Settings,
    file: FileFacts,
}

impl Analysis {
    /// For a sample rate in Hz and 1 or 2 channels (1: both lanes carry the same signal, which is measured as
    /// two speakers play it). The measurement runs from the start.
    pub fn new(sample_rate: u32, channels: usize) -> Self {
        Self::with_mono_as(sample_rate, channels, MonoAs::default())
    }

    /// Like [`Self::new`], with what one channel is measured as.
    pub fn with_mono_as(sample_rate: u32, channels: usize, mono_as: MonoAs) -> Self {
        let channels = channels.clamp(1, CHANNELS);
        let roles = mono_as.roles(channels);
        let history = History::new(sample_rate);
        let rate = f64::from(sample_rate) / history.width() as f64;
        let chunks_per_column = (history.width() / CHUNK as u64) as usize;
        let before = SignalMeters::new(sample_rate, roles, chunks_per_column);
        Self {
            sample_rate,
            channels,
            chunker: TapChunker::new(),
            next: 0,
            after: before.clone(),
            before,
            check: SourceCheck::new(sample_rate, channels),
            measured_passes: Passes::new(),
            compressor: GainReductionMeter::new(rate),
            limiter: GainReductionMeter::new(rate),
            clip: GainReductionMeter::new(rate),
            total: GainReductionMeter::new(rate),
            pumping: PumpingMeter::new(rate),
            drive_cells: DriveCells::default(),
            drive_move: None,
            ticks: 0,
            advisor: Advisor::new(),
            advises: true,
            chunks_per_column,
            history: Arc::new(Mutex::new(history)),
            column: HistoryColumn::EMPTY,
            chunks: 0,
            columns: 0,
            cells: 0,
            rate,
            running: true,
            follow: false,
            measured: 0,
            knows_settings: false,
            mixed_settings: false,
            limit: over_limit(&Target::default()),
            over: false,
            overs: 0,
            lost: 0,
            coverage: None,
            transport: None,
            target: Target::default(),
            settings: Settings::default(),
            file: FileFacts::default(),
        }
    }

    /// Without advice on the way, for a file of which only the whole counts: [`Self::verdict`].
    #[must_use]
    pub fn without_advice(mut self) -> Self {
        self.advises = false;
        self
    }

    /// Feeds a block of any size.
    pub fn feed(&mut self, tap: &Tap, transport: Transport) {
        // Taken out while its chunks are fed, so that `self` can be borrowed.
        let mut chunker = std::mem::take(&mut self.chunker);
        chunker.push(tap, transport, |chunk| self.feed_chunk(chunk));
        self.chunker = chunker;
    }

    /// Feeds the next chunk of the ring. A gap in the chunks' numbers becomes a marked gap in the
    /// history.
    pub fn feed_chunk(&mut self, chunk: &TapChunk) {
        while self.next < chunk.index {
            self.next += 1;
            self.lost += CHUNK as u64;
            self.column.marks.lost = true;
            self.end_chunk();
        }
        self.next = chunk.index + 1;
        let facts = ChunkFacts::of(chunk);
        if facts.is_faultless {
            self.add(chunk, &facts);
        } else {
            let chunk = without_faults(chunk);
            self.add(&chunk, &ChunkFacts::of(&chunk));
        }
        self.end_chunk();
    }

    /// Ends the stream: processes the rest of the last chunk and the peaks still delayed in the true
    /// peak meters, as if silence followed.
    pub fn finish(&mut self) {
        if let Some((chunk, _)) = self.chunker.finish() {
            self.feed_chunk(&chunk);
        }
        self.settle();
        self.before.finish_peaks(self.running);
        self.after.finish_peaks(self.running);
        if self.chunks > 0 {
            self.close_column();
        }
    }

    fn add(&mut self, chunk: &TapChunk, facts: &ChunkFacts) {
        let jump = self.follow_chunk(chunk.transport);
        let running = self.running;
        let before = self.before.add(&chunk.before, facts.is_silent[0], running);
        let after = self.after.add(&chunk.after, facts.is_silent[1], running);
        SignalMeters::feed_loudness([&mut self.before, &mut self.after], [&chunk.before, &chunk.after]);
        if facts.is_silent[1] {
            self.drive_cells.add_silence(&self.after.loudness, running);
        } else {
            self.drive_cells.add(chunk, &self.after.loudness, running);
        }
        if running {
            self.check.add(&chunk.before, &before, facts.is_silent[0]);
            let position = chunk.transport.position.filter(|_| chunk.transport.playing);
            self.measured_passes.add(self.measured, CHUNK as u64, position);
            self.measured += CHUNK as u64;
            if let (Some(coverage), Some(position), true) =
                (&mut self.coverage, chunk.transport.position, chunk.transport.playing)
            {
                coverage.add(position);
            }
        }
        self.column.merge(&HistoryColumn {
            before: before.extremes(),
            after: after.extremes(),
            compressor: facts.reductions[0],
            limiter: facts.reductions[1],
            clip: facts.reductions[2],
            total: facts.deepest_total,
            position: chunk.transport.position,
            marks: ColumnMarks { playing: chunk.transport.playing, jump, lost: false },
            frames: CHUNK as u32,
            ..HistoryColumn::EMPTY
        });
    }

    /// Looks for the true peaks of the chunks since the last time: once a column, where they cost least, and
    /// before anything is read or anything changes that they depend on.
    fn settle(&mut self) {
        // (The input has no limit.)
        self.before.settle(f32::INFINITY, self.running).for_each(drop);
        // Every f32 above the limit is above this one.
        let limit = self.limit as f32;
        let limit = if f64::from(limit) > self.limit { limit.next_down() } else { limit };
        for true_peak in self.after.settle(limit, self.running) {
            let over = f64::from(true_peak) > self.limit;
            let begins = over && !self.over;
            self.over = over;
            self.overs += u64::from(begins && self.running);
            self.column.overs += u32::from(begins);
            self.column.true_peak = self.column.true_peak.max(true_peak);
        }
    }

    /// Follows the transport; true when it jumped to this chunk.
    fn follow_chunk(&mut self, transport: Transport) -> bool {
        let last = self.transport.replace(transport);
        let Some(last) = last else {
            if self.follow {
                self.run(transport.playing);
            }
            return false;
        };
        let starts = transport.playing && !last.playing;
        let due = if last.playing { last.advanced(CHUNK).position } else { last.position };
        // The chunk in which the transport stops or starts may hold a part of both.
        let slack = if transport.playing == last.playing { 0 } else { CHUNK as i64 };
        let elsewhere = match (due, transport.position) {
            (Some(due), Some(position)) => (position - due).abs() > slack,
            _ => false,
        };
        if self.follow {
            if starts && elsewhere {
                self.restart();
            }
            self.run(transport.playing);
        }
        elsewhere
    }

    fn end_chunk(&mut self) {
        self.chunks += 1;
        if self.chunks == self.chunks_per_column {
            self.close_column();
        }
    }

    fn close_column(&mut self) {
        self.chunks = 0;
        self.settle();
        let mut column = std::mem::replace(&mut self.column, HistoryColumn::EMPTY);
        self.before.levels.close_column();
        self.after.levels.close_column();
        let short_term = [&self.before, &self.after].map(|meters| meters.loudness.short_term() as f32);
        let cells = self.after.loudness.cells_closed();
        if column.frames > 0 {
            column.short_term = short_term;
            // The cells of 10 ms that have ended in it; the one before where none has.
            column.power =
                self.after.loudness.mean_square(cells.saturating_sub(self.cells).max(1) as usize) as f32;
        }
        self.cells = cells;
        let music = column.has_music();
        self.compressor.add(column.compressor[0], music, self.running);
        self.limiter.add(column.limiter[0], music, self.running);
        self.clip.add(column.clip[0], music, self.running);
        self.total.add(column.total, music, self.running);
        if music {
            let seconds = self.columns as f64 / self.rate;
            self.pumping.add(f64::from(column.compressor[1] + column.limiter[1]), seconds, self.running);
        }
        lock(&self.history).push(column);
        self.columns += 1;
        if self.advises && self.columns.is_multiple_of(ADVICE_COLUMNS) {
            if self.drive_move.is_none() || self.ticks.is_multiple_of(FORECAST_TICKS) {
                self.drive_move = self.forecast_drive();
            }
            self.ticks += 1;
            let facts = self.facts(false);
            self.advisor.tick(&facts, ADVICE_COLUMNS as f64 / self.rate);
        }
    }

    /// The facts for the rules: of the last seconds, or of the whole measurement.
    fn facts(&self, whole: bool) -> Facts {
        let highest = |sums: &LevelSums| sums.true_peak_db()[0].max(sums.true_peak_db()[1]);
        let plr = highest(self.before.levels.total()) - self.before.loudness.integrated();
        Facts {
            target: self.target,
            settings: self.settings,
            measured: self.measured as f64 / f64::from(self.sample_rate),
            source: self.source(),
            source_plr: plr.is_finite().then_some(plr),
            integrated: self.after.loudness.integrated(),
            true_peak: highest(self.after.levels.total()),
            compressor: if whole { self.compressor.whole() } else { self.compressor.recent() },
            limiter: if whole { self.limiter.whole() } else { self.limiter.recent() },
            clip: if whole { self.clip.whole() } else { self.clip.recent() },
            is_passage: self.passage().is_some(),
            drive_move: if whole { self.forecast_drive() } else { self.drive_move },
            pumping: if whole { self.pumping.most().0 } else { self.pumping.db() },
            file: self.file,
        }
    }

    /// Change of drive that leads to the target, dB; none on target or before [`SETTLED_S`].
    fn forecast_drive(&self) -> Option<f64> {
        let (loudness, target) = (self.after.loudness.integrated(), self.target);
        let settled = self.measured as f64 >= SETTLED_S * f64::from(self.sample_rate);
        // The notes on the target last a little longer than the target is missed.
        let missed = loudness.is_finite()
            && (loudness - target.loudness).abs() > target.tolerance - NOTE_HYSTERESIS_LU;
        (settled && missed)
            .then(|| self.drive_cells.drive_move(&self.settings.limiter, loudness, target.loudness))?
    }

    /// Everything at this moment.
    pub fn snapshot(&mut self) -> Snapshot {
        self.settle();
        let (pumping_most, pumping_most_at) = self.pumping.most();
        Snapshot {
            sample_rate: self.sample_rate,
            frames: self.frames(),
            measuring: self.running,
            measured: self.measured as f64 / f64::from(self.sample_rate),
            mixed_settings: self.mixed_settings,
            passage: self.passage(),
            before: Readings::of(&self.before.loudness, &self.before.levels),
            after: Readings::of(&self.after.loudness, &self.after.levels),
            compressor: self.compressor.whole(),
            limiter: self.limiter.whole(),
            clip: self.clip.whole(),
            total: self.total.whole(),
            pumping: self.pumping.db(),
            pumping_most,
            pumping_most_at,
            overs: self.overs,
            target: self.target,
            source: self.source(),
            notes: self.advisor.notes(),
            spectrum_before: self.before.spectrum.bands(),
            spectrum_after: self.after.spectrum.bands(),
            transport: self.transport.unwrap_or_default(),
            lost: self.lost,
        }
    }

    /// Seconds of the song that were measured, where that is a passage only.
    fn passage(&self) -> Option<f64> {
        self.coverage.as_ref()?.passage()
    }

    /// What is measured is one song, of so many frames between its start and its end; positions of the
    /// transport count from the start of its file.
    pub fn set_song_frames(&mut self, song_frames: u64) {
        let rate = self.sample_rate;
        self.coverage
            .get_or_insert_with(|| SongCoverage::new(rate, song_frames))
            .set_song_frames(song_frames);
    }

    /// Frames fed so far, in whole chunks; lost ones are counted too.
    pub fn frames(&self) -> u64 {
        self.next * CHUNK as u64
    }

    /// Sample rate in Hz.
    pub fn sample_rate(&self) -> u32 {
        self.sample_rate
    }

    /// The notes of all rules that apply to the whole measurement, the most important first: for a
    /// report on a finished file.
    pub fn verdict(&mut self) -> Vec<AdviceNote> {
        verdict(&self.whole_facts())
    }

    /// The gating blocks of the signal after the chain.
    pub fn gate_after(&self) -> &LoudnessGate {
        self.after.loudness.gate()
    }

    /// The facts of the whole measurement, as [`Analysis::verdict`] sees them.
    pub fn whole_facts(&mut self) -> Facts {
        self.settle();
        self.facts(true)
    }

    /// The columns; shared with whoever draws them. Never locked by an audio thread.
    pub fn history(&self) -> Arc<Mutex<History>> {
        self.history.clone()
    }

    /// Starts or resumes the measurement.
    pub fn start(&mut self) {
        self.run(true);
    }

    /// Pauses the measurement; momentary figures and history continue.
    pub fn pause(&mut self) {
        self.run(false);
    }

    fn run(&mut self, running: bool) {
        if self.running != running {
            self.settle();
        }
        self.running = running;
        self.before.loudness.run(running);
        self.after.loudness.run(running);
    }

    /// Resets the measurement: integrated figures, maxima, source check, advice. The history
    /// stays.
    pub fn restart(&mut self) {
        self.settle();
        self.before.restart();
        self.after.restart();
        self.check = SourceCheck::new(self.sample_rate, self.channels);
        self.measured_passes.reset();
        self.compressor.restart();
        self.limiter.restart();
        self.clip.restart();
        self.total.restart();
        self.pumping.restart();
        self.drive_cells.restart();
        self.drive_move = None;
        self.advisor.reset();
        self.measured = 0;
        self.mixed_settings = false;
        if let Some(coverage) = &mut self.coverage {
            coverage.restart();
        }
        self.overs = 0;
    }

    /// Whether the measurement follows the host's transport: it runs while the host plays, resumes
    /// when playback resumes where it stopped, and is reset when playback starts elsewhere.
    pub fn follow_transport(&mut self, follow: bool) {
        self.follow = follow;
        if follow && let Some(transport) = self.transport {
            self.run(transport.playing);
        }
    }

    /// The delivery target.
    pub fn set_target(&mut self, target: Target) {
        self.settle();
        self.drive_move = self.drive_move.filter(|_| self.target == target);
        self.limit = over_limit(&target);
        self.target = target;
    }

    /// The chain's settings, which some rules use. What is measured before and after a change of the sound is
    /// [mixed](Snapshot::mixed_settings) from then on; the first call is no change.
    pub fn set_settings(&mut self, settings: &Settings) {
        let changes_sound = without_monitoring(settings) != without_monitoring(&self.settings);
        self.mixed_settings |= self.knows_settings && self.measured > 0 && changes_sound;
        self.knows_settings = true;
        let is_new = self.settings != *settings;
        self.drive_move = self.drive_move.filter(|_| !is_new);
        self.settings = *settings;
        if is_new {
            self.settle();
            let facts = self.facts(false);
            self.advisor.follow_settings(&facts);
        }
    }

    /// The source check of what was measured, with the peaks of the whole file where they are known. Its times are those
    /// of the song where the transport tells them, as in the history.
    fn source(&self) -> SourceReport {
        let mut source = self.check.source(self.before.levels.total());
        let rate = f64::from(self.sample_rate);
        for time in source.flat_top_at.iter_mut().chain(&mut source.full_scale_at) {
            if let Some(position) = self.measured_passes.position((*time * rate).round() as u64) {
                *time = position as f64 / rate;
            }
        }
        match &self.file.peaks {
            Some(peaks) => source.with_peaks(peaks),
            None => source,
        }
    }

    /// What only the reader of a file knows.
    pub fn set_file_facts(&mut self, file: FileFacts) {
        self.file = file;
    }
}

/// True peak above which a chunk counts as over, linear.
fn over_limit(target: &Target) -> f64 {
    db::to_gain(target.true_peak + OVER_TOLERANCE_DB)
}

//! All meters over one song: rendered blocks in, the figures of input and output, the reductions and the
//! advice out.

use std::sync::{Arc, Mutex};

use super::figures::FileFigures;
use super::planes::to_f32;
use super::render::RenderedBlock;
use crate::dsp::loudness_gate::LoudnessGate;
use crate::meter::advice::verdict;
use crate::meter::facts::FileFacts;
use crate::meter::reduction::ReductionStats;
use crate::meter::rules::AdviceNote;
use crate::meter::source::SourceReport;
use crate::meter::spectrum::SpectrumBands;
use crate::meter::targets::Target;
use crate::meter::{Analysis, History, MonoAs};
use crate::settings::Settings;
use crate::tap_ring::{Tap, Transport};

/// What the meters say about a song and its result.
#[derive(Clone)]
pub struct SongMeasurement {
    /// Hz.
    pub rate: u32,
    /// Samples per channel.
    pub frames: u64,
    /// What the song's one channel is measured as; none for stereo.
    pub mono_as: Option<MonoAs>,
    /// Samples of the output that were clipped at full scale, because the limiter is off.
    pub clipped: u64,
    /// Figures of the input.
    pub input: FileFigures,
    /// Figures of the output.
    pub output: FileFigures,
    /// The gating blocks of the output, for the loudness of a record.
    pub gate: LoudnessGate,
    /// The source check of the input.
    pub source: SourceReport,
    /// Reduction by the compressor.
    pub compressor: ReductionStats,
    /// Reduction by the limiter.
    pub limiter: ReductionStats,
    /// What the soft clip takes.
    pub clip: ReductionStats,
    /// Mean spectrum of the input.
    pub spectrum_in: SpectrumBands,
    /// Mean spectrum of the output.
    pub spectrum_out: SpectrumBands,
    /// The advice.
    pub notes: Vec<AdviceNote>,
    /// Columns of the whole song, for charts.
    pub history: Arc<Mutex<History>>,
}

impl SongMeasurement {
    /// Length, s.
    pub fn seconds(&self) -> f64 {
        self.frames as f64 / f64::from(self.rate)
    }
}

/// The meters of a pass.
pub struct SongMeters {
    analysis: Analysis,
    mono_as: Option<MonoAs>,
    /// Start of the result in the source, s: times in advice about the source count from its own start.
    offset_s: f64,
    output: [Vec<f32>; 2],
    frames: u64,
}

impl SongMeters {
    /// For a result of `rate` Hz from a source of 1 or 2 channels, and what one channel is measured as.
    pub fn new(rate: u32, channels: u16, mono_as: MonoAs, settings: &Settings, target: Target) -> Self {
        let mut analysis = Analysis::with_mono_as(rate, usize::from(channels), mono_as).without_advice();
        analysis.set_settings(settings);
        analysis.set_target(target);
        let mono_as = (channels == 1).then_some(mono_as);
        Self { analysis, mono_as, offset_s: 0.0, output: [Vec::new(), Vec::new()], frames: 0 }
    }

    /// For a result that begins `offset_s` seconds after the source; below 0, before it.
    #[must_use]
    pub fn starting_at(mut self, offset_s: f64) -> Self {
        self.offset_s = offset_s;
        self
    }

    /// Replaces what the advice knows of the file's ends.
    pub fn set_file_facts(&mut self, file: FileFacts) {
        self.analysis.set_file_facts(file);
    }

    /// Takes the next block.
    pub fn push(&mut self, block: &RenderedBlock) {
        to_f32(&mut self.output, block.output);
        let tap = Tap {
            before: block.input,
            after: [&self.output[0], &self.output[1]],
            compressor_db: block.compressor_db,
            limiter_db: block.limiter_db,
            clip_db: block.clip_db,
        };
        let position = Some(self.frames as i64);
        self.analysis.feed(&tap, Transport { playing: true, position });
        self.frames += block.compressor_db.len() as u64;
    }

    /// The figures of all blocks taken.
    pub fn finish(mut self) -> SongMeasurement {
        self.analysis.finish();
        let snapshot = self.analysis.snapshot();
        let mut facts = self.analysis.whole_facts();
        facts.source.flat_top_at.iter_mut().for_each(|at| *at += self.offset_s);
        SongMeasurement {
            rate: snapshot.sample_rate,
            frames: self.frames,
            mono_as: self.mono_as,
            clipped: 0,
            input: FileFigures::from(&snapshot.before),
            output: FileFigures::from(&snapshot.after),
            gate: self.analysis.gate_after().clone(),
            source: snapshot.source,
            compressor: facts.compressor,
            limiter: facts.limiter,
            clip: facts.clip,
            spectrum_in: snapshot.spectrum_before,
            spectrum_out: snapshot.spectrum_after,
            notes: verdict(&facts),
            history: self.analysis.history(),
        }
    }
}

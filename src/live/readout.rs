//! One snapshot of everything that the screen draws besides the parameters and the history.
//! Values that do not exist yet are −∞ or NaN; the screen writes them as a dash.

use super::eq_response::response;
use super::reference_readout::ReferenceReadout;
use crate::chain::ChainReadout;
use crate::meter::{RuleId, TARGETS, Target};
use crate::params::without_monitoring;
use crate::settings::Settings;
use crate::stage::eq::EqCurve;
use std::sync::Arc;

/// Meters of the chain's input or of its output.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LoudnessReadout {
    /// Momentary loudness (0.4 s), LUFS.
    pub momentary: f64,
    /// Short-term loudness (3 s), LUFS.
    pub short_term: f64,
    /// Integrated loudness, LUFS.
    pub integrated: f64,
    /// Loudness range, LU.
    pub range: f64,
    /// True peak of the last moment, dBTP.
    pub true_peak: f64,
    /// Highest true peak since the measurement began, dBTP.
    pub true_peak_max: f64,
    /// PLR: highest true peak minus integrated loudness, LU.
    pub plr: f64,
    /// Crest factor: peak over RMS, dB.
    pub crest: f64,
    /// Correlation of the channels, −1 to +1.
    pub correlation: f64,
}

impl Default for LoudnessReadout {
    /// Nothing measured yet.
    fn default() -> Self {
        let none = f64::NEG_INFINITY;
        Self {
            momentary: none,
            short_term: none,
            integrated: none,
            range: f64::NAN,
            true_peak: none,
            true_peak_max: none,
            plr: f64::NAN,
            crest: f64::NAN,
            correlation: f64::NAN,
        }
    }
}

/// Gain reduction of one stage.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ReductionReadout {
    /// Present reduction, dB ≥ 0.
    pub now: f64,
    /// Deepest reduction since the measurement began, dB ≥ 0.
    pub deepest: f64,
    /// Mean of the deepest reductions while active, of the measurement, dB.
    pub depth: f64,
    /// Share of the last ten seconds in which the stage reduced, 0 to 1.
    pub active_share: f64,
}

/// A result of the source check.
#[derive(Clone, Debug, PartialEq)]
pub struct SourceFinding {
    /// One sentence.
    pub text: String,
    /// The trim that corrects it, dB.
    pub trim: Option<f32>,
}

/// One line of advice.
#[derive(Clone, Debug, PartialEq)]
pub struct LiveNote {
    /// Its rule.
    pub rule: RuleId,
    /// True for what is audible or fails a delivery check; false for information.
    pub is_warning: bool,
    /// What the figures mean.
    pub text: String,
    /// The one change that would help.
    pub remedy: String,
    /// Its threshold and where that is from.
    pub basis: String,
}

/// What a job found for the whole song with the present settings.
#[derive(Clone, Debug, PartialEq)]
pub struct SongResult {
    /// Integrated loudness, LUFS.
    pub integrated: f64,
    /// Highest true peak, dBTP; none where it was not measured.
    pub true_peak: Option<f64>,
    /// It was written and measured again, not only searched.
    pub exported: bool,
    /// The gain that it was written with, as words, where the settings have another.
    pub with_gain: Option<String>,
}

/// One snapshot.
#[derive(Clone, Debug, PartialEq)]
pub struct LiveReadout {
    /// Sample rate of the chain, Hz.
    pub sample_rate: f64,
    /// Meters of the chain's input.
    pub input: LoudnessReadout,
    /// Meters of the chain's output.
    pub output: LoudnessReadout,
    /// Gain reduction of the compressor.
    pub compressor: ReductionReadout,
    /// Gain reduction of the limiter.
    pub limiter: ReductionReadout,
    /// What the soft curve takes.
    pub clip: ReductionReadout,
    /// All three together.
    pub total: ReductionReadout,
    /// Pumping: movement of the gain reduction between 0.5 and 8 Hz, dB.
    pub pumping_db: f64,
    /// How much louder the output is than the input, dB.
    pub louder_by_db: f64,
    /// What compare does to the level of input, output and reference, dB, at most 0.
    pub listening_db: [f64; 3],
    /// The reference.
    pub reference: Arc<ReferenceReadout>,
    /// Magnitude of the running EQ at [`super::CURVE_HZ`] for the mid and for the side signal, dB;
    /// empty while nothing runs.
    pub response: [Vec<f32>; 2],
    /// Levels of the input in the bands of [`crate::meter::spectrum`], dB; empty before the first.
    pub spectrum_input: Vec<f32>,
    /// Levels of the output, likewise.
    pub spectrum_output: Vec<f32>,
    /// Levels of the output averaged since the measurement was reset, likewise.
    pub spectrum_average: Vec<f32>,
    /// Level at the compressor's detector, dBFS, and the reduction, dB.
    pub compressor_point: (f64, f64),
    /// Make-up gain that the compressor applies now, dB.
    pub makeup_db: f64,
    /// Whether the integrated measurement is running.
    pub measuring: bool,
    /// Seconds measured.
    pub measured: f64,
    /// The settings have changed since the measurement began.
    pub mixed_settings: bool,
    /// Seconds of the song that were measured, where that is only a passage of it: its loudness is not the
    /// song's.
    pub passage_s: Option<f64>,
    /// A master was exported with the present settings and target.
    pub exported: bool,
    /// What a search or an export found with the present settings, edges and target.
    pub result: Option<SongResult>,
    /// The settings have changed since anything was measured: no figure belongs to them yet.
    pub unmeasured_settings: bool,
    /// From which that is known.
    pub measured_with: MeasuredWith,
    /// Delivery targets to choose from; never empty.
    pub targets: Vec<Target>,
    /// Index into `targets`.
    pub target: usize,
    /// Room between the source's highest true peak and full scale, dB: of the whole file where it is known; ∞ for
    /// silence.
    pub headroom: f64,
    /// Results of the source check, the most important first.
    pub findings: Vec<SourceFinding>,
    /// Advice, the most important first.
    pub notes: Vec<LiveNote>,
}

/// Snapshots without more measurement from which it counts as at rest: the analysis is read faster than it moves on.
const IDLE_SNAPSHOTS: u32 = 8;

/// Which settings the figures belong to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct MeasuredWith {
    /// Settings, monitoring aside, with which something was measured last.
    settings: Option<Settings>,
    /// Seconds measured.
    measured: f64,
    /// Snapshots that were taken since more was measured.
    idle_snapshots: u32,
}

impl MeasuredWith {
    /// Takes the settings of a snapshot, at which `measured` seconds are measured; whether nothing was measured with
    /// them.
    pub(super) fn follow(&mut self, measured: f64, settings: &Settings) -> bool {
        let settings = Some(without_monitoring(settings));
        let moves_on = measured > std::mem::replace(&mut self.measured, measured);
        self.idle_snapshots = if moves_on { 0 } else { self.idle_snapshots.saturating_add(1) };
        if self.idle_snapshots < IDLE_SNAPSHOTS || self.settings.is_none() || measured == 0.0 {
            self.settings = settings;
        }
        self.settings != settings
    }
}

impl LiveReadout {
    /// Takes over what the running chain reports; without it, the EQ curve that `settings` lead to.
    pub fn follow(&mut self, readout: Option<&ChainReadout>, settings: &Settings) {
        match readout {
            Some(readout) => {
                self.response = response(&readout.curve);
                self.compressor_point = readout.compressor_point;
                self.makeup_db = readout.makeup;
                self.louder_by_db = readout.louder_by;
                self.listening_db = readout.listening_db;
            }
            None => {
                self.response = response(&EqCurve::of(&settings.eq, self.sample_rate));
                self.compressor_point = (f64::NEG_INFINITY, 0.0);
            }
        }
    }

    /// The chosen delivery target.
    pub fn chosen_target(&self) -> &Target {
        &self.targets[self.target.min(self.targets.len() - 1)]
    }
}

impl Default for LiveReadout {
    fn default() -> Self {
        Self {
            sample_rate: 48_000.0,
            input: LoudnessReadout::default(),
            output: LoudnessReadout::default(),
            compressor: ReductionReadout::default(),
            limiter: ReductionReadout::default(),
            clip: ReductionReadout::default(),
            total: ReductionReadout::default(),
            pumping_db: 0.0,
            louder_by_db: 0.0,
            listening_db: [0.0; 3],
            reference: Arc::default(),
            response: [Vec::new(), Vec::new()],
            spectrum_input: Vec::new(),
            spectrum_output: Vec::new(),
            spectrum_average: Vec::new(),
            compressor_point: (f64::NEG_INFINITY, 0.0),
            makeup_db: 0.0,
            measuring: true,
            measured: 0.0,
            mixed_settings: false,
            passage_s: None,
            exported: false,
            result: None,
            unmeasured_settings: false,
            measured_with: MeasuredWith::default(),
            targets: TARGETS.to_vec(),
            target: 0,
            headroom: f64::INFINITY,
            findings: Vec::new(),
            notes: Vec::new(),
        }
    }
}

//! From the analysis to the screen: a [`Snapshot`] of the meters as a [`LiveReadout`].

use super::readout::{LiveNote, LiveReadout, LoudnessReadout, ReductionReadout, SourceFinding};
use crate::meter::{self, Facts, RULES, Readings, Rule, RuleId, Snapshot, TARGETS};
use crate::settings::Settings;

impl LiveReadout {
    /// Takes over everything that the analysis measured. The EQ curve, the compressor's point and
    /// the loudness difference come from the chain itself and stay as they are.
    pub fn take(&mut self, snapshot: &Snapshot, settings: &Settings) {
        self.sample_rate = f64::from(snapshot.sample_rate);
        self.input = loudness(&snapshot.before);
        self.output = loudness(&snapshot.after);
        self.compressor = reduction(&snapshot.compressor);
        self.limiter = reduction(&snapshot.limiter);
        self.clip = reduction(&snapshot.clip);
        self.total = reduction(&snapshot.total);
        self.pumping_db = snapshot.pumping;
        let has_signal = snapshot.before.max_true_peak.is_finite();
        for (levels, bands) in [
            (&mut self.spectrum_input, &snapshot.spectrum_before.now),
            (&mut self.spectrum_output, &snapshot.spectrum_after.now),
            (&mut self.spectrum_average, &snapshot.spectrum_after.mean),
        ] {
            levels.clear();
            if has_signal {
                levels.extend_from_slice(bands);
            }
        }
        self.measuring = snapshot.measuring;
        self.unmeasured_settings = self.measured_with.follow(snapshot.measured, settings);
        self.measured = snapshot.measured;
        self.mixed_settings = snapshot.mixed_settings;
        self.passage_s = snapshot.passage;
        self.targets.clear();
        self.targets.extend(TARGETS);
        self.target = TARGETS.iter().position(|t| t.name == snapshot.target.name).unwrap_or(0);
        self.headroom = snapshot.source.headroom_db;
        self.findings = findings(snapshot, settings);
        self.notes = snapshot.notes.iter().map(note).collect();
    }
}

fn loudness(readings: &Readings) -> LoudnessReadout {
    let or_nan = |value: Option<f64>| value.unwrap_or(f64::NAN);
    let [left, right] = readings.true_peak_now;
    LoudnessReadout {
        momentary: readings.momentary,
        short_term: readings.short_term,
        integrated: readings.integrated,
        range: readings.range,
        true_peak: left.max(right),
        true_peak_max: readings.max_true_peak,
        plr: or_nan(readings.plr),
        crest: or_nan(readings.crest),
        correlation: or_nan(readings.correlation),
    }
}

fn reduction(stage: &meter::reduction::ReductionStats) -> ReductionReadout {
    ReductionReadout { now: stage.now, deepest: stage.most, depth: stage.depth, active_share: stage.share }
}

/// The rules about the source that apply, worded by the same table as the notes.
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
    let is_about_the_source = |id: RuleId| {
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
        .filter(|rule| is_about_the_source(rule.id))
        .filter_map(|rule| {
            let note = rule.note(&facts, rule.value(&facts).filter(|value| rule.applies(*value))?);
            let trims =
                settings.compressor.on && matches!(rule.id, RuleId::FullScale | RuleId::LittleHeadroom);
            Some(SourceFinding { text: note.says, trim: trims.then_some(snapshot.source.trim_db as f32) })
        })
        .collect()
}

fn note(note: &meter::AdviceNote) -> LiveNote {
    use RuleId::*;
    let is_information = matches!(
        note.rule,
        UnderTarget
            | EqMoveLarge
            | LeadInLong
            | LeadInShort
            | LittleHeadroom
            | LeadInNoisy
            | ChannelsIdentical
    );
    LiveNote {
        rule: note.rule,
        is_warning: !is_information,
        text: note.says.clone(),
        remedy: note.advises.clone(),
        basis: note.rule.rule().map(Rule::basis).unwrap_or_default(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_belong_to_the_settings_that_were_measured_last() {
        let (mut live, mut settings) = (LiveReadout::default(), Settings::default());
        let mut snapshot = meter::Analysis::new(48_000, 2).snapshot();
        let mut take = |live: &mut LiveReadout, measured: f64, settings: &Settings| {
            snapshot.measured = measured;
            live.take(&snapshot, settings);
            live.unmeasured_settings
        };
        assert!(!take(&mut live, 0.0, &settings));
        settings.input.trim = -1.0;
        assert!(!take(&mut live, 0.0, &settings), "nothing is measured yet");
        assert!(!take(&mut live, 5.0, &settings));
        // While it is measured, a move is followed at once.
        settings.input.trim = -2.0;
        assert!(!take(&mut live, 5.0, &settings));
        for _ in 0..10 {
            take(&mut live, 5.0, &settings);
        }
        settings.bypass = true;
        assert!(!take(&mut live, 5.0, &settings), "monitoring changes no figure");
        settings.input.trim = -3.0;
        assert!(take(&mut live, 5.0, &settings), "not measured with this trim");
        assert!(!take(&mut live, 5.1, &settings), "played again");
    }

    #[test]
    fn a_fresh_analysis_has_no_figures_findings_or_notes() {
        let mut live = LiveReadout::default();
        let snapshot = meter::Analysis::new(48_000, 2).snapshot();
        live.take(&snapshot, &Settings::default());
        assert!(!live.output.integrated.is_finite() && live.findings.is_empty() && live.notes.is_empty());
        assert!(live.spectrum_input.is_empty());
    }
}

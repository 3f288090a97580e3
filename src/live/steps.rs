//! The way through the job in six steps, from the measurements and the settings alone: what has been done,
//! what is open, and where to look, each with its one figure.

use super::readout::LiveReadout;
use crate::meter::RuleId;
use crate::numbers::{number, signed};
use crate::settings::{BandKind, Compare, Settings};

/// Gain from which an EQ band counts as set, dB: half of what a ruler shows.
const SET_DB: f32 = 0.05;
/// Largest gain that is usual in mastering, dB (common practice, no source).
const LARGE_MOVE_DB: f32 = 3.0;
/// Mean reduction from which the compressor counts as active, dB (common practice, no source: 1 to 3 dB).
const COMPRESSES_DB: f64 = 1.0;
/// Seconds of measurement before a step counts as done.
const MEASURED_S: f64 = 3.0;

/// The steps in their order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StepId {
    /// Room left and faults of the source.
    Input,
    /// Small moves.
    Eq,
    /// A little compression.
    Compressor,
    /// Drive and ceiling.
    Limiter,
    /// Before and after at equal loudness.
    Compare,
    /// Loudness and true peak of the delivery.
    Deliver,
}

/// Where a step is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StepState {
    /// Nothing has been done or measured yet.
    Open,
    /// Done.
    Done,
    /// Something asks for a look.
    Look,
}

/// One step.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// Which one.
    pub id: StepId,
    /// Where it is.
    pub state: StepState,
    /// Its figure with unit.
    pub figure: String,
}

/// Which sides have been compared since a setting was changed.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Compared {
    settings: Option<Settings>,
    before: bool,
    after: bool,
}

impl Compared {
    /// Follows the settings of a frame.
    pub fn follow(&mut self, settings: &Settings) {
        let mut sound = *settings;
        (sound.compare, sound.bypass, sound.limiter.removed_only) = (Compare::Off, false, false);
        if self.settings != Some(sound) {
            *self = Self { settings: Some(sound), ..Self::default() };
        }
        self.before |= settings.compare == Compare::Before;
        self.after |= settings.compare == Compare::After;
    }
}

impl StepId {
    /// All of them in their order.
    pub const ALL: [Self; 6] =
        [Self::Input, Self::Eq, Self::Compressor, Self::Limiter, Self::Compare, Self::Deliver];

    /// Its name.
    pub fn name(self) -> &'static str {
        match self {
            Self::Input => "input",
            Self::Eq => "EQ",
            Self::Compressor => "compressor",
            Self::Limiter => "limiter",
            Self::Compare => "compare",
            Self::Deliver => "deliver",
        }
    }

    /// What is done in it, in one sentence.
    pub fn help(self) -> &'static str {
        match self {
            Self::Input => "Input: does the source leave room, and is it free of faults?",
            Self::Eq => "EQ: small moves, within 3 dB (common practice, no source).",
            Self::Compressor => "Compressor: 1 to 3 dB of reduction (common practice, no source), or none.",
            Self::Limiter => "Limiter: drive for loudness, the ceiling for the highest true peak.",
            Self::Compare => "Compare: before and after at equal loudness, after the last change.",
            Self::Deliver => "Deliver: loudness and true peak of the delivery, measured over the whole song.",
        }
    }

    /// The step to which a note belongs.
    pub fn of(rule: RuleId) -> Self {
        use RuleId::*;
        match rule {
            ChannelSilent | OutOfPhase | FlatTops | FullScale | TooDense | DcOffset | LittleHeadroom
            | LeadInNoisy | ChannelsIdentical | EndCutOff | LeadInLong | LeadInShort => Self::Input,
            EqMoveTooLarge | EqMoveLarge => Self::Eq,
            CompressorDeep => Self::Compressor,
            Pumping | LimiterDeep | LimiterConstant | SoftClipDeep => Self::Limiter,
            PeakAboveDelivery | OverTarget | UnderTarget => Self::Deliver,
        }
    }
}

/// The six steps.
pub fn steps(live: &LiveReadout, settings: &Settings, compared: &Compared) -> [Step; 6] {
    let asked = |id| live.notes.iter().any(|note| note.is_warning && StepId::of(note.rule) == id);
    StepId::ALL.map(|id| {
        let (state, figure) = match id {
            StepId::Input => input(live),
            StepId::Eq => eq(settings),
            StepId::Compressor => compressor(live, settings),
            StepId::Limiter => limiter(settings),
            StepId::Compare => compare(live, settings, compared),
            StepId::Deliver => deliver(live),
        };
        Step { id, state: if asked(id) { StepState::Look } else { state }, figure }
    })
}

fn input(live: &LiveReadout) -> (StepState, String) {
    // That of the panel: of the whole file, where it has been read.
    let figure = format!("{} dB", number(live.headroom, 1));
    let state = match () {
        () if !live.input.true_peak_max.is_finite() || live.measured < MEASURED_S => StepState::Open,
        () if !live.findings.is_empty() => StepState::Look,
        () => StepState::Done,
    };
    (state, figure)
}

fn eq(settings: &Settings) -> (StepState, String) {
    let bands = settings.eq.bands.iter().filter(|band| settings.eq.on && band.on);
    let is_cut = |kind| matches!(kind, BandKind::LowCut | BandKind::HighCut);
    let cuts = bands.clone().filter(|band| is_cut(band.kind)).count();
    let gains = bands.filter(|band| !is_cut(band.kind)).map(|band| band.gain);
    let largest = gains.fold(0.0_f32, |most, gain| if gain.abs() > most.abs() { gain } else { most });
    let figure = match () {
        () if !settings.eq.on => "off".to_owned(),
        () if largest.abs() >= SET_DB => format!("{} dB", signed(f64::from(largest), 1)),
        () if cuts > 0 => "cut".to_owned(),
        () => "flat".to_owned(),
    };
    let state = match () {
        () if largest.abs() > LARGE_MOVE_DB + 0.01 => StepState::Look,
        () if largest.abs() >= SET_DB || cuts > 0 => StepState::Done,
        () => StepState::Open,
    };
    (state, figure)
}

fn compressor(live: &LiveReadout, settings: &Settings) -> (StepState, String) {
    if !settings.compressor.on {
        return (StepState::Open, "off".to_owned());
    }
    if live.unmeasured_settings {
        return (StepState::Open, "not measured".to_owned());
    }
    let depth = live.compressor.depth;
    let much = RuleId::CompressorDeep.rule().map_or(f64::INFINITY, |rule| rule.applies_at);
    let state = match depth {
        depth if depth >= much => StepState::Look,
        depth if depth >= COMPRESSES_DB => StepState::Done,
        _ => StepState::Open,
    };
    (state, format!("{} dB", number(depth, 1)))
}

fn limiter(settings: &Settings) -> (StepState, String) {
    if !settings.limiter.on {
        return (StepState::Look, "off".to_owned());
    }
    let drive = settings.limiter.drive;
    let state = if drive > 0.0 { StepState::Done } else { StepState::Open };
    (state, format!("{} dB", signed(f64::from(drive), 1)))
}

fn compare(live: &LiveReadout, settings: &Settings, compared: &Compared) -> (StepState, String) {
    let figure = format!("{} dB", signed(live.louder_by_db, 1));
    match () {
        // What leaves now is not the master.
        () if settings.bypass => (StepState::Look, "bypass".to_owned()),
        () if compared.before && compared.after => (StepState::Done, figure),
        () => (StepState::Open, figure),
    }
}

fn deliver(live: &LiveReadout) -> (StepState, String) {
    let target = live.chosen_target();
    let result = live.result.as_ref();
    let loudness = result.map_or(live.output.integrated, |result| result.integrated);
    // A search knows no true peak; the limiter holds it under the ceiling.
    let peak =
        result.map_or(live.output.true_peak_max, |result| result.true_peak.unwrap_or(f64::NEG_INFINITY));
    let peak_over = peak > target.true_peak + 0.05;
    let over = loudness > *target.band().end() || peak_over;
    if live.exported {
        return (StepState::Done, "exported".to_owned());
    }
    let figure = match live.passage_s.filter(|_| result.is_none()) {
        Some(_) => "passage".to_owned(),
        None => format!("{} LUFS", number(loudness, 1)),
    };
    let state = match () {
        () if !loudness.is_finite() => StepState::Open,
        () if result.is_some() && over => StepState::Look,
        () if result.is_some() => {
            if target.band().contains(&loudness) {
                StepState::Done
            } else {
                StepState::Open
            }
        }
        () if live.measured < MEASURED_S => StepState::Open,
        // The figure belongs to no one of the settings.
        () if live.mixed_settings => StepState::Open,
        // The passage's loudness is not the song's; its highest peak is one of the song's.
        () if live.passage_s.is_some() && !peak_over => StepState::Open,
        () if over => StepState::Look,
        () if target.band().contains(&loudness) => StepState::Done,
        () => StepState::Open,
    };
    (state, figure)
}

#[cfg(test)]
mod tests {
    use super::super::readout::SongResult;
    use super::*;

    fn states(live: &LiveReadout, settings: &Settings, compared: &Compared) -> [StepState; 6] {
        steps(live, settings, compared).map(|step| step.state)
    }

    #[test]
    fn figures_of_other_settings_are_not_shown_as_those_of_these() {
        let (mut live, mut settings) = (LiveReadout::default(), Settings::default());
        settings.compressor.on = true;
        live.measured = 60.0;
        live.compressor.depth = 1.8;
        (live.output.integrated, live.output.true_peak_max) = (-9.0, 0.5);
        let of = |live: &LiveReadout, id: StepId| {
            let step = steps(live, &settings, &Compared::default()).into_iter().find(|step| step.id == id);
            step.map(|step| (step.state, step.figure)).unwrap()
        };
        assert_eq!(of(&live, StepId::Compressor), (StepState::Done, "1.8 dB".to_owned()));
        live.unmeasured_settings = true;
        assert_eq!(of(&live, StepId::Compressor), (StepState::Open, "not measured".to_owned()));
        // The result of a match is that of the present settings, whatever was played.
        live.mixed_settings = true;
        let result = SongResult { integrated: -14.1, true_peak: None, exported: false, with_gain: None };
        live.result = Some(result);
        assert_eq!(of(&live, StepId::Deliver), (StepState::Done, "\u{2212}14.1 LUFS".to_owned()));
        live.result.as_mut().unwrap().integrated = -10.0;
        assert_eq!(of(&live, StepId::Deliver).0, StepState::Look);
    }

    #[test]
    fn nothing_is_done_at_the_start_and_everything_at_the_end() {
        use StepState::{Done, Open};
        let (mut live, mut settings) = (LiveReadout::default(), Settings::default());
        let mut compared = Compared::default();
        compared.follow(&settings);
        assert_eq!(states(&live, &settings, &compared), [Open; 6]);
        live.measured = 60.0;
        (live.input.true_peak_max, live.headroom) = (-6.0, 6.0);
        (live.output.integrated, live.output.true_peak_max) = (-14.2, -1.0);
        live.compressor.depth = 1.8;
        settings.eq.bands[1].gain = -1.5;
        settings.compressor.on = true;
        settings.limiter.drive = 4.0;
        compared.follow(&settings);
        for side in [Compare::Before, Compare::After] {
            compared.follow(&Settings { compare: side, ..settings });
        }
        assert_eq!(states(&live, &settings, &compared), [Done; 6]);
        let figures = steps(&live, &settings, &compared).map(|step| step.figure);
        let minus = '\u{2212}';
        let wanted = [
            "6.0 dB",
            &format!("{minus}1.5 dB"),
            "1.8 dB",
            "+4.0 dB",
            "0.0 dB",
            &format!("{minus}14.2 LUFS"),
        ];
        assert_eq!(figures, wanted);
        // A changed setting asks for another comparison, and for another measurement.
        settings.limiter.drive = 4.5;
        compared.follow(&settings);
        live.mixed_settings = true;
        assert_eq!(states(&live, &settings, &compared)[4..], [Open; 2]);
    }

    #[test]
    fn each_step_asks_for_a_look_where_it_should() {
        let look = |live: &LiveReadout, settings: &Settings| {
            let states = states(live, settings, &Compared::default());
            states.map(|state| u8::from(state == StepState::Look))
        };
        let (mut live, mut settings) = (LiveReadout::default(), Settings::default());
        live.measured = 60.0;
        assert_eq!(look(&live, &settings), [0; 6]);
        (live.output.integrated, live.output.true_peak_max) = (-12.0, -1.0);
        assert_eq!(look(&live, &settings), [0, 0, 0, 0, 0, 1]);
        (live.output.integrated, live.output.true_peak_max) = (-14.0, -0.5);
        assert_eq!(look(&live, &settings), [0, 0, 0, 0, 0, 1]);
        settings.compressor.on = true;
        live.compressor.depth = 5.0;
        settings.eq.bands[2].gain = 4.0;
        settings.limiter.on = false;
        settings.bypass = true;
        assert_eq!(look(&live, &settings), [0, 1, 1, 1, 1, 1]);
        live.input.true_peak_max = 0.0;
        live.findings
            .push(crate::live::SourceFinding { text: "The source is clipped.".to_owned(), trim: None });
        assert_eq!(look(&live, &settings), [1; 6]);
    }

    #[test]
    fn a_passage_gives_the_delivery_no_figure_and_its_loudness_no_look() {
        let mut live = LiveReadout { measured: 60.0, passage_s: Some(10.0), ..LiveReadout::default() };
        (live.output.integrated, live.output.true_peak_max) = (-9.0, -1.0);
        let deliver = |live: &LiveReadout| {
            let [.., step] = steps(live, &Settings::default(), &Compared::default());
            (step.state, step.figure)
        };
        assert_eq!(deliver(&live), (StepState::Open, "passage".to_owned()));
        live.output.true_peak_max = -0.5;
        assert_eq!(deliver(&live), (StepState::Look, "passage".to_owned()));
        live.exported = true;
        assert_eq!(deliver(&live), (StepState::Done, "exported".to_owned()));
    }

    #[test]
    fn every_rule_belongs_to_a_step() {
        for id in StepId::ALL.into_iter().filter(|id| *id != StepId::Compare) {
            assert!(crate::meter::RULES.iter().any(|rule| StepId::of(rule.id) == id), "{id:?}");
        }
    }
}

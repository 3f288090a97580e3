//! Advice: what was measured in, at most a few plain sentences with the figure and the one move
//! that would help out, the most important first.
//!
//! The rules stand in [`super::rules::RULES`]; here is how they are applied. A rule must hold for
//! a second before it is said and be gone for three before it falls silent; its threshold for
//! falling silent lies away from the one for speaking. So nothing flickers.

use super::reduction::ReductionStats;
use super::rules::{RULES, Rule, RuleId};
use super::source::SourceReport;
use super::targets::Target;
use crate::settings::Settings;

/// Most notes shown at once.
pub const MOST: usize = 3;
/// Seconds that a rule must hold before it is said.
const ATTACK: f64 = 1.0;
/// Seconds that it must be gone before it falls silent.
const RELEASE: f64 = 3.0;
/// Seconds between two changes of a figure in a note.
const REFRESH: f64 = 1.0;

/// What only the file side knows.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct FileFacts {
    /// Seconds from the start of the file to the first sound.
    pub lead_in: Option<f64>,
    /// Level of the last 10 ms of the file, dBFS.
    pub end_level: Option<f64>,
}

/// Everything that a rule may look at.
#[derive(Clone, Debug, PartialEq)]
pub struct Facts {
    pub target: Target,
    pub settings: Settings,
    /// Seconds measured.
    pub measured: f64,
    pub source: SourceReport,
    /// True peak over integrated loudness before the chain, dB.
    pub source_peak_to_loudness: Option<f64>,
    /// Integrated loudness after the chain, LUFS; −∞ for none.
    pub integrated: f64,
    /// Highest true peak after the chain, dBTP; −∞ for none.
    pub true_peak: f64,
    pub compressor: ReductionStats,
    pub limiter: ReductionStats,
    /// PumpingMeter of both reductions together at 0.5 to 8 Hz, dB.
    pub swing: f64,
    pub file: FileFacts,
}

impl Default for Facts {
    /// Nothing known.
    fn default() -> Self {
        Self {
            target: Target::default(),
            settings: Settings::default(),
            measured: 0.0,
            source: SourceReport::default(),
            source_peak_to_loudness: None,
            integrated: f64::NEG_INFINITY,
            true_peak: f64::NEG_INFINITY,
            compressor: ReductionStats::default(),
            limiter: ReductionStats::default(),
            swing: 0.0,
            file: FileFacts::default(),
        }
    }
}

/// One piece of advice.
#[derive(Clone, Debug, PartialEq)]
pub struct AdviceNote {
    pub rule: RuleId,
    /// What is the case, with the figure.
    pub says: String,
    /// The one move that would help.
    pub advises: String,
    /// The measured quantity, in the unit that the rule names.
    pub value: f64,
    /// Seconds at which it can be heard or seen, when it has places.
    pub at: Vec<f64>,
}

/// All rules that speak on these facts, without waiting, the most important first: the verdict on
/// a finished file.
pub fn verdict(facts: &Facts) -> Vec<AdviceNote> {
    RULES
        .iter()
        .filter_map(|rule| rule.value(facts).filter(|&v| rule.speaks(v)).map(|v| rule.note(facts, v)))
        .collect()
}

/// State of one rule.
#[derive(Clone, Debug, Default)]
struct State {
    /// What it is saying.
    note: Option<AdviceNote>,
    /// Seconds for which the facts have been asking for a change.
    pending: f64,
    /// Seconds since the note was written.
    age: f64,
}

impl State {
    fn tick(&mut self, rule: &Rule, facts: &Facts, seconds: f64) {
        let value = rule.value(facts);
        let speaking = self.note.is_some();
        let wanted = value.is_some_and(|v| if speaking { !rule.is_settled(v) } else { rule.speaks(v) });
        self.pending = if wanted == speaking { 0.0 } else { self.pending + seconds };
        self.age += seconds;
        // Half a tick of grace, so that rounding of the sum does not cost a whole one.
        let due = |wait: f64| self.pending >= wait - seconds / 2.0;
        match (speaking, value) {
            (false, Some(v)) if due(ATTACK) => (self.note, self.age) = (Some(rule.note(facts, v)), 0.0),
            (true, _) if due(RELEASE) => self.note = None,
            (true, Some(v)) if wanted && self.age >= REFRESH => {
                (self.note, self.age) = (Some(rule.note(facts, v)), 0.0);
            }
            _ => return,
        }
        self.pending = 0.0;
    }
}

/// Applies the rules over time.
#[derive(Clone, Debug)]
pub struct Advisor {
    states: Vec<State>,
}

impl Advisor {
    /// Silent.
    pub fn new() -> Self {
        Self { states: vec![State::default(); RULES.len()] }
    }

    /// Looks at new facts, `seconds` of sound after the last ones.
    pub fn tick(&mut self, facts: &Facts, seconds: f64) {
        for (state, rule) in self.states.iter_mut().zip(&RULES) {
            state.tick(rule, facts, seconds);
        }
    }

    /// The most important notes, at most [`MOST`].
    pub fn notes(&self) -> Vec<AdviceNote> {
        self.states.iter().filter_map(|state| state.note.clone()).take(MOST).collect()
    }

    /// Falls silent.
    pub fn reset(&mut self) {
        self.states.fill(State::default());
    }
}

impl Default for Advisor {
    fn default() -> Self {
        Self::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn deep(depth: f64) -> Facts {
        let limiter = ReductionStats { now: depth, most: depth, share: 0.3, depth };
        Facts { limiter, ..Facts::default() }
    }

    #[test]
    fn a_figure_at_the_threshold_does_not_flicker() {
        let mut advisor = Advisor::new();
        let mut changes = 0;
        let mut last = false;
        for n in 0..600 {
            // ±0.5 dB around the threshold of 4 dB, four times a second.
            let depth = 4.0 + 0.5 * (f64::from(n) * 1.57).sin().signum();
            advisor.tick(&deep(depth), 0.1);
            let now = !advisor.notes().is_empty();
            changes += u32::from(now != last);
            last = now;
        }
        assert!(changes <= 1, "{changes} changes");
    }

    #[test]
    fn it_speaks_after_a_second_and_falls_silent_after_three() {
        let mut advisor = Advisor::new();
        let mut ticks_until = |facts: Facts, speaking: bool| {
            (1..100)
                .find(|_| {
                    advisor.tick(&facts, 0.1);
                    advisor.notes().is_empty() != speaking
                })
                .unwrap()
        };
        assert_eq!(ticks_until(deep(6.0), true), 10);
        assert_eq!(ticks_until(deep(1.0), false), 30);
    }

    #[test]
    fn there_are_never_more_than_three_and_the_first_matters_most() {
        let mut facts = deep(8.0);
        facts.swing = 6.0;
        facts.true_peak = 0.5;
        facts.integrated = -8.0;
        facts.measured = 60.0;
        facts.source.flat_tops = 12;
        let mut advisor = Advisor::new();
        (0..20).for_each(|_| advisor.tick(&facts, 0.1));
        let notes = advisor.notes();
        assert_eq!(notes.len(), MOST);
        assert_eq!(notes[0].rule, RuleId::PeakAboveDelivery);
        assert!(verdict(&facts).len() > MOST);
        assert_eq!(verdict(&facts)[..MOST], notes[..]);
    }
}

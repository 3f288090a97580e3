//! Advice over time: facts in, at most a few short notes out, the most important first.
//!
//! The rules are in [`super::rules::RULES`]; this file applies them with hysteresis, so that no note
//! flickers: a rule must hold for one second before its note appears and be gone for three before it
//! disappears, and its threshold for disappearing differs from the one for appearing.

use super::facts::Facts;
use super::rules::{AdviceNote, RULES, Rule, RuleId, without_contradictions};

/// Most notes shown at once.
pub const MAX_NOTES: usize = 3;
/// Seconds that a rule must hold before its note appears.
const APPEAR_S: f64 = 1.0;
/// Seconds that it must be gone before its note disappears.
const DISAPPEAR_S: f64 = 3.0;
/// Seconds between two updates of a note's figures.
const REFRESH_S: f64 = 1.0;

/// The notes of all rules that apply to these facts, without waiting, the most important first: the
/// verdict on a finished file.
pub fn verdict(facts: &Facts) -> Vec<AdviceNote> {
    let notes = RULES
        .iter()
        .filter_map(|rule| rule.value(facts).filter(|&v| rule.applies(v)).map(|v| rule.note(facts, v)));
    without_contradictions(notes.collect())
}

/// State of one rule.
#[derive(Clone, Debug, Default)]
struct RuleState {
    /// The note shown.
    note: Option<AdviceNote>,
    /// Seconds for which the facts have asked for a change.
    pending: f64,
    /// Seconds since the note was written.
    age: f64,
}

impl RuleState {
    fn tick(&mut self, rule: &Rule, facts: &Facts, seconds: f64) {
        let value = rule.value(facts);
        let shown = self.note.is_some();
        let wanted = value.is_some_and(|v| if shown { !rule.ends(v) } else { rule.applies(v) });
        self.pending = if wanted == shown { 0.0 } else { self.pending + seconds };
        self.age += seconds;
        // Half a tick of tolerance, so that rounding of the sum does not delay by a whole tick.
        let due = |wait: f64| self.pending >= wait - seconds / 2.0;
        match (shown, value) {
            (false, Some(v)) if due(APPEAR_S) => (self.note, self.age) = (Some(rule.note(facts, v)), 0.0),
            (true, _) if due(DISAPPEAR_S) => self.note = None,
            (true, Some(v)) if wanted && self.age >= REFRESH_S => {
                (self.note, self.age) = (Some(rule.note(facts, v)), 0.0);
            }
            _ => return,
        }
        self.pending = 0.0;
    }
}

/// Applies the rules over time, with hysteresis.
#[derive(Clone, Debug)]
pub struct Advisor {
    states: Vec<RuleState>,
}

impl Advisor {
    /// Without notes.
    pub fn new() -> Self {
        Self { states: vec![RuleState::default(); RULES.len()] }
    }

    /// Updates with new facts, `seconds` of sound after the last ones.
    pub fn tick(&mut self, facts: &Facts, seconds: f64) {
        for (state, rule) in self.states.iter_mut().zip(&RULES) {
            state.tick(rule, facts, seconds);
        }
    }

    /// Clears at once the notes that ask for a setting and have got it: while no sound runs, time would
    /// never clear them.
    pub fn follow_settings(&mut self, facts: &Facts) {
        for (state, rule) in self.states.iter_mut().zip(&RULES) {
            let follows = matches!(
                rule.id,
                RuleId::FullScale | RuleId::LittleHeadroom | RuleId::EqMoveTooLarge | RuleId::EqMoveLarge
            );
            if follows && rule.value(facts).is_none_or(|value| rule.ends(value)) {
                *state = RuleState::default();
            }
        }
    }

    /// The most important notes, at most [`MAX_NOTES`].
    pub fn notes(&self) -> Vec<AdviceNote> {
        let mut notes =
            without_contradictions(self.states.iter().filter_map(|state| state.note.clone()).collect());
        notes.truncate(MAX_NOTES);
        notes
    }

    /// Clears all notes.
    pub fn reset(&mut self) {
        self.states.fill(RuleState::default());
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
    use crate::meter::reduction::ReductionStats;

    fn deep(depth: f64) -> Facts {
        let limiter = ReductionStats { now: depth, most: depth, share: 0.3, depth };
        Facts { limiter, ..Facts::default() }
    }

    #[test]
    fn a_value_at_the_threshold_does_not_flicker() {
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
    fn a_note_appears_after_one_second_and_disappears_after_three() {
        let mut advisor = Advisor::new();
        let mut ticks_until = |facts: Facts, shown: bool| {
            (1..100)
                .find(|_| {
                    advisor.tick(&facts, 0.1);
                    advisor.notes().is_empty() != shown
                })
                .unwrap()
        };
        assert_eq!(ticks_until(deep(6.0), true), 10);
        assert_eq!(ticks_until(deep(1.0), false), 30);
    }

    #[test]
    fn a_note_on_a_setting_ends_with_the_setting_and_one_on_the_sound_with_the_sound() {
        let mut facts = deep(6.0);
        facts.settings.eq.bands[1].gain = 4.0;
        let mut advisor = Advisor::new();
        (0..20).for_each(|_| advisor.tick(&facts, 0.1));
        let rules = |advisor: &Advisor| advisor.notes().iter().map(|note| note.rule).collect::<Vec<_>>();
        assert_eq!(rules(&advisor), [RuleId::LimiterDeep, RuleId::EqMoveLarge]);
        facts.settings.eq.bands[1].gain = 1.0;
        facts.limiter = ReductionStats::default();
        advisor.follow_settings(&facts);
        assert_eq!(rules(&advisor), [RuleId::LimiterDeep]);
    }

    #[test]
    fn at_most_three_notes_in_the_order_of_the_table() {
        let mut facts = deep(8.0);
        facts.pumping = 6.0;
        facts.true_peak = 0.5;
        facts.integrated = -8.0;
        facts.measured = 60.0;
        facts.source.flat_tops = 12;
        let mut advisor = Advisor::new();
        (0..20).for_each(|_| advisor.tick(&facts, 0.1));
        let notes = advisor.notes();
        assert_eq!(notes.len(), MAX_NOTES);
        assert_eq!(notes[0].rule, RuleId::PeakAboveDelivery);
        assert!(verdict(&facts).len() > MAX_NOTES);
        assert_eq!(verdict(&facts)[..MAX_NOTES], notes[..]);
    }
}

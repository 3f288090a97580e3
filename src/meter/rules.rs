//! The rules of advice in one table: the measured quantity, its threshold and the threshold's source,
//! the observation and the one action that would help.
//!
//! The order of the table is the order of importance. A rule applies from `applies_at` on and ends
//! at `ends_at`; whether high or low values apply follows from which of the two is higher. Names in
//! braces are filled in by [`figure`].

use super::facts::{Facts, SETTLED_S, distance_to_target, is_trimmed, largest_move};
use super::source::{FULL_SCALE_DBFS, LeadIn, OUT_OF_PHASE_CORRELATION, StereoImage};
use super::wording::figure;
use crate::numbers::number;

/// Marks a threshold that no document gives.
const PRACTICE: &str = "common practice, no source";
/// Marks a threshold of our own.
const OWN_GOAL: &str = "own goal";

/// Name of a rule.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RuleId {
    /// The end is cut while the sound is still loud.
    EndCutOff,
    /// The true peak is above the delivery's limit.
    PeakAboveDelivery,
    /// One channel of the source is silent.
    ChannelSilent,
    /// The source's channels cancel in mono.
    OutOfPhase,
    /// The source has clipped peaks.
    FlatTops,
    /// The source reaches full scale.
    FullScale,
    /// The source has little PLR left.
    TooDense,
    /// The reduction moves with the beat.
    Pumping,
    /// The limiter reduces much while active.
    LimiterDeep,
    /// The limiter is active most of the time.
    LimiterConstant,
    /// The soft clip takes much from the peaks.
    SoftClipDeep,
    /// The compressor reduces more than is gentle.
    CompressorDeep,
    /// The loudness is above the target.
    OverTarget,
    /// The loudness is below the target.
    UnderTarget,
    /// An EQ band moves more than mastering should.
    EqMoveTooLarge,
    /// An EQ band makes a large move.
    EqMoveLarge,
    /// The source has a DC offset.
    DcOffset,
    /// The lead-in is long.
    LeadInLong,
    /// The lead-in is short.
    LeadInShort,
    /// The source leaves little headroom.
    LittleHeadroom,
    /// The lead-in has audible noise.
    LeadInNoisy,
    /// Both channels of the source are the same.
    ChannelsIdentical,
}

/// One rule.
#[derive(Clone, Copy, Debug)]
pub struct Rule {
    /// Which rule it is.
    pub id: RuleId,
    /// What is measured, with its unit.
    pub quantity: &'static str,
    /// The rule applies from this value on.
    pub applies_at: f64,
    /// It no longer applies from this value back.
    pub ends_at: f64,
    /// Source of the threshold.
    pub source: &'static str,
    /// The quantity; `None` when it is unknown or another rule covers it.
    measure: fn(&Facts) -> Option<f64>,
    /// Decimals of `{value}`.
    decimals: usize,
    says: &'static str,
    advises: &'static str,
}

/// Direction of the level into the limiter that a note asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Direction {
    Up,
    Down,
}

impl RuleId {
    /// Its rule.
    pub fn rule(self) -> Option<&'static Rule> {
        RULES.iter().find(|rule| rule.id == self)
    }

    fn direction(self) -> Option<Direction> {
        match self {
            RuleId::UnderTarget => Some(Direction::Up),
            RuleId::OverTarget
            | RuleId::Pumping
            | RuleId::LimiterDeep
            | RuleId::LimiterConstant
            | RuleId::SoftClipDeep => Some(Direction::Down),
            _ => None,
        }
    }
}

/// The notes without those that ask for the opposite of a more important one.
pub fn without_contradictions(mut notes: Vec<AdviceNote>) -> Vec<AdviceNote> {
    let first = notes.iter().find_map(|note| note.rule.direction());
    notes.retain(|note| note.rule.direction().is_none_or(|direction| Some(direction) == first));
    notes
}

/// The table.
pub static RULES: [Rule; 22] = [
    Rule {
        id: RuleId::EndCutOff,
        quantity: "level of the last 10 ms of the file, dBFS",
        applies_at: -50.0,
        ends_at: -55.0,
        source: PRACTICE,
        measure: |f| f.file.end_level,
        decimals: 0,
        says: "The file ends before the sound has faded: its last 10 ms are at {value} dBFS.",
        advises: "Leave the end uncut, or fade it out.",
    },
    Rule {
        id: RuleId::PeakAboveDelivery,
        quantity: "highest true peak after the chain above the target's limit, dB",
        // Well inside the ±0.3 dB that R 128 allows a meter, above this meter's own ripple.
        applies_at: 0.1,
        ends_at: 0.05,
        source: "the target's limit; measuring tolerance: EBU R 128 v5, item m",
        measure: |f| f.true_peak.is_finite().then_some(f.true_peak - f.target.true_peak),
        decimals: 1,
        says: "The true peak reaches {peak} dBTP, {value} dB above the {limit} dBTP of the delivery.",
        advises: "Set the ceiling to {limit} dBTP, with true peak on.",
    },
    Rule {
        id: RuleId::ChannelSilent,
        quantity: "a channel below −80 dBFS while the other sounds, 0 or 1",
        applies_at: 1.0,
        ends_at: 0.0,
        source: PRACTICE,
        measure: |f| truth(f, matches!(f.source.image, StereoImage::LeftSilent | StereoImage::RightSilent)),
        decimals: 0,
        says: "The {silent} channel of the source is silent.",
        advises: "Check the export of the mix: was it meant to be mono?",
    },
    Rule {
        id: RuleId::OutOfPhase,
        quantity: "correlation of the source's channels, −1 to 1",
        applies_at: OUT_OF_PHASE_CORRELATION,
        ends_at: OUT_OF_PHASE_CORRELATION + 0.1,
        source: PRACTICE,
        measure: |f| f.source.correlation.filter(|_| f.source.seconds >= 3.0),
        decimals: 2,
        says: "The source's channels are out of phase: correlation {value}.",
        advises: "Invert the polarity of one channel in the mix; in mono the channels cancel.",
    },
    Rule {
        id: RuleId::FlatTops,
        quantity: "flat tops in the source, number",
        applies_at: 1.0,
        ends_at: 0.0,
        source: PRACTICE,
        measure: |f| Some(f.source.flat_tops as f64),
        decimals: 0,
        says: "Flat tops in the source: {value}, the longest of {longest} samples, the first at {first}.",
        advises: "Export the mix again {headroom} dB lower; a trim cannot restore clipped peaks.",
    },
    Rule {
        id: RuleId::FullScale,
        quantity: "sample peak of the source, dBFS",
        applies_at: FULL_SCALE_DBFS,
        ends_at: FULL_SCALE_DBFS - 0.1,
        source: PRACTICE,
        measure: |f| (!is_trimmed(f)).then_some(f.source.peak_db),
        decimals: 1,
        says: "The source reaches full scale: its peak is {value} dBFS.",
        advises: "{make headroom}",
    },
    Rule {
        id: RuleId::TooDense,
        quantity: "PLR of the source (true peak over integrated loudness), LU",
        applies_at: 9.0,
        ends_at: 9.5,
        source: PRACTICE,
        measure: |f| f.source_plr.filter(|_| f.measured >= SETTLED_S),
        decimals: 1,
        says: "The source is already dense: its PLR is only {value} LU.",
        advises: "Use less compression in the mix and export it again; little loudness can be gained here.",
    },
    Rule {
        id: RuleId::Pumping,
        quantity: "pumping: movement of the reduction at 0.5 to 8 Hz while music plays, dB",
        applies_at: 3.0,
        ends_at: 2.2,
        source: PRACTICE,
        measure: |f| Some(f.pumping),
        decimals: 1,
        says: "Pumping: the reduction moves by {value} dB with the beat.",
        advises: "{ease}",
    },
    Rule {
        id: RuleId::LimiterDeep,
        quantity: "mean of the limiter's deepest reductions while active, dB",
        applies_at: 4.0,
        ends_at: 3.0,
        source: PRACTICE,
        measure: |f| Some(f.limiter.depth).filter(|_| f.limiter.share >= 0.05),
        decimals: 1,
        says: "The limiter reduces by {value} dB on average while active, {share} % of the time.",
        advises: "{ease limiter}",
    },
    Rule {
        id: RuleId::LimiterConstant,
        quantity: "share of the time with music in which the limiter reduces by 1 dB or more, %",
        applies_at: 60.0,
        ends_at: 45.0,
        source: PRACTICE,
        measure: |f| Some(100.0 * f.limiter.share),
        decimals: 0,
        says: "The limiter is active {value} % of the time.",
        advises: "{ease limiter}",
    },
    Rule {
        id: RuleId::SoftClipDeep,
        quantity: "mean of the most that the soft clip takes while active, dB",
        applies_at: 4.0,
        ends_at: 3.0,
        source: OWN_GOAL,
        measure: |f| Some(f.clip.depth).filter(|_| f.clip.share >= 0.05),
        decimals: 1,
        says: "The curve takes {value} dB in {clip share} % of the time.",
        advises: "{ease clip}",
    },
    Rule {
        id: RuleId::CompressorDeep,
        quantity: "mean of the compressor's deepest reductions while active, dB",
        applies_at: 4.0,
        ends_at: 3.0,
        source: PRACTICE,
        measure: |f| Some(f.compressor.depth).filter(|_| f.compressor.share >= 0.05),
        decimals: 1,
        says: "The compressor reduces by {value} dB on average while active; 1 to 3 dB is gentle.",
        advises: "Raise its threshold by {compressor excess} dB.",
    },
    Rule {
        id: RuleId::OverTarget,
        quantity: "integrated loudness above the target's tolerance, LU",
        applies_at: 0.05,
        ends_at: -0.2,
        source: "the target's level and tolerance",
        measure: |f| distance_to_target(f).map(|d| d - f.target.tolerance),
        decimals: 1,
        says: "At {integrated} LUFS, a player that levels to {target} LUFS turns this down by {over} dB.",
        advises: "{to target}: played back it is as loud, with more of its peaks.",
    },
    Rule {
        id: RuleId::UnderTarget,
        quantity: "integrated loudness below the target's tolerance, LU",
        applies_at: 0.05,
        ends_at: -0.2,
        source: "the target's level and tolerance",
        measure: |f| distance_to_target(f).map(|d| -d - f.target.tolerance),
        decimals: 1,
        says: "At {integrated} LUFS it is {under} LU below {target} LUFS{permitted}.",
        advises: "{to target}, and watch the reduction.",
    },
    Rule {
        id: RuleId::EqMoveTooLarge,
        quantity: "largest gain of an EQ band, dB",
        applies_at: 5.01,
        ends_at: 5.0,
        source: PRACTICE,
        measure: |f| largest_move(f).map(|(_, band)| f64::from(band.gain.abs())),
        decimals: 1,
        says: "EQ band {band}, {gain} dB at {frequency}: that is a decision for the mix.",
        advises: "Go back to the mix and make the change there.",
    },
    Rule {
        id: RuleId::EqMoveLarge,
        quantity: "largest gain of an EQ band, dB",
        applies_at: 3.01,
        ends_at: 3.0,
        source: PRACTICE,
        measure: |f| largest_move(f).map(|(_, band)| f64::from(band.gain.abs())).filter(|&gain| gain <= 5.0),
        decimals: 1,
        says: "EQ band {band}, {gain} dB at {frequency}: a large move for a master.",
        advises: "Try half of it and compare at equal loudness.",
    },
    Rule {
        id: RuleId::DcOffset,
        quantity: "mean value of a channel of the source, % of full scale",
        applies_at: 0.1,
        ends_at: 0.08,
        source: PRACTICE,
        measure: |f| {
            let dc = f.source.dc[0].abs().max(f.source.dc[1].abs());
            (f.source.seconds >= 5.0).then_some(100.0 * dc)
        },
        decimals: 2,
        says: "The source has a DC offset of {value} % of full scale.",
        advises: "Set a low cut at 20 Hz.",
    },
    Rule {
        id: RuleId::LeadInLong,
        quantity: "time before the first sound of the file, s",
        applies_at: 1.5,
        ends_at: 1.2,
        source: PRACTICE,
        measure: |f| f.file.lead_in,
        decimals: 1,
        says: "The first sound comes {value} s after the start of the file.",
        advises: "Cut the start to about {lead in} s of silence.",
    },
    Rule {
        id: RuleId::LeadInShort,
        quantity: "time before the first sound of the file, s",
        applies_at: 0.02,
        ends_at: 0.03,
        source: PRACTICE,
        measure: |f| f.file.lead_in,
        decimals: 3,
        says: "The first sound comes {value} s after the start: players that fade in may cut it.",
        advises: "Leave about {lead in} s of silence before it.",
    },
    Rule {
        id: RuleId::LittleHeadroom,
        quantity: "true peak of the source below full scale, dB",
        applies_at: 1.0,
        ends_at: 1.5,
        source: PRACTICE,
        measure: |f| {
            // Without the compressor trim and drive are one gain: the trim would change nothing.
            let known =
                f.settings.compressor.on && f.source.headroom_db.is_finite() && f.source.seconds > 0.0;
            (known && f.source.peak_db < FULL_SCALE_DBFS && !is_trimmed(f)).then_some(f.source.headroom_db)
        },
        decimals: 1,
        says: "The source leaves {value} dB of headroom.",
        advises: "{make headroom}",
    },
    Rule {
        id: RuleId::LeadInNoisy,
        quantity: "noise of the source's lead-in, root mean square, dBFS",
        applies_at: -60.0,
        ends_at: -63.0,
        source: PRACTICE,
        measure: |f| match f.source.lead_in {
            LeadIn::Noise { floor_db, .. } => Some(floor_db),
            _ => None,
        },
        decimals: 0,
        says: "The lead-in has noise at {value} dBFS; drive raises it.",
        advises: "Fade the lead-in, or reduce its noise in the mix.",
    },
    Rule {
        id: RuleId::ChannelsIdentical,
        quantity: "both channels of the source equal, 0 or 1",
        applies_at: 1.0,
        ends_at: 0.0,
        source: PRACTICE,
        measure: |f| truth(f, f.source.image == StereoImage::Identical),
        decimals: 0,
        says: "Both channels of the source are identical: it is mono.",
        advises: "If it should be stereo, check the export of the mix.",
    },
];

/// What a rule says about the facts.
#[derive(Clone, Debug, PartialEq)]
pub struct AdviceNote {
    /// The rule that applies.
    pub rule: RuleId,
    /// The observation, with its figure.
    pub says: String,
    /// The one action that would help.
    pub advises: String,
    /// The measured quantity, in the rule's unit.
    pub value: f64,
    /// Times in seconds at which it occurs, if it has any.
    pub at: Vec<f64>,
}

impl Rule {
    /// The measured quantity.
    pub fn value(&self, facts: &Facts) -> Option<f64> {
        (self.measure)(facts).filter(|value| !value.is_nan())
    }

    /// The threshold and where it is from, as a sentence.
    pub fn basis(&self) -> String {
        match self.quantity.strip_suffix(", 0 or 1") {
            Some(quantity) => format!("Shown for: {quantity} ({}).", self.source),
            None => format!("Threshold: {} ({}), {}.", shortest(self.applies_at), self.quantity, self.source),
        }
    }

    /// Whether the rule applies at a value.
    pub fn applies(&self, value: f64) -> bool {
        if self.applies_at > self.ends_at { value >= self.applies_at } else { value <= self.applies_at }
    }

    /// Whether a value ends a rule that applies.
    pub fn ends(&self, value: f64) -> bool {
        if self.applies_at > self.ends_at { value <= self.ends_at } else { value >= self.ends_at }
    }

    /// The note on these facts.
    pub fn note(&self, facts: &Facts, value: f64) -> AdviceNote {
        let fill = |template: &str| {
            let mut text = String::with_capacity(template.len() + 16);
            let mut rest = template;
            while let Some((before, after)) = rest.split_once('{') {
                let (name, after) = after.split_once('}').unwrap_or((after, ""));
                text.push_str(before);
                text.push_str(&match name {
                    "value" => number(value, self.decimals),
                    _ => figure(name, facts).unwrap_or_default(),
                });
                rest = after;
            }
            text + rest
        };
        let at = match self.id {
            RuleId::FlatTops => facts.source.flat_top_at.clone(),
            RuleId::FullScale => facts.source.full_scale_at.into_iter().collect(),
            _ => Vec::new(),
        };
        AdviceNote { rule: self.id, says: fill(self.says), advises: fill(self.advises), value, at }
    }
}

/// With as many decimals as the number has.
fn shortest(x: f64) -> String {
    let digits = x.to_string();
    number(x, digits.split_once('.').map_or(0, |(_, decimals)| decimals.len()))
}

fn truth(facts: &Facts, is: bool) -> Option<f64> {
    (facts.source.image != StereoImage::Unknown).then_some(f64::from(u8::from(is)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_name_in_the_table_is_known_and_every_rule_is_complete() {
        for rule in &RULES {
            for template in [rule.says, rule.advises] {
                for name in template.split('{').skip(1).map(|part| part.split_once('}').unwrap().0) {
                    assert!(name == "value" || figure(name, &Facts::default()).is_some(), "{name}");
                }
            }
            assert_ne!(rule.applies_at, rule.ends_at, "{:?} could flicker", rule.id);
            assert!(!rule.source.is_empty() && !rule.quantity.is_empty());
            assert!(rule.basis().matches(rule.source).count() == 1, "{}", rule.basis());
        }
    }
}

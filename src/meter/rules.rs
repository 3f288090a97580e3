//! The rules of advice in one table: what is measured, from where on something is said, where that
//! threshold comes from, the sentence and the one move that would help.
//!
//! The order of the table is the order of importance. A rule speaks when its quantity passes
//! `speaks_at` and falls silent when it has come back past `silent_at`; whether high or low values
//! speak follows from which of the two is higher. Names in braces are filled in by [`figure`].

use super::advice::{AdviceNote, Facts};
use super::source::{FULL_SCALE, Image, LeadIn, OUT_OF_PHASE};
use super::wording::{figure, number};
use crate::settings::{BandKind, BandSettings};

/// Seconds of silence that a file should have before its first sound: players that fade in would
/// swallow an attack at the very start. Common practice, no source.
pub const LEAD_IN: f64 = 0.8;
/// Seconds of sound before loudness is judged.
const SETTLED: f64 = 10.0;
/// Marks a threshold that no document gives.
const PRACTICE: &str = "common practice, no source";

/// Name of a rule.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RuleId {
    EndCutOff,
    PeakAboveDelivery,
    ChannelSilent,
    OutOfPhase,
    FlatTops,
    FullScale,
    TooDense,
    Pumping,
    LimiterDeep,
    LimiterConstant,
    CompressorDeep,
    OverTarget,
    UnderTarget,
    EqMoveTooLarge,
    EqMoveLarge,
    DcOffset,
    LeadInLong,
    LeadInShort,
    LittleHeadroom,
    LeadInNoisy,
    ChannelsIdentical,
}

/// One rule.
#[derive(Clone, Copy, Debug)]
pub struct Rule {
    pub id: RuleId,
    /// What is measured, with its unit.
    pub quantity: &'static str,
    /// From here on it is said.
    pub speaks_at: f64,
    /// From here back it is no longer said.
    pub silent_at: f64,
    /// SourceReport of the threshold.
    pub source: &'static str,
    /// The quantity; `None` when it is not known, or another rule says it better.
    measure: fn(&Facts) -> Option<f64>,
    /// Decimals of `{value}`.
    decimals: usize,
    says: &'static str,
    advises: &'static str,
}

/// The table.
pub static RULES: [Rule; 21] = [
    Rule {
        id: RuleId::EndCutOff,
        quantity: "level of the last 10 ms of the file, dBFS",
        speaks_at: -50.0,
        silent_at: -55.0,
        source: PRACTICE,
        measure: |f| f.file.end_level,
        decimals: 0,
        says: "The file ends while it still sounds, at {value} dBFS.",
        advises: "Let it ring out, or fade the end.",
    },
    Rule {
        id: RuleId::PeakAboveDelivery,
        quantity: "highest true peak after the chain above the target's limit, dB",
        // Well inside the ±0.3 dB that R 128 allows a meter, above this meter's own ripple.
        speaks_at: 0.1,
        silent_at: 0.05,
        source: "the target's limit; measuring tolerance: EBU R 128 v5, item m",
        measure: |f| f.true_peak.is_finite().then_some(f.true_peak - f.target.true_peak),
        decimals: 1,
        says: "The true peak reaches {peak} dBTP, {value} dB above the {limit} dBTP of the delivery.",
        advises: "Set the ceiling to {limit} dBTP, with true peak on.",
    },
    Rule {
        id: RuleId::ChannelSilent,
        quantity: "a channel below −80 dBFS while the other sounds, 0 or 1",
        speaks_at: 1.0,
        silent_at: 0.0,
        source: PRACTICE,
        measure: |f| truth(f, matches!(f.source.image, Image::LeftSilent | Image::RightSilent)),
        decimals: 0,
        says: "The {silent} channel of the source is silent.",
        advises: "Look at the bounce: was it meant to be mono?",
    },
    Rule {
        id: RuleId::OutOfPhase,
        quantity: "correlation of the source's channels, −1 to 1",
        speaks_at: OUT_OF_PHASE,
        silent_at: OUT_OF_PHASE + 0.1,
        source: PRACTICE,
        measure: |f| f.source.correlation.filter(|_| f.source.seconds >= 3.0),
        decimals: 2,
        says: "The source's channels work against each other: correlation {value}.",
        advises: "Turn the polarity of one channel round in the mix; in mono much of it is lost.",
    },
    Rule {
        id: RuleId::FlatTops,
        quantity: "flat tops in the source, number",
        speaks_at: 1.0,
        silent_at: 0.0,
        source: PRACTICE,
        measure: |f| Some(f.source.flat_tops as f64),
        decimals: 0,
        says: "Flat tops in the source: {value}, the longest of {longest} samples, the first at {first}.",
        advises: "Bounce the mix again {headroom} dB lower; a trim cannot bring the tops back.",
    },
    Rule {
        id: RuleId::FullScale,
        quantity: "sample peak of the source, dBFS",
        speaks_at: FULL_SCALE,
        silent_at: FULL_SCALE - 0.1,
        source: PRACTICE,
        measure: |f| (!is_trimmed(f)).then_some(f.source.peak_db),
        decimals: 1,
        says: "The source is bounced at full scale: its peak is {value} dBFS.",
        advises: "Trim by {trim} dB: that leaves the stages room.",
    },
    Rule {
        id: RuleId::TooDense,
        quantity: "true peak over integrated loudness of the source, dB",
        speaks_at: 9.0,
        silent_at: 9.5,
        source: PRACTICE,
        measure: |f| f.source_peak_to_loudness.filter(|_| f.measured >= SETTLED),
        decimals: 1,
        says: "The source is dense already: its peaks stand only {value} dB above its loudness.",
        advises: "Ease the compression in the mix and bounce again; here little can be gained.",
    },
    Rule {
        id: RuleId::Pumping,
        quantity: "swing of the reduction at 0.5 to 8 Hz while music plays, dB",
        speaks_at: 3.0,
        silent_at: 2.2,
        source: PRACTICE,
        measure: |f| Some(f.swing),
        decimals: 1,
        says: "The reduction swings by {value} dB with the beat: the music pumps.",
        advises: "{ease}",
    },
    Rule {
        id: RuleId::LimiterDeep,
        quantity: "mean of the ceiling's deepest reductions while it works, dB",
        speaks_at: 4.0,
        silent_at: 3.0,
        source: PRACTICE,
        measure: |f| Some(f.limiter.depth).filter(|_| f.limiter.share >= 0.05),
        decimals: 1,
        says: "The ceiling takes {value} dB away where it works, {share} % of the time.",
        advises: "{ease ceiling}",
    },
    Rule {
        id: RuleId::LimiterConstant,
        quantity: "share of the time with music in which the ceiling takes 1 dB or more, %",
        speaks_at: 60.0,
        silent_at: 45.0,
        source: PRACTICE,
        measure: |f| Some(100.0 * f.limiter.share),
        decimals: 0,
        says: "The ceiling hardly rests: it works {value} % of the time.",
        advises: "{ease ceiling}",
    },
    Rule {
        id: RuleId::CompressorDeep,
        quantity: "mean of the compressor's deepest reductions while it works, dB",
        speaks_at: 4.0,
        silent_at: 3.0,
        source: PRACTICE,
        measure: |f| Some(f.compressor.depth).filter(|_| f.compressor.share >= 0.05),
        decimals: 1,
        says: "The compressor takes {value} dB away where it works; 1 to 3 dB is gentle.",
        advises: "Raise its threshold by {compressor excess} dB.",
    },
    Rule {
        id: RuleId::OverTarget,
        quantity: "integrated loudness above the target's tolerance, LU",
        speaks_at: 0.05,
        silent_at: -0.2,
        source: "the target's level and tolerance",
        measure: |f| distance(f).map(|d| d - f.target.tolerance),
        decimals: 1,
        says: "At {integrated} LUFS, a player that levels to {target} LUFS turns this down by {over} dB.",
        advises: "Lower the drive by {over} dB: there it sounds as loud, with more of its peaks.",
    },
    Rule {
        id: RuleId::UnderTarget,
        quantity: "integrated loudness below the target's tolerance, LU",
        speaks_at: 0.05,
        silent_at: -0.2,
        source: "the target's level and tolerance",
        measure: |f| distance(f).map(|d| -d - f.target.tolerance),
        decimals: 1,
        says: "At {integrated} LUFS, {under} dB up to {target} LUFS are unused; true peaks permit {usable} dB of them.",
        advises: "Raise the drive by {under} dB and watch the reduction.",
    },
    Rule {
        id: RuleId::EqMoveTooLarge,
        quantity: "largest move of a EQ band, dB",
        speaks_at: 5.01,
        silent_at: 5.0,
        source: PRACTICE,
        measure: |f| largest_move(f).map(|(_, band)| f64::from(band.gain.abs())),
        decimals: 1,
        says: "Band {band} moves {gain} dB at {frequency}: that is a decision for the mix.",
        advises: "Go back to the mix and make the change there.",
    },
    Rule {
        id: RuleId::EqMoveLarge,
        quantity: "largest move of a EQ band, dB",
        speaks_at: 3.01,
        silent_at: 3.0,
        source: PRACTICE,
        measure: |f| largest_move(f).map(|(_, band)| f64::from(band.gain.abs())).filter(|&gain| gain <= 5.0),
        decimals: 1,
        says: "Band {band} moves {gain} dB at {frequency}: much for a master.",
        advises: "Try half of it and compare at equal loudness.",
    },
    Rule {
        id: RuleId::DcOffset,
        quantity: "mean value of a channel of the source, % of full scale",
        speaks_at: 0.1,
        silent_at: 0.08,
        source: PRACTICE,
        measure: |f| {
            let dc = f.source.dc[0].abs().max(f.source.dc[1].abs());
            (f.source.seconds >= 5.0).then_some(100.0 * dc)
        },
        decimals: 2,
        says: "The source carries a DC offset of {value} % of full scale.",
        advises: "Set a low cut at 20 Hz.",
    },
    Rule {
        id: RuleId::LeadInLong,
        quantity: "time before the first sound of the file, s",
        speaks_at: 1.5,
        silent_at: 1.2,
        source: PRACTICE,
        measure: |f| f.file.lead_in,
        decimals: 1,
        says: "The first sound comes {value} s after the start of the file.",
        advises: "Trim the start to about {lead in} s.",
    },
    Rule {
        id: RuleId::LeadInShort,
        quantity: "time before the first sound of the file, s",
        speaks_at: 0.02,
        silent_at: 0.03,
        source: PRACTICE,
        measure: |f| f.file.lead_in,
        decimals: 3,
        says: "The first sound comes {value} s after the start: a player may swallow it.",
        advises: "Leave about {lead in} s before it.",
    },
    Rule {
        id: RuleId::LittleHeadroom,
        quantity: "true peak of the source below full scale, dB",
        speaks_at: 1.0,
        silent_at: 1.5,
        source: PRACTICE,
        measure: |f| {
            let known = f.source.headroom_db.is_finite() && f.source.seconds > 0.0;
            (known && f.source.peak_db < FULL_SCALE && !is_trimmed(f)).then_some(f.source.headroom_db)
        },
        decimals: 1,
        says: "The source leaves {value} dB of headroom.",
        advises: "Trim by {trim} dB: that leaves the stages room.",
    },
    Rule {
        id: RuleId::LeadInNoisy,
        quantity: "noise of the source's lead-in, root mean square, dBFS",
        speaks_at: -60.0,
        silent_at: -63.0,
        source: PRACTICE,
        measure: |f| match f.source.lead_in {
            LeadIn::Noise { floor_db, .. } => Some(floor_db),
            _ => None,
        },
        decimals: 0,
        says: "The lead-in carries noise at {value} dBFS; it rises with the drive.",
        advises: "Fade the lead-in, or quieten it in the mix.",
    },
    Rule {
        id: RuleId::ChannelsIdentical,
        quantity: "both channels of the source equal, 0 or 1",
        speaks_at: 1.0,
        silent_at: 0.0,
        source: PRACTICE,
        measure: |f| truth(f, f.source.image == Image::Identical),
        decimals: 0,
        says: "Both channels of the source are the same: it is mono.",
        advises: "If it should be stereo, look at the bounce.",
    },
];

impl Rule {
    /// The measured quantity.
    pub fn value(&self, facts: &Facts) -> Option<f64> {
        (self.measure)(facts).filter(|value| !value.is_nan())
    }

    /// Whether a value is to be spoken of.
    pub fn speaks(&self, value: f64) -> bool {
        if self.speaks_at > self.silent_at { value >= self.speaks_at } else { value <= self.speaks_at }
    }

    /// Whether a value ends the speaking.
    pub fn is_settled(&self, value: f64) -> bool {
        if self.speaks_at > self.silent_at { value <= self.silent_at } else { value >= self.silent_at }
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

fn truth(facts: &Facts, is: bool) -> Option<f64> {
    (facts.source.image != Image::Unknown).then_some(f64::from(u8::from(is)))
}

/// The trim that the source asks for is already set.
fn is_trimmed(facts: &Facts) -> bool {
    let input = &facts.settings.input;
    input.trim_on && f64::from(input.trim) <= facts.source.trim_db + 0.5 && facts.source.trim_db < 0.0
}

/// Integrated loudness over the target, LU, once it can be judged.
fn distance(facts: &Facts) -> Option<f64> {
    (facts.measured >= SETTLED && facts.integrated.is_finite())
        .then_some(facts.integrated - facts.target.loudness)
}

/// The EQ band that moves furthest, counted from 0.
pub fn largest_move(facts: &Facts) -> Option<(usize, &BandSettings)> {
    let eq = &facts.settings.eq;
    let has_gain = |kind| matches!(kind, BandKind::LowShelf | BandKind::Bell | BandKind::HighShelf);
    let bands = eq.bands.iter().enumerate().filter(|(_, band)| eq.on && band.on && has_gain(band.kind));
    bands.max_by(|(_, a), (_, b)| a.gain.abs().total_cmp(&b.gain.abs()))
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
            assert_ne!(rule.speaks_at, rule.silent_at, "{:?} could flicker", rule.id);
            assert!(!rule.source.is_empty() && !rule.quantity.is_empty());
        }
    }
}

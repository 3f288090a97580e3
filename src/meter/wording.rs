//! The named figures in the texts of the rules: facts in, short texts out.

use super::facts::{Facts, LEAD_IN_S, largest_move};
use super::source::{HEADROOM_DB, StereoImage};
use crate::numbers::{clock_tenths, number, signed};
use crate::params;

/// `excess` in dB, rounded to half decibels, at least one half.
fn step(excess: f64) -> f64 {
    ((excess * 2.0).round() / 2.0).max(0.5)
}

/// Changes below this are not asked for, dB.
const SMALLEST_DB: f64 = 0.05;

/// The action that changes the level into the limiter by `by` dB: by the drive as far as it goes, then by
/// the trim, then in the mix. Without a full stop.
fn change_level(facts: &Facts, by: f64) -> String {
    let settings = &facts.settings;
    let up = by > 0.0;
    let room = |id: &str| {
        let Some(param) = params::find(id) else { return 0.0 };
        let ((low, high), value) = (param.range(), param.get(settings));
        f64::from(if up { high - value } else { value - low }).max(0.0)
    };
    let mut rest = by.abs();
    let mut parts = Vec::new();
    for (id, in_effect) in [("drive", true), ("trim", settings.input.trim_on)] {
        let part = rest.min(if in_effect { room(id) } else { 0.0 });
        if part >= SMALLEST_DB {
            parts.push(format!("the {id} by {} dB", number(part, 1)));
            rest -= part;
        }
    }
    if rest >= SMALLEST_DB {
        parts.push(format!("the level of the mix by {} dB", number(rest, 1)));
    }
    let verb = if up { "Raise" } else { "Lower" };
    format!("{verb} {}", parts.join(" and "))
}

/// The action that reduces the limiter's work by `excess` dB.
fn ease_limiter(facts: &Facts, excess: f64) -> String {
    change_level(facts, -step(excess)) + "."
}

/// The action that leads to the target: the forecast of the drive, or without one the difference.
fn to_target(facts: &Facts) -> String {
    let difference = facts.target.loudness - facts.integrated;
    // A forecast to the other side would contradict the observation.
    let forecast = facts.drive_move.filter(|by| by.signum() == difference.signum());
    change_level(facts, forecast.unwrap_or(difference))
}

/// How far true peaks permit more gain, where the limiter has not limited them yet.
fn permitted(facts: &Facts) -> String {
    let room = (facts.target.true_peak - facts.true_peak).min(facts.target.loudness - facts.integrated);
    let unlimited = facts.limiter.most < SMALLEST_DB && facts.clip.most < SMALLEST_DB;
    if unlimited && room >= SMALLEST_DB {
        format!("; true peaks permit {} dB of gain", number(room, 1))
    } else {
        String::new()
    }
}

/// What to do about a source without headroom. The trim matters to the compressor's threshold only: drive
/// after trim is one gain, and the samples are not limited before the limiter.
fn make_headroom(facts: &Facts) -> String {
    if facts.settings.compressor.on {
        format!("Set trim to {} dB: that leaves headroom for the stages.", number(facts.source.trim_db, 1))
    } else {
        format!("Listen for clipped peaks, and leave {} dB in the next export.", number(HEADROOM_DB, 0))
    }
}

/// The text for a name in braces; `None` for a name that no one knows.
pub fn figure(name: &str, f: &Facts) -> Option<String> {
    let over = f.integrated - f.target.loudness;
    Some(match name {
        "peak" => number(f.true_peak, 1),
        "limit" => number(f.target.true_peak, 1),
        "silent" => if f.source.image == StereoImage::LeftSilent { "left" } else { "right" }.into(),
        "longest" => f.source.flat_top_longest.to_string(),
        "first" => clock_tenths(f.source.flat_top_at.first().copied().unwrap_or(0.0)),
        "headroom" => number(HEADROOM_DB, 0),
        "lead in" => number(LEAD_IN_S, 1),
        "trim" => number(f.source.trim_db, 1),
        "share" => number(100.0 * f.limiter.share, 0),
        "clip share" => number(100.0 * f.clip.share, 0),
        "ease clip" => ease_limiter(f, (f.clip.depth - 2.0).max(1.0)),
        "ease limiter" => ease_limiter(f, (f.limiter.depth - 2.0).max(1.0)),
        "ease" if f.compressor.depth > f.limiter.depth => "Lengthen the compressor's release.".into(),
        "ease" => ease_limiter(f, (f.pumping - 2.0).max(1.0)),
        "compressor excess" => number(step(f.compressor.depth - 2.0), 1),
        "integrated" => number(f.integrated, 1),
        "target" => number(f.target.loudness, 0),
        "over" => number(over, 1),
        "under" => number(-over, 1),
        "permitted" => permitted(f),
        "to target" => to_target(f),
        "make headroom" => make_headroom(f),
        "band" => (largest_move(f)?.0 + 1).to_string(),
        "gain" => signed(f64::from(largest_move(f)?.1.gain), 1),
        "frequency" => {
            let hertz = f64::from(largest_move(f)?.1.freq);
            if hertz < 1000.0 {
                format!("{} Hz", number(hertz, 0))
            } else {
                format!("{} kHz", number(hertz / 1000.0, 1))
            }
        }
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_the_drive_cannot_do_the_trim_does_and_then_the_mix() {
        let with = |drive: f32, trim: f32, by: f64| {
            let mut facts = Facts::default();
            (facts.settings.limiter.drive, facts.settings.input.trim) = (drive, trim);
            change_level(&facts, by)
        };
        assert_eq!(with(6.0, 0.0, -4.0), "Lower the drive by 4.0 dB");
        assert_eq!(with(1.5, 0.0, -4.0), "Lower the drive by 1.5 dB and the trim by 2.5 dB");
        assert_eq!(with(0.0, -3.0, -4.0), "Lower the trim by 4.0 dB");
        assert_eq!(with(22.0, 0.0, 6.0), "Raise the drive by 2.0 dB and the trim by 4.0 dB");
        assert_eq!(with(24.0, 10.0, 6.0), "Raise the trim by 2.0 dB and the level of the mix by 4.0 dB");
        let mut trim_off = Facts::default();
        trim_off.settings.input.trim_on = false;
        assert_eq!(change_level(&trim_off, -3.0), "Lower the level of the mix by 3.0 dB");
    }

    #[test]
    fn permitted_gain_is_not_said_of_a_limited_signal() {
        let mut facts = Facts { integrated: -20.0, true_peak: -6.0, ..Facts::default() };
        assert_eq!(permitted(&facts), "; true peaks permit 5.0 dB of gain");
        facts.limiter.most = 2.0;
        assert_eq!(permitted(&facts), "");
    }
}

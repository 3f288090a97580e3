//! The named figures in the texts of the rules: facts in, short texts out.

use super::facts::{Facts, LEAD_IN_S, largest_move};
use super::source::{HEADROOM_DB, StereoImage};
use crate::numbers::{clock_tenths, number, signed};

/// `excess` in dB, rounded to half decibels, at least one half.
fn step(excess: f64) -> f64 {
    ((excess * 2.0).round() / 2.0).max(0.5)
}

/// The action that reduces the limiter's work by `excess` dB.
fn ease_limiter(facts: &Facts, excess: f64) -> String {
    let drive = f64::from(facts.settings.limiter.drive);
    let what = if drive > 0.0 { "drive" } else { "trim" };
    let by = if drive > 0.0 { step(excess).min(drive) } else { step(excess) };
    format!("Lower the {what} by {} dB.", number(by, 1))
}

/// The text for a name in braces; `None` for a name that no one knows.
pub fn figure(name: &str, f: &Facts) -> Option<String> {
    let over = f.integrated - f.target.loudness;
    let room = f.target.true_peak - f.true_peak;
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
        "usable" => number(room.min(-over).max(0.0), 1),
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
    fn the_drive_is_lowered_to_0_db_at_most() {
        let mut facts = Facts::default();
        facts.settings.limiter.drive = 1.5;
        assert_eq!(ease_limiter(&facts, 4.0), "Lower the drive by 1.5 dB.");
        facts.settings.limiter.drive = 0.0;
        assert_eq!(ease_limiter(&facts, 4.1), "Lower the trim by 4.0 dB.");
    }
}

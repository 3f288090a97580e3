//! Figures as people read them: numbers in, short texts with true minus signs out.

use super::advice::Facts;
use super::rules::{LEAD_IN, largest_move};
use super::source::{HEADROOM, Image};

/// A figure with a true minus sign.
pub fn number(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    // What rounds to zero has no sign.
    if text.bytes().all(|b| matches!(b, b'-' | b'0' | b'.')) {
        return text.replace('-', "");
    }
    text.replace('-', "−")
}

/// Minutes and seconds.
fn clock(seconds: f64) -> String {
    let tenths = (seconds * 10.0).floor() as u64;
    format!("{}:{:02}.{}", tenths / 600, tenths / 10 % 60, tenths % 10)
}

/// Half steps of a dB, at least one.
fn step(excess: f64) -> f64 {
    ((excess * 2.0).round() / 2.0).max(0.5)
}

/// The move that gives the ceiling less to do.
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
        "silent" => if f.source.image == Image::LeftSilent { "left" } else { "right" }.into(),
        "longest" => f.source.flat_top_longest.to_string(),
        "first" => clock(f.source.flat_top_at.first().copied().unwrap_or(0.0)),
        "headroom" => number(HEADROOM, 0),
        "lead in" => number(LEAD_IN, 1),
        "trim" => number(f.source.trim_db, 1),
        "share" => number(100.0 * f.limiter.share, 0),
        "ease ceiling" => ease_limiter(f, (f.limiter.depth - 2.0).max(1.0)),
        "ease" if f.compressor.depth > f.limiter.depth => "Lengthen the compressor's release.".into(),
        "ease" => ease_limiter(f, (f.swing - 2.0).max(1.0)),
        "compressor excess" => number(step(f.compressor.depth - 2.0), 1),
        "integrated" => number(f.integrated, 1),
        "target" => number(f.target.loudness, 0),
        "over" => number(over, 1),
        "under" => number(-over, 1),
        "usable" => number(room.min(-over).max(0.0), 1),
        "band" => (largest_move(f)?.0 + 1).to_string(),
        "gain" => {
            let gain = f64::from(largest_move(f)?.1.gain);
            format!("{}{}", if gain > 0.0 { "+" } else { "" }, number(gain, 1))
        }
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
    fn numbers_are_written_for_people() {
        assert_eq!(number(-13.04, 1), "−13.0");
        assert_eq!(number(-0.04, 1), "0.0");
        assert_eq!(clock(75.49), "1:15.4");
    }

    #[test]
    fn the_drive_is_lowered_by_no_more_than_it_has() {
        let mut facts = Facts::default();
        facts.settings.limiter.drive = 1.5;
        assert_eq!(ease_limiter(&facts, 4.0), "Lower the drive by 1.5 dB.");
        facts.settings.limiter.drive = 0.0;
        assert_eq!(ease_limiter(&facts, 4.1), "Lower the trim by 4.0 dB.");
    }
}

//! Numbers and times as people read them: values in, short texts with a true minus sign (U+2212)
//! out. Used by the screen, the reports and the command line, so that all of them write alike.

/// What stands for a value that does not exist.
pub const NONE: &str = "–";

/// `value` with `decimals` digits after the point, a true minus sign, no sign on what rounds to
/// zero, and [`NONE`] for what is not finite.
pub fn number(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        return NONE.to_owned();
    }
    let text = format!("{value:.decimals$}");
    let is_zero = text.bytes().all(|b| matches!(b, b'-' | b'0' | b'.'));
    if is_zero { text.replace('-', "") } else { text.replace('-', "\u{2212}") }
}

/// [`number`] with a plus sign on what rounds to more than zero.
pub fn signed(value: f64, decimals: usize) -> String {
    let text = number(value, decimals);
    let is_positive = value > 0.0 && text.bytes().any(|b| matches!(b, b'1'..=b'9'));
    if is_positive { format!("+{text}") } else { text }
}

/// `value` with at most `decimals` digits after the point and no trailing zeros: for axes.
pub fn shortest(value: f64, decimals: usize) -> String {
    let text = number(value, decimals);
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// A time in seconds as "1:04" or "1:02:03", rounded to the nearest second.
pub fn clock(seconds: f64) -> String {
    let whole = seconds.abs().round() as u64;
    let sign = if seconds < 0.0 && whole > 0 { "\u{2212}" } else { "" };
    format!("{sign}{}", hours_minutes_seconds(whole))
}

/// A time in seconds as "1:04.2", cut (not rounded) to tenths; negative times read as 0.
pub fn clock_tenths(seconds: f64) -> String {
    let tenths = (seconds.max(0.0) * 10.0).floor() as u64;
    format!("{}.{}", hours_minutes_seconds(tenths / 10), tenths % 10)
}

fn hours_minutes_seconds(seconds: u64) -> String {
    match seconds / 3600 {
        0 => format!("{}:{:02}", seconds / 60, seconds % 60),
        hours => format!("{hours}:{:02}:{:02}", seconds / 60 % 60, seconds % 60),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn minus_signs_are_true_and_zero_has_none() {
        assert_eq!(number(-14.06, 1), "\u{2212}14.1");
        assert_eq!(number(-0.04, 1), "0.0");
        assert_eq!(number(-0.0, 0), "0");
        assert_eq!(number(f64::NEG_INFINITY, 1), NONE);
        assert_eq!(number(f64::NAN, 1), NONE);
    }

    #[test]
    fn a_plus_sign_stands_only_before_what_is_more_than_zero() {
        assert_eq!(
            [1.25, 0.0, 0.04, -0.04, -3.0].map(|v| signed(v, 1)),
            ["+1.2", "0.0", "0.0", "0.0", "\u{2212}3.0"]
        );
    }

    #[test]
    fn axes_have_no_needless_zeros() {
        assert_eq!([10.0, 0.5, -0.25, 0.0].map(|v| shortest(v, 2)), ["10", "0.5", "\u{2212}0.25", "0"]);
    }

    #[test]
    fn times_count_hours_only_where_there_are_any() {
        assert_eq!([64.2, 3723.0, -1.0, -0.2].map(clock), ["1:04", "1:02:03", "\u{2212}0:01", "0:00"]);
        assert_eq!([64.29, 3723.05, -1.0].map(clock_tenths), ["1:04.2", "1:02:03.0", "0:00.0"]);
    }
}

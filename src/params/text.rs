//! Conversion of values to and from text with units: "−1.0 dBTP", "2.0 : 1", "120 ms", "1.20 kHz".

use super::{Kind, Param, Unit};

/// Why a text is not a value of a parameter; displayed as one line: what, where, what to do.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ParamTextError {
    /// The text is not a number with the parameter's unit.
    #[error("{id}: \"{text}\" is not a number; write for example \"{example}\"")]
    NotANumber {
        /// The parameter.
        id: &'static str,
        /// As typed.
        text: String,
        /// The default as text.
        example: String,
    },
    /// The number is outside the range.
    #[error("{id}: {text} is outside {min} to {max}")]
    OutOfRange {
        /// The parameter.
        id: &'static str,
        /// As typed.
        text: String,
        /// Smallest value as text.
        min: String,
        /// Largest value as text.
        max: String,
    },
    /// The text is not one of the choices.
    #[error("{id}: \"{text}\" is none of: {choices}")]
    NotAChoice {
        /// The parameter.
        id: &'static str,
        /// As typed.
        text: String,
        /// The accepted words.
        choices: String,
    },
}

impl Param {
    /// The value as text, with unit and true minus sign.
    pub fn text(&self, value: f32) -> String {
        match self.kind {
            Kind::Switch => if value >= 0.5 { "on" } else { "off" }.to_owned(),
            Kind::Choice(words) => words[(value.max(0.0).round() as usize).min(words.len() - 1)].to_owned(),
            Kind::Number { unit, .. } => number(value, unit),
        }
    }

    /// Reads a text: the unit may be left out, any minus sign and a decimal point or comma will do, case does
    /// not matter; a frequency may have "k" in place of the point (3k4 = 3400 Hz).
    /// Values outside the range are refused.
    pub fn parse(&self, text: &str) -> Result<f32, ParamTextError> {
        let value = self.parse_any(text)?;
        let (min, max) = self.range();
        // What a person types is rounded; the range's own ends must stay reachable.
        let slack = (max - min) * 1e-4;
        if value < min - slack || value > max + slack {
            let (min, max) = (self.text(min), self.text(max));
            return Err(ParamTextError::OutOfRange { id: self.id, text: shown(text), min, max });
        }
        Ok(value.clamp(min, max))
    }

    fn parse_any(&self, text: &str) -> Result<f32, ParamTextError> {
        let plain = text.trim().to_lowercase();
        match self.kind {
            Kind::Switch => match plain.as_str() {
                "on" | "yes" | "true" | "1" => Ok(1.0),
                "off" | "no" | "false" | "0" => Ok(0.0),
                _ => Err(self.no_choice(text, "on, off")),
            },
            Kind::Choice(words) => words
                .iter()
                .position(|word| word.eq_ignore_ascii_case(&plain))
                .map(|index| index as f32)
                .ok_or_else(|| self.no_choice(text, &words.join(", "))),
            Kind::Number { unit, .. } => {
                read_number(&plain, unit).ok_or_else(|| ParamTextError::NotANumber {
                    id: self.id,
                    text: shown(text),
                    example: self.text(self.default()),
                })
            }
        }
    }

    fn no_choice(&self, text: &str, choices: &str) -> ParamTextError {
        ParamTextError::NotAChoice { id: self.id, text: shown(text), choices: choices.to_owned() }
    }
}

/// A text as an error line can show it: without line breaks and the like, and not endless.
pub(super) fn shown(text: &str) -> String {
    const MAX_CHARS: usize = 60;
    let plain = |c: char| if c.is_control() { ' ' } else { c };
    let mut shown: String = text.trim().chars().map(plain).take(MAX_CHARS).collect();
    if text.trim().chars().count() > MAX_CHARS {
        shown.push('…');
    }
    shown
}

/// `value` with one decimal, or two where the second is not zero.
fn decimals(value: f32) -> String {
    let mut text = crate::numbers::number(f64::from(value), 2);
    if text.ends_with('0') {
        text.pop();
    }
    text
}

fn number(value: f32, unit: Unit) -> String {
    match unit {
        Unit::Gain => {
            let text = decimals(value);
            let is_positive = text.bytes().any(|b| matches!(b, b'1'..=b'9')) && value > 0.0;
            format!("{}{text} dB", if is_positive { "+" } else { "" })
        }
        Unit::Db => format!("{} dB", decimals(value)),
        Unit::DbTp => format!("{} dBTP", decimals(value)),
        Unit::Hz if value < 99.95 => format!("{value:.1} Hz"),
        Unit::Hz if value < 999.5 => format!("{value:.0} Hz"),
        Unit::Hz if value < 9_995.0 => format!("{:.2} kHz", value / 1000.0),
        Unit::Hz => format!("{:.1} kHz", value / 1000.0),
        Unit::Ms if value < 9.995 => format!("{} ms", decimals(value)),
        Unit::Ms if value < 99.95 => format!("{} ms", decimals((value * 10.0).round() / 10.0)),
        Unit::Ms => format!("{value:.0} ms"),
        Unit::Percent => format!("{value:.0} %"),
        Unit::Ratio => format!("{} : 1", decimals(value)),
        Unit::Q => format!("{value:.2}"),
    }
}

/// Characters that people type or paste for a minus sign, besides the hyphen.
const MINUS_SIGNS: [char; 5] = ['\u{2212}', '\u{2012}', '\u{2013}', '\u{fe63}', '\u{ff0d}'];

/// A number with an optional unit; `plain` is trimmed and lower-case.
fn read_number(plain: &str, unit: Unit) -> Option<f32> {
    let plain = plain.replace(MINUS_SIGNS, "-").replace(',', ".");
    let plain: String = plain.chars().filter(|c| !c.is_whitespace()).collect();
    if unit == Unit::Hz
        && let Some(value) = read_kilohertz(&plain)
    {
        return Some(value);
    }
    let plain = match unit {
        Unit::Ratio => plain.split(':').next()?,
        _ => &plain,
    };
    let end = plain.find(|c: char| !(c.is_ascii_digit() || "+-.".contains(c)));
    let (digits, suffix) = plain.split_at(end.unwrap_or(plain.len()));
    let value: f32 = digits.parse().ok()?;
    let factor = match (unit, suffix) {
        (_, "") => 1.0,
        (Unit::Gain | Unit::Db | Unit::DbTp, "db")
        | (Unit::DbTp, "dbtp")
        | (Unit::Db | Unit::DbTp, "dbfs") => 1.0,
        (Unit::Hz, "hz") | (Unit::Ms, "ms") | (Unit::Percent, "%") => 1.0,
        (Unit::Hz, "k" | "khz") | (Unit::Ms, "s") => 1000.0,
        _ => return None,
    };
    Some(value * factor).filter(|value| value.is_finite())
}

/// A frequency with "k" in place of the decimal point, Hz: "3k4", "12k5 hz".
fn read_kilohertz(plain: &str) -> Option<f32> {
    let (whole, decimals) = plain.strip_suffix("hz").unwrap_or(plain).split_once('k')?;
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    (digits(whole) && digits(decimals))
        .then(|| format!("{whole}.{decimals}").parse::<f32>())?
        .ok()
        .map(|k| k * 1000.0)
}

#[cfg(test)]
mod tests {
    use crate::params::{all, find};

    #[track_caller]
    fn check(id: &str, value: f32, text: &str) {
        let param = find(id).expect("a parameter");
        assert_eq!(param.text(value), text);
        assert_eq!(param.parse(text).expect("its own text"), value);
    }

    #[test]
    fn values_are_written_with_unit_and_true_minus_sign() {
        check("ceiling", -1.0, "\u{2212}1.0 dBTP");
        check("comp_ratio", 2.0, "2.0 : 1");
        check("limit_release", 120.0, "120 ms");
        check("eq3_freq", 1200.0, "1.20 kHz");
        check("drive", 4.8, "+4.8 dB");
        check("trim", 0.0, "0.0 dB");
        check("comp_mix", 80.0, "80 %");
        check("comp_attack", 0.1, "0.1 ms");
        check("eq1_freq", 34.0, "34.0 Hz");
        check("ceiling", -0.25, "\u{2212}0.25 dBTP");
    }

    #[test]
    fn units_signs_and_case_are_read_leniently() {
        let ceiling = find("ceiling").unwrap();
        for text in ["-1", " -1.0 dbtp", "\u{2212}1,0 dB", "-1.0dBFS"] {
            assert_eq!(ceiling.parse(text).unwrap(), -1.0, "{text}");
        }
        for text in ["-3", "-3 dB", "\u{2212}3", "\u{2212}3,0\u{a0}dB", "\u{2013}3 db"] {
            assert_eq!(find("trim").unwrap().parse(text).unwrap(), -3.0, "{text}");
        }
        let frequency = find("eq3_freq").unwrap();
        for text in ["1.2k", "1,2k", "1k2", "1200", "1 200 Hz", "1,20 kHz", "1K2Hz"] {
            assert_eq!(frequency.parse(text).unwrap(), 1200.0, "{text}");
        }
        assert_eq!(frequency.parse("3k4").unwrap(), 3400.0);
        for text in ["k4", "3k4k", "3k-4", "3.1k4", "-3k4", "3k4 ms"] {
            assert!(frequency.parse(text).is_err(), "{text}");
        }
        assert!(find("limit_release").unwrap().parse("1k2").is_err(), "only frequencies are written so");
        assert_eq!(find("comp_release").unwrap().parse("1.5 s").unwrap(), 1500.0);
        assert_eq!(find("comp_ratio").unwrap().parse("2").unwrap(), 2.0);
        assert_eq!(find("comp_on").unwrap().parse("ON").unwrap(), 1.0);
    }

    #[test]
    fn invalid_text_is_rejected_in_one_line() {
        let ceiling = find("ceiling").unwrap();
        for text in ["", "loud", "-1 kHz", "nan", "1e99999", "--1"] {
            let line = ceiling.parse(text).unwrap_err().to_string();
            assert!(line.contains("ceiling") && !line.contains('\n'), "{line}");
        }
        let line = ceiling.parse("3").unwrap_err().to_string();
        assert_eq!(line, "ceiling: 3 is outside \u{2212}12.0 dBTP to 0.0 dBTP");
        let line = ceiling.parse(&format!("loud\nand {}", "louder ".repeat(100))).unwrap_err().to_string();
        assert!(!line.contains('\n') && line.chars().count() < 140, "{line}");
        let line = find("order").unwrap().parse("both").unwrap_err().to_string();
        assert_eq!(line, "order: \"both\" is none of: EQ first, compressor first");
    }

    /// Whoever reads "usually" may ask who says so.
    #[test]
    fn every_usual_range_says_its_source_once() {
        for param in all() {
            let usual =
                ["usual", "for glue", "(20 to", "20 to 50"].iter().any(|word| param.help.contains(word));
            let sources =
                ["common practice, no source", "EBU"].iter().any(|source| param.help.contains(source));
            assert!(!usual || sources, "{}: {}", param.id, param.help);
            assert!(param.help.matches("no source").count() <= 1, "{}", param.id);
        }
    }
}

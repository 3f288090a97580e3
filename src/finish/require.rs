//! Conditions on the figures of a file: a line such as `peak<=-1dBTP, integrated=-14±0.5` in, for
//! each condition whether it holds and what was found out.

use super::ends::SongEnds;
use super::figures::{FileFigures, LINES, number};
use super::read::{Encoding, FileFormat};

/// How a figure is compared.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Sign {
    Less,
    AtMost,
    More,
    AtLeast,
    /// Within so much.
    Near(f64),
}

/// One condition.
#[derive(Clone, Debug, PartialEq)]
pub struct Requirement {
    /// As it was written.
    pub text: String,
    id: String,
    sign: Sign,
    value: f64,
}

/// What became of a condition.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct RequirementResult {
    pub condition: String,
    /// The figure; none where silence has none.
    pub found: Option<f64>,
    pub holds: bool,
}

/// Names that are not in the table of figures.
const OTHERS: [&str; 5] = ["lead_in", "seconds", "rate", "bits", "channels"];
/// Units that may stand behind a number.
const UNITS: [&str; 11] = ["dbtp", "dbfs", "db", "lufs", "lu", "khz", "hz", "bit", "bits", "s", "%"];

/// Reads a line of conditions, separated by commas.
pub fn parse(line: &str) -> Result<Vec<Requirement>, String> {
    line.split(',').filter(|part| !part.trim().is_empty()).map(one).collect()
}

fn one(part: &str) -> Result<Requirement, String> {
    let text = part.trim().to_owned();
    let example = "write for example peak<=-1dBTP or integrated=-14±0.5";
    let at = text.find(['<', '>', '=']).ok_or_else(|| format!("\"{text}\" compares nothing; {example}"))?;
    let (name, rest) = text.split_at(at);
    let name = name.trim().to_lowercase().replace('-', "_");
    let id = if name == "true_peak" { "peak".to_owned() } else { name };
    if !LINES.iter().any(|line| line.id == id) && !OTHERS.contains(&id.as_str()) {
        let names: Vec<&str> = LINES.iter().map(|line| line.id).chain(OTHERS).collect();
        return Err(format!("\"{id}\" is no figure; these are: {}", names.join(", ")));
    }
    let signs = ["<=", ">=", "==", "<", ">", "="];
    let sign = signs.into_iter().find(|sign| rest.starts_with(sign)).unwrap_or("=");
    let (value, within) = match rest[sign.len()..].split_once('±') {
        Some((value, within)) => (value, Some(within)),
        None => (&rest[sign.len()..], None),
    };
    let read =
        |text: &str| quantity(text).ok_or_else(|| format!("\"{}\" is not a number; {example}", text.trim()));
    let value = read(value)?;
    let within = within.map(read).transpose()?;
    let sign = match (sign, within) {
        ("=" | "==", within) => Sign::Near(within.unwrap_or(1e-9)),
        (_, Some(_)) => return Err(format!("\"{text}\": ± goes with = only")),
        ("<", None) => Sign::Less,
        ("<=", None) => Sign::AtMost,
        (">", None) => Sign::More,
        (_, None) => Sign::AtLeast,
    };
    Ok(Requirement { text, id, sign, value })
}

/// A number with or without its unit, with any minus sign.
fn quantity(text: &str) -> Option<f64> {
    let plain = text.trim().to_lowercase().replace('\u{2212}', "-");
    let (plain, factor) = match UNITS.iter().find_map(|unit| Some((unit, plain.strip_suffix(unit)?))) {
        Some((unit, rest)) => (rest.trim_end().to_owned(), if *unit == "khz" { 1000.0 } else { 1.0 }),
        None => (plain, 1.0),
    };
    plain.parse::<f64>().ok().filter(|x| x.is_finite()).map(|x| x * factor)
}

impl Requirement {
    /// Looks the figure up and compares. Nothing measured holds no condition.
    pub fn judge(&self, figures: &FileFigures, format: &FileFormat, ends: &SongEnds) -> RequirementResult {
        let (Encoding::Int(bits) | Encoding::Float(bits)) = format.encoding;
        let found = match self.id.as_str() {
            "lead_in" => Some(ends.start as f64 / f64::from(ends.rate)),
            "seconds" => Some(format.seconds()),
            "rate" => Some(f64::from(format.rate)),
            "bits" => Some(f64::from(bits)),
            "channels" => Some(f64::from(format.channels)),
            id => LINES.iter().find(|line| line.id == id).and_then(|line| line.value(figures)),
        };
        let holds = found.is_some_and(|x| match self.sign {
            Sign::Less => x < self.value,
            Sign::AtMost => x <= self.value,
            Sign::More => x > self.value,
            Sign::AtLeast => x >= self.value,
            Sign::Near(within) => (x - self.value).abs() <= within,
        });
        RequirementResult { condition: self.text.clone(), found, holds }
    }
}

impl RequirementResult {
    /// In a line.
    pub fn words(&self) -> String {
        let found = self.found.map_or("nothing measured".into(), |x| number(x, 2));
        format!("{} {}: {found}", if self.holds { "holds" } else { "FAILS" }, self.condition)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn judge(line: &str, value: f64) -> bool {
        let figures = FileFigures {
            integrated: Some(value),
            range: None,
            max_momentary: None,
            max_short_term: None,
            true_peak: Some(value),
            sample_peak: None,
            peak_to_loudness: None,
            crest: None,
            correlation: None,
            balance: None,
            dc: 0.0,
        };
        let ends = SongEnds {
            rate: 44_100,
            frames: 1,
            start: 0,
            end: 1,
            floor_before: None,
            floor_after: None,
            breaks_off: None,
            breaks_in: None,
        };
        let format = FileFormat {
            kind: crate::finish::Container::Wav,
            encoding: Encoding::Int(24),
            rate: 44_100,
            channels: 2,
            frames: 44_100,
        };
        parse(line).unwrap().iter().all(|c| c.judge(&figures, &format, &ends).holds)
    }

    #[test]
    fn conditions_are_read_and_judged() {
        assert!(judge("peak<=-1dBTP, integrated=-1±0.5", -1.2));
        assert!(!judge("peak<=-1dBTP", -0.9));
        assert!(judge("true-peak < \u{2212}1 dBTP", -1.1));
        assert!(!judge("integrated=-14±0.5LUFS", -13.4));
        assert!(judge("rate=44.1kHz, bits>=24, channels=2, seconds=1s", 0.0));
        assert!(!judge("range<5", 0.0), "what was not measured holds nothing");
    }

    #[test]
    fn nonsense_is_refused() {
        assert!(parse("loud<3").unwrap_err().contains("is no figure"));
        assert!(parse("peak -1").unwrap_err().contains("compares nothing"));
        assert!(parse("peak<-1±2").unwrap_err().contains("with = only"));
        assert!(parse("peak<=lots").unwrap_err().contains("not a number"));
    }
}

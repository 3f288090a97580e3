//! Requirements on the figures of a file: a line such as `peak<=-1dBTP, integrated=-14±0.5` in; for each
//! requirement the figure that was found and whether it is met out.

use super::ends::SongEnds;
use super::figures::{FIGURES, FileFigures};
use super::format::FileFormat;
use crate::numbers::{NONE, number};

/// How a figure is compared.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Comparison {
    Less,
    AtMost,
    More,
    AtLeast,
    /// Equal within a tolerance.
    Near(f64),
}

impl Comparison {
    fn holds(self, x: f64, value: f64) -> bool {
        match self {
            Self::Less => x < value,
            Self::AtMost => x <= value,
            Self::More => x > value,
            Self::AtLeast => x >= value,
            Self::Near(within) => (x - value).abs() <= within,
        }
    }
}

/// One requirement.
#[derive(Clone, Debug, PartialEq)]
pub struct Requirement {
    /// As the user wrote it.
    pub text: String,
    id: String,
    comparison: Comparison,
    value: f64,
}

/// A requirement and what was found.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct RequirementResult {
    /// The requirement as the user wrote it.
    pub requirement: String,
    #[serde(skip)]
    comparison: Comparison,
    #[serde(skip)]
    value: f64,
    /// The figure; none where it does not exist for silence, or where words are compared.
    pub found: Option<f64>,
    /// The words that were found, where words are compared.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub words: Option<String>,
    /// True if the requirement is met.
    pub met: bool,
}

/// Names beside those of [`FIGURES`].
const FORMAT_NAMES: [&str; 6] = ["lead_in", "tail", "seconds", "rate", "bits", "channels"];
/// Most decimals of a figure.
const MOST_DECIMALS: usize = 9;
/// Units that may follow a number.
const UNITS: [&str; 11] = ["dbtp", "dbfs", "db", "lufs", "lu", "khz", "hz", "bit", "bits", "s", "%"];

/// Parses a line of requirements, separated by commas.
///
/// # Errors
/// A sentence that names the faulty part and an example.
pub fn parse(line: &str) -> Result<Vec<Requirement>, String> {
    line.split(',').filter(|part| !part.trim().is_empty()).map(parse_one).collect()
}

fn parse_one(part: &str) -> Result<Requirement, String> {
    let text = part.trim().to_owned();
    let example = "write for example peak<=-1dBTP or integrated=-14±0.5";
    let at = text.find(['<', '>', '=']).ok_or_else(|| format!("\"{text}\" has no comparison; {example}"))?;
    let (name, rest) = text.split_at(at);
    let name = name.trim().to_lowercase().replace('-', "_");
    let id = if name == "true_peak" { "peak".to_owned() } else { name };
    if !FIGURES.iter().any(|figure| figure.id == id) && !FORMAT_NAMES.contains(&id.as_str()) {
        let names: Vec<&str> = FIGURES.iter().map(|figure| figure.id).chain(FORMAT_NAMES).collect();
        return Err(format!("\"{id}\" is not a figure; known figures: {}", names.join(", ")));
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
    let comparison = match (sign, within) {
        ("=" | "==", within) => Comparison::Near(within.unwrap_or(1e-9)),
        (_, Some(_)) => return Err(format!("\"{text}\": ± is allowed with = only")),
        ("<", None) => Comparison::Less,
        ("<=", None) => Comparison::AtMost,
        (">", None) => Comparison::More,
        (_, None) => Comparison::AtLeast,
    };
    Ok(Requirement { text, id, comparison, value })
}

/// A number with or without a unit, with either minus sign.
fn quantity(text: &str) -> Option<f64> {
    let plain = text.trim().to_lowercase().replace('\u{2212}', "-");
    let (plain, factor) = match UNITS.iter().find_map(|unit| Some((unit, plain.strip_suffix(unit)?))) {
        Some((unit, rest)) => (rest.trim_end().to_owned(), if *unit == "khz" { 1000.0 } else { 1.0 }),
        None => (plain, 1.0),
    };
    plain.parse::<f64>().ok().filter(|x| x.is_finite()).map(|x| x * factor)
}

impl Requirement {
    /// Compares the figure. A figure that does not exist meets no requirement.
    pub fn check(&self, figures: &FileFigures, format: &FileFormat, ends: &SongEnds) -> RequirementResult {
        let found = match self.id.as_str() {
            "lead_in" => Some(ends.start as f64 / f64::from(ends.rate)),
            "tail" => Some((ends.frames - ends.end) as f64 / f64::from(ends.rate)),
            "seconds" => Some(format.seconds()),
            "rate" => Some(f64::from(format.rate)),
            "bits" => Some(f64::from(format.encoding.bits())),
            "channels" => Some(f64::from(format.channels)),
            id => FIGURES.iter().find(|figure| figure.id == id).and_then(|figure| figure.value(figures)),
        };
        let (comparison, value) = (self.comparison, self.value);
        let met = found.is_some_and(|x| comparison.holds(x, value));
        RequirementResult { requirement: self.text.clone(), comparison, value, found, words: None, met }
    }
}

impl RequirementResult {
    /// `what` is to be `wanted`.
    pub(super) fn of_words(what: &str, wanted: &str, found: &str) -> Self {
        Self {
            requirement: format!("{what}={wanted}"),
            comparison: Comparison::Near(0.0),
            value: 0.0,
            found: None,
            words: Some(found.to_owned()),
            met: wanted == found,
        }
    }

    /// The name of a file is to fit a pattern.
    pub(super) fn of_name(pattern: &str, name: &str, met: bool) -> Self {
        Self { met, ..Self::of_words("name", pattern, name) }
    }

    /// The result as a line of text: the figure with two decimals, or as many as it takes that the printed
    /// figure meets or misses the requirement as the measured one does.
    pub fn sentence(&self) -> String {
        let words = || self.words.clone().unwrap_or_else(|| NONE.to_owned());
        let found = self.found.map_or_else(words, |x| {
            let reads = |decimals: usize| {
                let rounded = format!("{x:.decimals$}").parse().unwrap_or(x);
                self.comparison.holds(rounded, self.value) == self.met
            };
            number(x, (2..MOST_DECIMALS).find(|&decimals| reads(decimals)).unwrap_or(MOST_DECIMALS))
        });
        format!("{} {}: {found}", if self.met { "met" } else { "NOT MET" }, self.requirement)
    }
}

#[cfg(test)]
mod tests {
    use super::super::format::{Container, Encoding};
    use super::*;

    fn met(line: &str, value: f64) -> bool {
        let figures = FileFigures {
            integrated: Some(value),
            range: None,
            max_momentary: None,
            max_short_term: None,
            true_peak: Some(value),
            sample_peak: None,
            plr: None,
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
            cut_off_end: None,
            cut_off_start: None,
            attack_at_start: false,
            steady_before: false,
            steady_after: false,
        };
        let format = FileFormat {
            container: Container::Wav,
            encoding: Encoding::Int(24),
            rate: 44_100,
            channels: 2,
            frames: 44_100,
        };
        parse(line).unwrap().iter().all(|c| c.check(&figures, &format, &ends).met)
    }

    #[test]
    fn requirements_are_parsed_and_checked() {
        assert!(met("peak<=-1dBTP, integrated=-1±0.5", -1.2));
        assert!(!met("peak<=-1dBTP", -0.9));
        assert!(met("true-peak < \u{2212}1 dBTP", -1.1));
        assert!(!met("integrated=-14±0.5LUFS", -13.4));
        assert!(met("rate=44.1kHz, bits>=24, channels=2, seconds=1s", 0.0));
        assert!(!met("range<5", 0.0), "a figure that does not exist meets nothing");
    }

    #[test]
    fn faulty_requirements_are_refused() {
        assert!(parse("loud<3").unwrap_err().contains("is not a figure"));
        assert!(parse("peak -1").unwrap_err().contains("has no comparison"));
        assert!(parse("peak<-1±2").unwrap_err().contains("with = only"));
        assert!(parse("peak<=lots").unwrap_err().contains("not a number"));
    }

    #[test]
    fn a_figure_that_fails_reads_as_if_it_fails() {
        let said = |found: f64, value: f64, comparison: Comparison| {
            let met = comparison.holds(found, value);
            RequirementResult {
                requirement: "x".into(),
                comparison,
                value,
                found: Some(found),
                words: None,
                met,
            }
            .sentence()
        };
        assert_eq!(said(-0.9999, -1.0, Comparison::AtMost), "NOT MET x: \u{2212}0.9999");
        assert_eq!(said(-1.0, -1.0, Comparison::AtMost), "met x: \u{2212}1.00");
        assert_eq!(said(-1.00004, -1.0, Comparison::Less), "met x: \u{2212}1.00004");
        assert_eq!(said(-14.5004, -14.0, Comparison::Near(0.5)), "NOT MET x: \u{2212}14.5004");
        assert_eq!(said(-9.0, -1.0, Comparison::AtMost), "met x: \u{2212}9.00");
    }
}

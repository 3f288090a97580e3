//! A delivery: what a label, a distributor or a broadcaster asks of a file, as a list of words or as TOML in; the
//! job that makes such a file, its name, and the requirements that it must meet out.

use super::check::FileCheck;
use super::format::{Encoding, Layout};
use super::job::MasterJob;
use super::require::{self, RequirementResult};
use super::tags::TagField;
use crate::meter::targets::Target;

/// Tolerance of the loudness where a delivery names none, LU.
const DEFAULT_TOLERANCE_LU: f64 = 0.5;
/// Highest true peak beside a loudness where a delivery names none, dBTP.
const DEFAULT_TRUE_PEAK_DBTP: f64 = -1.0;
/// Tolerance of lead-in and tail, s: the ends of music are found to 5 ms.
const ENDS_TOLERANCE_S: f64 = 0.05;
/// Loudness that is accepted, LUFS.
const LOUDNESS_LUFS: std::ops::RangeInclusive<f64> = -60.0..=0.0;
/// True peaks that are accepted, dBTP: the range of the limiter's ceiling.
const TRUE_PEAK_DBTP: std::ops::RangeInclusive<f64> = -12.0..=0.0;
/// Words that a pattern for names may hold.
const WORDS: [&str; 8] = ["track", "title", "artist", "album", "number", "isrc", "name", "format"];

/// One delivery. What is none is left as the job has it.
#[derive(Clone, Debug, PartialEq)]
pub struct Delivery {
    /// Its name.
    pub name: Option<String>,
    /// The container.
    pub layout: Layout,
    /// How samples are stored.
    pub encoding: Encoding,
    /// Sample rate, Hz.
    pub rate: Option<u32>,
    /// 2 where a mono song is to be written into both channels.
    pub channels: Option<u16>,
    /// Integrated loudness, LUFS.
    pub loudness: Option<f64>,
    /// Distance from it that is accepted, LU.
    pub tolerance: f64,
    /// Highest true peak, dBTP.
    pub true_peak: Option<f64>,
    /// Silence before the music, s.
    pub lead_in: Option<f64>,
    /// Silence after it, s.
    pub tail: Option<f64>,
    /// Pattern of the file's name without extension, with words in braces such as `{number} {title}`.
    pub file: Option<String>,
}

/// The same as it stands in TOML.
#[derive(Clone, Debug, PartialEq, serde::Deserialize, serde::Serialize)]
#[serde(deny_unknown_fields)]
pub struct DeliveryTable {
    name: Option<String>,
    container: String,
    bits: toml::Value,
    rate: Option<u32>,
    channels: Option<u16>,
    loudness: Option<f64>,
    tolerance: Option<f64>,
    true_peak: Option<f64>,
    lead_in: Option<f64>,
    tail: Option<f64>,
    file: Option<String>,
}

impl From<&Delivery> for DeliveryTable {
    fn from(delivery: &Delivery) -> Self {
        let [format, bits] = delivery.container_and_bits();
        Self {
            name: delivery.name.clone(),
            container: format.to_owned(),
            bits: bits.parse().map_or_else(|_| toml::Value::String(bits.to_owned()), toml::Value::Integer),
            rate: delivery.rate,
            channels: delivery.channels,
            loudness: delivery.loudness,
            tolerance: Some(delivery.tolerance).filter(|tolerance| *tolerance != DEFAULT_TOLERANCE_LU),
            true_peak: delivery.true_peak,
            lead_in: delivery.lead_in,
            tail: delivery.tail,
            file: delivery.file.clone(),
        }
    }
}

impl TryFrom<DeliveryTable> for Delivery {
    type Error = String;

    fn try_from(table: DeliveryTable) -> Result<Self, String> {
        let bits = match &table.bits {
            toml::Value::Integer(bits) => bits.to_string(),
            toml::Value::String(bits) => bits.clone(),
            other => other.to_string(),
        };
        let delivery = Self {
            name: table.name,
            rate: table.rate,
            channels: table.channels,
            loudness: table.loudness,
            tolerance: table.tolerance.unwrap_or(DEFAULT_TOLERANCE_LU),
            true_peak: table.true_peak,
            lead_in: table.lead_in,
            tail: table.tail,
            file: table.file,
            ..Self::of_format(&table.container, &bits)?
        };
        delivery.checked()
    }
}

impl Delivery {
    /// A delivery that asks for a format alone: `wav` or `flac`; `16`, `24` or `32f`.
    pub(super) fn of_format(container: &str, bits: &str) -> Result<Self, String> {
        let layout = match container.to_lowercase().as_str() {
            "wav" => Layout::Wav,
            "flac" => Layout::Flac,
            _ => return Err(format!("container \"{container}\": use wav or flac")),
        };
        let encoding = match (bits, layout) {
            ("16", _) => Encoding::Int(16),
            ("24", _) => Encoding::Int(24),
            ("32f", Layout::Wav) => Encoding::Float(32),
            ("32f", Layout::Flac) => return Err("FLAC holds integers: use 16 or 24 bits".into()),
            _ => return Err(format!("bits {bits}: use 16, 24 or 32f")),
        };
        Ok(Self {
            name: None,
            layout,
            encoding,
            rate: None,
            channels: None,
            loudness: None,
            tolerance: DEFAULT_TOLERANCE_LU,
            true_peak: None,
            lead_in: None,
            tail: None,
            file: None,
        })
    }

    /// The words that [`of_format`](Self::of_format) reads.
    fn container_and_bits(&self) -> [&'static str; 2] {
        let bits = match self.encoding {
            Encoding::Int(16) => "16",
            Encoding::Int(_) => "24",
            Encoding::Float(_) => "32f",
        };
        [self.layout.extension(), bits]
    }

    fn checked(self) -> Result<Self, String> {
        let within = |what: &str, value: Option<f64>, range: std::ops::RangeInclusive<f64>| match value {
            Some(x) if !range.contains(&x) => {
                Err(format!("{what} {x}: must be between {} and {}", range.start(), range.end()))
            }
            _ => Ok(()),
        };
        within("loudness", self.loudness, LOUDNESS_LUFS)?;
        within("true_peak", self.true_peak, TRUE_PEAK_DBTP)?;
        within("tolerance", Some(self.tolerance), 0.05..=10.0)?;
        within("lead_in", self.lead_in, 0.0..=60.0)?;
        within("tail", self.tail, 0.0..=600.0)?;
        within("rate", self.rate.map(f64::from), 8_000.0..=384_000.0)?;
        if self.channels.is_some_and(|channels| channels != 2) {
            return Err("channels: only 2 can be asked for".into());
        }
        if let Some(pattern) = &self.file {
            pieces(pattern)?;
        }
        Ok(self)
    }

    /// A delivery from a TOML file of its own.
    ///
    /// # Errors
    /// One line that names the fault.
    pub fn from_toml(text: &str) -> Result<Self, String> {
        let table: DeliveryTable = toml::from_str(text).map_err(|err| toml_fault(text, &err))?;
        table.try_into()
    }

    /// What sets the file apart, for its name: "24 bit", "16 bit 44.1 kHz", "24 bit -16 LUFS".
    pub fn format_words(&self) -> String {
        let mut words = self.encoding.to_string();
        if let Some(rate) = self.rate {
            words += &format!(" {} kHz", f64::from(rate) / 1000.0);
        }
        if let Some(loudness) = self.loudness {
            words += &format!(" {loudness} LUFS");
        }
        words
    }

    /// The name in reports and of folders.
    pub fn label(&self) -> String {
        let format = || format!("{} {}", self.layout.extension(), self.format_words());
        self.name.clone().unwrap_or_else(format)
    }

    /// The job of this delivery: `job` with what it asks for; the file's name is left alone.
    #[must_use]
    pub fn applied_to(&self, job: &MasterJob) -> MasterJob {
        let mut job = job.clone();
        (job.layout, job.encoding) = (self.layout, self.encoding);
        job.rate = self.rate.or(job.rate);
        job.two_channels |= self.channels.is_some();
        if let Some(true_peak) = self.true_peak {
            job.settings.limiter.ceiling = true_peak as f32;
            job.target.true_peak = true_peak;
        }
        if let Some(loudness) = self.loudness {
            let target = Target::own(loudness, job.target.true_peak);
            job.target = Target { tolerance: self.tolerance, ..target };
            job.match_target = true;
        }
        job.ends.lead_in = self.lead_in.unwrap_or(job.ends.lead_in);
        job.ends.tail = self.tail.unwrap_or(job.ends.tail);
        job
    }

    /// The name of the file of this delivery without extension: by its pattern, else `usual`.
    pub fn file_stem(&self, usual: &str, job: &MasterJob) -> String {
        let Some(pattern) = &self.file else { return usual.to_owned() };
        let word = |word: &str| match word {
            "track" => super::song_list::file_stem(&job.input),
            "title" => job.title_or_stem(),
            "artist" => job.tags.get(TagField::Artist).unwrap_or_default().to_owned(),
            "album" => job.tags.get(TagField::Album).unwrap_or_default().to_owned(),
            "number" => format!("{:0>2}", job.tags.get(TagField::Track).unwrap_or("1")),
            "isrc" => job.tags.get(TagField::Isrc).unwrap_or_default().to_owned(),
            "format" => self.format_words(),
            _ => self.label(),
        };
        let parts = pieces(pattern).unwrap_or_default();
        let name: String = parts
            .into_iter()
            .map(|piece| match piece {
                Piece::Text(text) => text.to_owned(),
                Piece::Word(name) => word(name),
            })
            .collect();
        safe_name(&name)
    }

    /// The loudness and the true peak as a target, where it asks for a loudness.
    pub fn target(&self) -> Option<Target> {
        let target = Target::own(self.loudness?, self.true_peak.unwrap_or(DEFAULT_TRUE_PEAK_DBTP));
        Some(Target { tolerance: self.tolerance, ..target })
    }

    /// What a checked file meets of this delivery.
    pub fn requirements(&self, file: &std::path::Path, check: &FileCheck) -> Vec<RequirementResult> {
        let container = match check.format.container {
            super::format::Container::Flac => "flac",
            super::format::Container::Wav | super::format::Container::Rf64 => "wav",
            super::format::Container::Aiff => "aiff",
        };
        let wanted = self.layout.extension();
        let encoding = check.format.encoding;
        let mut results = vec![
            RequirementResult::of_words("container", wanted, container),
            RequirementResult::of_words("samples", &self.encoding.to_string(), &encoding.to_string()),
        ];
        let mut lines = Vec::new();
        lines.extend(self.rate.map(|rate| format!("rate={rate}Hz")));
        lines.extend(self.channels.map(|channels| format!("channels={channels}")));
        lines.extend(self.loudness.map(|loudness| format!("integrated={loudness}±{}", self.tolerance)));
        lines.extend(self.true_peak.map(|peak| format!("peak<={peak}dBTP")));
        lines.extend(self.lead_in.map(|s| format!("lead_in={s}±{ENDS_TOLERANCE_S}")));
        lines.extend(self.tail.map(|s| format!("tail={s}±{ENDS_TOLERANCE_S}")));
        // The lines are written by this function: they can be read.
        for requirement in require::parse(&lines.join(",")).unwrap_or_default() {
            results.push(requirement.check(&check.measured.input, &check.format, &check.ends));
        }
        if let Some(pattern) = &self.file {
            let stem = super::song_list::file_stem(file);
            let fits = fits(&stem, &pieces(pattern).unwrap_or_default());
            results.push(RequirementResult::of_name(pattern, &stem, fits));
        }
        results
    }
}

/// Parses a list such as `wav24,wav16@44100,flac24,wav24:-16 -1`: container and bits, after `@` the rate in
/// Hz, after `:` the loudness in LUFS and the highest true peak in dBTP.
///
/// # Errors
/// One line that names the faulty part.
pub fn parse_list(list: &str) -> Result<Vec<Delivery>, String> {
    let all = list.split(',').map(|part| {
        let part = part.trim();
        parse_one(part)
            .map_err(|why| format!("\"{part}\": {why}; write for example wav24,wav16@44100,\"wav24:-16 -1\""))
    });
    all.collect()
}

fn parse_one(part: &str) -> Result<Delivery, String> {
    let plain = part.replace('\u{2212}', "-");
    let (format, levels) = plain.split_once(':').map_or((&plain[..], None), |(f, levels)| (f, Some(levels)));
    let (format, rate) = format.split_once('@').map_or((format, None), |(f, rate)| (f, Some(rate)));
    let digits = format.find(|c: char| c.is_ascii_digit()).ok_or("the number of bits is missing")?;
    let (container, bits) = format.split_at(digits);
    let mut delivery = Delivery::of_format(container.trim(), bits.trim())?;
    delivery.rate = rate
        .map(|rate| rate.trim().parse().map_err(|_| format!("{rate} is not a rate in Hz")))
        .transpose()?;
    let mut numbers = levels.into_iter().flat_map(str::split_whitespace).map(|text| {
        text.parse::<f64>().ok().filter(|x| x.is_finite()).ok_or(format!("{text} is not a number"))
    });
    delivery.loudness = numbers.next().transpose()?;
    delivery.true_peak = numbers.next().transpose()?;
    match (levels, delivery.loudness, numbers.next()) {
        (Some(_), None, _) => Err("a loudness in LUFS must follow the colon".into()),
        (_, _, Some(_)) => Err("at most a loudness and a true peak may follow the colon".into()),
        _ => delivery.checked(),
    }
}

/// A fault of a TOML text as one line.
pub(super) fn toml_fault(text: &str, err: &toml::de::Error) -> String {
    let line = err.span().map_or(1, |span| text[..span.start.min(text.len())].matches('\n').count() + 1);
    format!("line {line}: {}", err.message().replace(char::is_control, " "))
}

/// A part of a pattern.
enum Piece<'a> {
    Text(&'a str),
    Word(&'a str),
}

/// The parts of a pattern for names.
fn pieces(pattern: &str) -> Result<Vec<Piece<'_>>, String> {
    let (mut all, mut rest) = (Vec::new(), pattern);
    while let Some(open) = rest.find('{') {
        let close = rest[open..].find('}').map(|at| open + at);
        let close = close.ok_or_else(|| format!("file \"{pattern}\": a brace is not closed"))?;
        let word = &rest[open + 1..close];
        if !WORDS.contains(&word) {
            return Err(format!(
                "file \"{pattern}\": {{{word}}} is not known; use one of {}",
                WORDS.join(", ")
            ));
        }
        all.push(Piece::Text(&rest[..open]));
        all.push(Piece::Word(word));
        rest = &rest[close + 1..];
    }
    all.push(Piece::Text(rest));
    if pattern.trim().is_empty() || pattern.contains(['/', '\\']) {
        return Err(format!("file \"{pattern}\": must be a name without folders"));
    }
    Ok(all)
}

/// Whether a name can come from a pattern: its fixed parts in their order, something for every word, digits
/// for a number.
fn fits(name: &str, pieces: &[Piece]) -> bool {
    match pieces {
        [] => name.is_empty(),
        [Piece::Text(text), rest @ ..] => name.strip_prefix(text).is_some_and(|name| fits(name, rest)),
        [Piece::Word(word), rest @ ..] => name.char_indices().map(|(at, c)| at + c.len_utf8()).any(|to| {
            let digits = *word != "number" || name[..to].bytes().all(|b| b.is_ascii_digit());
            digits && fits(&name[to..], rest)
        }),
    }
}

/// A name that every file system takes: characters that some refuse become hyphens.
pub(super) fn safe_name(name: &str) -> String {
    let refused =
        |c: char| c.is_control() || matches!(c, '/' | '\\' | ':' | '*' | '?' | '"' | '<' | '>' | '|');
    let name: String = name.chars().map(|c| if refused(c) { '-' } else { c }).collect();
    let name = name.trim().trim_end_matches('.').trim();
    if name.is_empty() { "master".to_owned() } else { name.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_list_of_words_is_read() {
        let list = parse_list("wav24, wav16@44100,flac24,wav24:-16 -1,wav32f").unwrap();
        let labels: Vec<String> = list.iter().map(Delivery::label).collect();
        assert_eq!(
            labels,
            ["wav 24 bit", "wav 16 bit 44.1 kHz", "flac 24 bit", "wav 24 bit -16 LUFS", "wav 32 bit float"]
        );
        assert_eq!((list[3].loudness, list[3].true_peak), (Some(-16.0), Some(-1.0)));
        for (faulty, word) in [
            ("mp3", "use wav or flac"),
            ("wav", "bits is missing"),
            ("wav20", "use 16, 24"),
            ("flac32f", "integers"),
            ("wav24@x", "rate"),
            ("wav24:", "loudness"),
            ("wav24:-16 -1 3", "at most"),
            ("wav24:5", "between"),
            ("wav24:-16 nan", "not a number"),
        ] {
            let said = parse_list(faulty).unwrap_err();
            assert!(said.contains(word) && !said.contains('\n'), "{faulty}: {said}");
        }
    }

    #[test]
    fn a_delivery_is_toml_too_and_its_faults_are_one_line() {
        let text = "name = \"store\"\ncontainer = \"flac\"\nbits = 24\nloudness = -14\nfile = \"{number} {title}\"\n";
        let delivery = Delivery::from_toml(text).unwrap();
        for delivery in
            [&delivery].into_iter().chain(&parse_list("wav16@44100,wav32f,flac24:-16 -1").unwrap())
        {
            assert_eq!(Delivery::try_from(DeliveryTable::from(delivery)).as_ref(), Ok(delivery));
        }
        assert_eq!((delivery.label().as_str(), delivery.loudness), ("store", Some(-14.0)));
        for (faulty, word) in [
            ("container = \"wav\"", "bits"),
            ("container = \"wav\"\nbits = 24\nloudnes = -14", "line 3"),
            ("container = \"ogg\"\nbits = 24", "wav or flac"),
            ("container = \"wav\"\nbits = 24\nfile = \"{song}\"", "{song} is not known"),
            ("container = \"wav\"\nbits = 24\nfile = \"a/b\"", "without folders"),
            ("container = \"wav\"\nbits = 24\ntrue_peak = 3.0", "between"),
        ] {
            let said = Delivery::from_toml(faulty).unwrap_err();
            assert!(said.contains(word) && !said.contains('\n'), "{faulty}: {said}");
        }
    }

    #[test]
    fn names_are_held_against_their_pattern() {
        let fits = |name: &str, pattern: &str| fits(name, &pieces(pattern).unwrap());
        assert!(fits("01 Slow water", "{number} {title}"));
        assert!(!fits("Slow water", "{number} {title}"));
        assert!(!fits("01 ", "{number} {title}"));
        assert!(fits("AA6Q72000047_24 bit", "{isrc}_{format}"));
        assert_eq!(safe_name("A/B: \"C\"?."), "A-B- -C--");
    }
}

//! Settings as a text file that people write by hand: TOML, one line a parameter, the parameter's
//! id = a number in its unit, or its text with unit in quotes. What is left out keeps its default.

use super::text::shown;
use super::{Kind, Param, ParamTextError, all, find, without_monitoring};
use crate::settings::Settings;

/// Why a settings file is rejected; displayed as one line: what, where, what to do.
#[derive(Debug, thiserror::Error)]
pub enum SettingsFileError {
    /// Not TOML.
    #[error("line {line}: {what}; a line reads like: ceiling = -1.0")]
    Syntax {
        /// Counted from 1.
        line: usize,
        /// The parser's message.
        what: String,
    },
    /// No parameter has this id.
    #[error("\"{id}\" is not a setting{hint}")]
    Unknown {
        /// As written in the file.
        id: String,
        /// The nearest id, or empty.
        hint: String,
    },
    /// The value is not one of the parameter.
    #[error(transparent)]
    Text(#[from] ParamTextError),
    /// The value has a type that the parameter does not take.
    #[error("{id}: takes a number, a word in quotes, or true and false, not a {got}")]
    Type {
        /// The parameter.
        id: String,
        /// The TOML type found.
        got: &'static str,
    },
}

/// Name of the tables of a settings file that say which files are wanted; they are no settings of the chain.
const DELIVERIES: &str = "delivery";

/// Settings from the text of a settings file. Monitoring is read and left out: older files contain it.
pub fn from_toml(text: &str) -> Result<Settings, SettingsFileError> {
    let table: toml::Table = text.parse().map_err(|e: toml::de::Error| SettingsFileError::Syntax {
        line: e.span().map_or(1, |span| text[..span.start.min(text.len())].matches('\n').count() + 1),
        what: e.message().replace(char::is_control, " "),
    })?;
    let mut settings = Settings::default();
    for (id, value) in table.iter().filter(|(id, value)| *id != DELIVERIES || !value.is_array()) {
        let param =
            find(id).ok_or_else(|| SettingsFileError::Unknown { id: shown(id), hint: nearest(id) })?;
        param.set(&mut settings, read(param, value)?);
    }
    Ok(without_monitoring(&settings))
}

fn read(param: &Param, value: &toml::Value) -> Result<f32, SettingsFileError> {
    let text = match (value, param.kind) {
        (toml::Value::String(text), _) => text.clone(),
        (toml::Value::Boolean(on), Kind::Switch) => if *on { "on" } else { "off" }.to_owned(),
        (toml::Value::Integer(number), Kind::Number { .. }) => number.to_string(),
        (toml::Value::Float(number), Kind::Number { .. }) => number.to_string(),
        (other, _) => return Err(SettingsFileError::Type { id: param.id.to_owned(), got: other.type_str() }),
    };
    Ok(param.parse(&text)?)
}

/// "; did you mean …?" when one id is near enough.
fn nearest(id: &str) -> String {
    let shared = |param: &&Param| {
        let same = param.id.bytes().zip(id.bytes()).take_while(|(a, b)| a == b).count();
        let back = param.id.bytes().rev().zip(id.bytes().rev()).take_while(|(a, b)| a == b).count();
        same + back
    };
    match all().iter().max_by_key(shared) {
        Some(param) if shared(&param) * 2 >= id.len() => format!("; did you mean {}?", param.id),
        _ => String::new(),
    }
}

/// The text of a settings file: every parameter but those of monitoring by group, each with its text form as a comment.
pub fn to_toml(settings: &Settings) -> String {
    let mut out = String::from("# Lintel settings. A line left out keeps its default.\n");
    let mut group = "";
    for param in all().iter().filter(|param| !param.is_monitoring()) {
        if param.group != group {
            group = param.group;
            out += &format!("\n# {group}\n");
        }
        let value = param.get(settings);
        out += &match param.kind {
            Kind::Switch => format!("{} = {}\n", param.id, value >= 0.5),
            Kind::Choice(_) => format!("{} = \"{}\"\n", param.id, param.text(value)),
            Kind::Number { .. } => format!("{} = {value:?} # {}\n", param.id, param.text(value)),
        };
    }
    out
}

/// One setting as `id=value`, as `--set` and the plan of a release read it; reads back exactly.
pub fn assignment(param: &Param, settings: &Settings) -> String {
    let value = param.get(settings);
    match param.kind {
        Kind::Switch | Kind::Choice(_) => format!("{}={}", param.id, param.text(value)),
        Kind::Number { .. } => format!("{}={value}", param.id),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_reads_back_exactly() {
        let mut settings = Settings::default();
        for (n, param) in all().iter().enumerate() {
            param.set(&mut settings, param.at_position((n as f32 * 0.377).fract()));
        }
        assert_eq!(from_toml(&to_toml(&settings)).unwrap(), without_monitoring(&settings));
        assert_eq!(from_toml("").unwrap(), Settings::default());
    }

    #[test]
    fn monitoring_never_reaches_a_settings_file() {
        let mut settings = Settings { bypass: true, ..Settings::default() };
        settings.compare = crate::settings::Compare::Before;
        settings.limiter.removed_only = true;
        let text = to_toml(&settings);
        assert_eq!(text, to_toml(&Settings::default()));
        assert!(crate::params::MONITORING_IDS.iter().all(|id| !text.contains(&format!("\n{id} ="))));
        // A file of an older version.
        let old = "removed_only = true\nbypass = true\ncompare = \"after\"\ndrive = 4";
        let read = from_toml(old).unwrap();
        assert_eq!(read.limiter.drive, 4.0);
        assert_eq!(read, without_monitoring(&read));
    }

    #[test]
    fn numbers_and_texts_with_units_both_read() {
        let settings = from_toml(
            "ceiling = \"\u{2212}2 dBTP\"\ndrive = 4\ncomp_on = true\norder = \"compressor first\"",
        );
        let settings = settings.unwrap();
        assert_eq!(
            (settings.limiter.ceiling, settings.limiter.drive, settings.compressor.on),
            (-2.0, 4.0, true)
        );
        assert_eq!(settings.order, crate::settings::StageOrder::CompressorFirst);
    }

    #[test]
    fn a_bad_line_is_named() {
        let line = |text: &str| from_toml(text).unwrap_err().to_string();
        assert!(line("drive = 4\nceiling -1").starts_with("line 2: "));
        assert_eq!(line("cieling = -1"), "\"cieling\" is not a setting; did you mean ceiling?");
        assert_eq!(line("drive = 40"), "drive: 40 is outside 0.0 dB to +24.0 dB");
        assert!(line("drive = true").contains("not a boolean"));
        assert!(!line("\"a\\nb\" = 1").contains('\n'));
        assert!(line("drive = nan").contains("not a number"));
    }
}

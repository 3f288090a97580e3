//! Every parameter in one table: id, name, range, law, unit, default, conversion to and from text,
//! and its field in [`Settings`].
//!
//! The plugin's parameters, the fields of a settings file, the command line's `--set` and the
//! tables in the documents are all made from this table. Most numbers are smoothed (63 % of a move in
//! 20 ms), switches and choices cross-fade in 8 to 20 ms; docs/parameters.md names the exceptions.

mod file;
mod table;
mod text;

pub use file::{SettingsFileError, assignment, from_toml, to_toml};
pub use table::{MONITORING_IDS, all, find};
pub use text::ParamTextError;

use crate::settings::Settings;

/// One parameter.
#[derive(Clone, Copy)]
pub struct Param {
    /// Never changes: hosts' automation, saved states and settings files depend on it.
    pub id: &'static str,
    /// What a host shows.
    pub name: &'static str,
    /// The group it is listed under: a stage's name.
    pub group: &'static str,
    /// The term explained in one sentence, with its usual range (common practice, no source).
    pub help: &'static str,
    /// The values it takes.
    pub kind: Kind,
    read: fn(&Settings) -> f32,
    write: fn(&mut Settings, f32),
}

/// What values a parameter takes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Kind {
    /// `min` to `max` in `unit`, mapped to the control's travel by `law`.
    Number {
        /// Smallest value.
        min: f32,
        /// Largest value.
        max: f32,
        /// How the range is mapped to the control's travel.
        law: Law,
        /// Unit of the value.
        unit: Unit,
    },
    /// One of a few words; the value is the index.
    Choice(&'static [&'static str]),
    /// Off (0) or on (1).
    Switch,
}

/// How a number's range maps to the control's travel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Law {
    /// Equal steps.
    Even,
    /// Equal ratios: for frequency, time and Q, which are perceived by ratio.
    Log,
    /// A power law with this value at half of the travel.
    Centre(f32),
}

/// Unit of a number; decides how it is written and read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// A gain in dB, written with its sign.
    Gain,
    /// A level in dBFS or a width in dB.
    Db,
    /// A true-peak level, dBTP.
    DbTp,
    /// A frequency.
    Hz,
    /// A time in milliseconds.
    Ms,
    /// A share.
    Percent,
    /// n : 1
    Ratio,
    /// A quality factor; no unit.
    Q,
}

impl Param {
    /// The value in `settings`: the number in its unit, a choice's index, a switch's 0 or 1.
    pub fn get(&self, settings: &Settings) -> f32 {
        (self.read)(settings)
    }

    /// Writes `value` to `settings`, clamped to the range and rounded to five significant digits (a
    /// choice's index to a whole number). A NaN becomes the default, so that none
    /// can reach the sound.
    pub fn set(&self, settings: &mut Settings, value: f32) {
        let value = if value.is_nan() { self.default() } else { value };
        let (min, max) = self.range();
        let value = match self.kind {
            Kind::Number { .. } => round_to_5_digits(value.clamp(min, max)),
            Kind::Choice(_) | Kind::Switch => value.round().clamp(min, max),
        };
        (self.write)(settings, value);
    }

    /// Whether the parameter is for listening only: see [`MONITORING_IDS`].
    pub fn is_monitoring(&self) -> bool {
        MONITORING_IDS.contains(&self.id)
    }

    /// The default value.
    pub fn default(&self) -> f32 {
        self.get(&Settings::default())
    }

    /// Smallest and largest value.
    pub fn range(&self) -> (f32, f32) {
        match self.kind {
            Kind::Number { min, max, .. } => (min, max),
            Kind::Choice(words) => (0.0, (words.len() - 1) as f32),
            Kind::Switch => (0.0, 1.0),
        }
    }

    /// Position on the control's travel, 0 to 1.
    pub fn position(&self, value: f32) -> f32 {
        let (min, max) = self.range();
        let value = value.clamp(min, max);
        let share = (value - min) / (max - min);
        match self.law() {
            Law::Even => share,
            Law::Log => (value / min).ln() / (max / min).ln(),
            Law::Centre(centre) => share.powf(exponent(min, centre, max)),
        }
    }

    /// Value at a position on the control's travel; the inverse of [`position`](Self::position).
    pub fn at_position(&self, position: f32) -> f32 {
        let (min, max) = self.range();
        let position = position.clamp(0.0, 1.0);
        let value = match self.law() {
            Law::Even => min + position * (max - min),
            Law::Log => min * (max / min).powf(position),
            Law::Centre(centre) => min + position.powf(1.0 / exponent(min, centre, max)) * (max - min),
        };
        value.clamp(min, max)
    }

    /// How the range maps to the travel; switches and choices have equal steps.
    pub fn law(&self) -> Law {
        match self.kind {
            Kind::Number { law, .. } => law,
            _ => Law::Even,
        }
    }
}

/// `settings` without monitoring, as every file is made: see [`MONITORING_IDS`].
pub fn without_monitoring(settings: &Settings) -> Settings {
    let mut settings = *settings;
    for param in all().iter().filter(|param| param.is_monitoring()) {
        param.set(&mut settings, param.default());
    }
    settings
}

/// The power that puts `centre` at one half: `((centre − min) / (max − min))^p = 0.5`.
fn exponent(min: f32, centre: f32, max: f32) -> f32 {
    0.5_f32.ln() / ((centre - min) / (max - min)).ln()
}

/// The nearest number of five significant digits, four decimals at most. Hosts send positions in
/// single precision: without rounding the same text would give values that differ in their last bits,
/// and so different samples.
fn round_to_5_digits(value: f32) -> f32 {
    let value = f64::from(value);
    let decimals = (4.0 - value.abs().max(1.0).log10().floor()).max(0.0);
    let scale = 10f64.powf(decimals);
    ((value * scale).round() / scale) as f32
}

impl std::fmt::Debug for Param {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Param").field("id", &self.id).field("kind", &self.kind).finish_non_exhaustive()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_are_unique_and_plain() {
        let mut seen = std::collections::BTreeSet::new();
        for param in all() {
            assert!(seen.insert(param.id), "{} twice", param.id);
            assert!(param.id.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'_'));
            assert!(!param.help.is_empty() && param.help.ends_with('.'), "{}", param.id);
        }
    }

    #[test]
    fn every_parameter_reads_back_what_was_set_and_touches_nothing_else() {
        for param in all() {
            let (min, max) = param.range();
            assert!((min..=max).contains(&param.default()), "{}", param.id);
            for value in [min, max, param.default()] {
                let mut settings = Settings::default();
                param.set(&mut settings, value);
                assert_eq!(param.get(&settings), value, "{}", param.id);
                for other in all().iter().filter(|other| other.id != param.id) {
                    assert_eq!(other.get(&settings), other.default(), "{} moved {}", param.id, other.id);
                }
            }
        }
    }

    #[test]
    fn the_table_covers_every_field_of_the_settings() {
        let mut settings = Settings::default();
        for param in all() {
            let (min, max) = param.range();
            param.set(&mut settings, if param.default() == max { min } else { max });
        }
        // Every leaf differs from the default: compare the printed fields one by one.
        let changed = format!("{settings:#?}");
        let default = format!("{:#?}", Settings::default());
        let fixed = ["kind: Bell", "slope: Db12"]; // the inner bands have neither parameter
        for (a, b) in changed.lines().zip(default.lines()) {
            let leaf = a.trim_end_matches(',').trim();
            if a.ends_with(',') && leaf.contains(": ") && !fixed.contains(&leaf) {
                assert_ne!(a, b, "no parameter sets {leaf}");
            }
        }
    }

    #[test]
    fn monitoring_never_reaches_settings_that_make_a_file() {
        let mut settings = Settings::default();
        settings.limiter.drive = 3.0;
        let plain = settings;
        settings.bypass = true;
        settings.compare = crate::settings::Compare::After;
        settings.limiter.removed_only = true;
        assert_eq!(without_monitoring(&settings), plain);
        assert_eq!(all().iter().filter(|param| param.is_monitoring()).count(), MONITORING_IDS.len());
    }

    #[test]
    fn out_of_range_and_nan_cannot_enter() {
        for param in all() {
            let (min, max) = param.range();
            let mut settings = Settings::default();
            param.set(&mut settings, f32::NAN);
            assert_eq!(param.get(&settings), param.default());
            param.set(&mut settings, f32::INFINITY);
            assert_eq!(param.get(&settings), max);
            param.set(&mut settings, -1e30);
            assert_eq!(param.get(&settings), min);
        }
    }

    #[test]
    fn positions_and_values_are_inverse() {
        for param in all() {
            for step in 0..=20 {
                let position = step as f32 / 20.0;
                let back = param.position(param.at_position(position));
                assert!((back - position).abs() < 2e-3, "{} {position} {back}", param.id);
            }
        }
    }

    #[test]
    fn single_precision_positions_lead_to_the_same_value() {
        for param in all() {
            for value in [param.default(), param.at_position(0.3), param.at_position(0.77)] {
                let (mut direct, mut round) = (Settings::default(), Settings::default());
                param.set(&mut direct, value);
                let value = param.get(&direct);
                param.set(&mut round, param.at_position(param.position(value)));
                assert_eq!(param.get(&round), value, "{}", param.id);
            }
        }
    }

    #[test]
    fn every_text_reads_back() {
        for param in all() {
            for step in 0..=50 {
                let value = match param.kind {
                    Kind::Number { .. } => param.at_position(step as f32 / 50.0),
                    _ => (param.range().1 * step as f32 / 50.0).round(),
                };
                let text = param.text(value);
                let back = param.parse(&text).unwrap_or_else(|e| panic!("{}: {text}: {e}", param.id));
                assert_eq!(param.text(back), text, "{}", param.id);
            }
        }
    }
}

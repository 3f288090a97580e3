//! Options as users write them: a settings file, a preset's name, single settings, a target and a file
//! format as text in; [`Settings`], [`Target`], [`Layout`] and [`Encoding`] out.

use std::path::{Path, PathBuf};

use super::delivery::{Delivery, DeliveryTable, toml_fault};
use super::format::{Encoding, Layout};
use crate::meter::targets::{TARGETS, Target};
use crate::params;
use crate::presets::{self, Preset, PresetStore};
use crate::settings::Settings;

/// Loudness targets that are accepted, LUFS.
const TARGET_RANGE_LUFS: std::ops::RangeInclusive<f64> = -60.0..=0.0;
/// Highest true peak of a target given as a number, dBTP; the ceiling replaces it.
const DEFAULT_TRUE_PEAK_DBTP: f64 = -1.0;

/// Where settings come from. Later fields take precedence over earlier ones.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SettingsChoice {
    /// Name of a preset.
    pub preset: Option<String>,
    /// A settings file (TOML); taken instead of the preset.
    pub file: Option<PathBuf>,
    /// Single settings, `id=value`.
    pub assignments: Vec<String>,
}

impl SettingsChoice {
    /// The settings: defaults, then the preset or the file, then the single settings.
    ///
    /// # Errors
    /// A sentence that names the faulty file, preset or setting.
    pub fn settings(&self) -> Result<Settings, String> {
        let mut settings = match (&self.file, &self.preset) {
            (Some(path), _) => settings_of_file(path)?,
            (None, Some(name)) => preset(name)?.settings,
            (None, None) => Settings::default(),
        };
        for assignment in &self.assignments {
            assign(&mut settings, assignment)?;
        }
        Ok(settings)
    }
}

fn settings_of_file(path: &Path) -> Result<Settings, String> {
    let text = text_of(path, "a settings file")?;
    params::from_toml(&text).map_err(|err| format!("{}: {err}", path.display()))
}

/// The text of a file; `what` it was to be.
pub(super) fn text_of(path: &Path, what: &str) -> Result<String, String> {
    std::fs::read_to_string(path)
        .map_err(|err| format!("{}: cannot be read as {what}: {err}", path.display()))
}

/// The deliveries that a settings file asks for; none if it has none.
///
/// # Errors
/// A sentence that names the file and the fault.
pub fn deliveries_of_file(path: &Path) -> Result<Vec<Delivery>, String> {
    #[derive(serde::Deserialize)]
    struct Tables {
        #[serde(default)]
        delivery: Vec<DeliveryTable>,
    }
    let text = text_of(path, "a settings file")?;
    let at = |err: String| format!("{}: {err}", path.display());
    let tables: Tables = toml::from_str(&text).map_err(|err| at(toml_fault(&text, &err)))?;
    let number = |(i, table): (usize, DeliveryTable)| {
        Delivery::try_from(table).map_err(|err| at(format!("delivery {}: {err}", i + 1)))
    };
    tables.delivery.into_iter().enumerate().map(number).collect()
}

/// The delivery that a file describes.
///
/// # Errors
/// A sentence that names the file and the fault.
pub fn delivery_of_file(path: &Path) -> Result<Delivery, String> {
    let text = text_of(path, "a delivery")?;
    Delivery::from_toml(&text).map_err(|err| format!("{}: {err}", path.display()))
}

/// Carries out `id=value`.
fn assign(settings: &mut Settings, assignment: &str) -> Result<(), String> {
    let (id, text) = assignment.split_once('=').ok_or_else(|| {
        format!("--set {assignment}: write the setting's id, = and a value, as in comp_on=on")
    })?;
    let id = id.trim();
    let param = params::find(id)
        .ok_or_else(|| format!("\"{id}\" is not a setting; `lintel settings` lists them all"))?;
    if param.is_monitoring() {
        return Err(format!("--set {id}: \"{id}\" is for listening and never reaches a file; leave it out"));
    }
    let value = param.parse(text).map_err(|err| err.to_string())?;
    param.set(settings, value);
    Ok(())
}

/// All presets: those of the program and the user's own.
pub fn preset_store() -> PresetStore {
    PresetStore::new(presets::folder())
}

/// The preset of that name.
///
/// # Errors
/// A sentence that lists the known presets.
pub fn preset(name: &str) -> Result<Preset, String> {
    let store = preset_store();
    store.find(name).cloned().ok_or_else(|| {
        let words: Vec<&str> = store.user.iter().chain(&store.factory).map(|p| p.word.as_str()).collect();
        format!("--preset {name}: no such preset; known presets: {}", words.join(", "))
    })
}

/// A target as text: a delivery's name, or integrated loudness in LUFS with or without its unit.
///
/// # Errors
/// A sentence that says what is accepted.
pub fn parse_target(text: &str) -> Result<Target, String> {
    if let Some(target) = Target::named(text.trim()) {
        return Ok(target);
    }
    let plain = text.replace('\u{2212}', "-").to_lowercase();
    match plain.trim().trim_end_matches("lufs").trim().parse::<f64>() {
        Ok(loudness) if TARGET_RANGE_LUFS.contains(&loudness) => {
            Ok(Target::own(loudness, DEFAULT_TRUE_PEAK_DBTP))
        }
        Ok(_) => Err(format!("--target {text}: loudness must be between −60 and 0 LUFS")),
        Err(_) => {
            let names: Vec<&str> = TARGETS.iter().map(|target| target.name).collect();
            Err(format!("--target {text}: neither LUFS (as in −14) nor one of: {}", names.join(", ")))
        }
    }
}

/// The target of a job. Where the user gave none, or only a loudness, its highest true peak is the
/// ceiling of the settings.
pub fn target_of_job(asked: Option<Target>, settings: &Settings) -> Target {
    let mut target = asked.unwrap_or_default();
    if settings.limiter.on && asked.is_none_or(|target| target.name == "own") {
        target.true_peak = f64::from(settings.limiter.ceiling);
    }
    target
}

/// The container of an output: as asked for, else by the extension of its path, else WAV.
///
/// # Errors
/// A sentence that names the unknown extension, or the encoding that the container cannot hold.
pub fn layout_of_output(
    asked: Option<Layout>,
    output: Option<&Path>,
    encoding: Encoding,
) -> Result<Layout, String> {
    if let (Some(asked), Some(named)) = (asked, output.and_then(Layout::of_path))
        && asked != named
    {
        let extension = output.and_then(Path::extension).unwrap_or_default().to_string_lossy().into_owned();
        return Err(format!(
            "--format {} contradicts the extension \".{extension}\": name the output .{} or leave out --format",
            asked.extension(),
            asked.extension()
        ));
    }
    let layout = match (asked, output) {
        (Some(layout), _) => layout,
        (None, None) => Layout::Wav,
        (None, Some(path)) => Layout::of_path(path).ok_or_else(|| {
            let extension = path.extension().unwrap_or_default().to_string_lossy();
            format!("an output with the extension \".{extension}\" is not supported; use .wav or .flac (or --format)")
        })?,
    };
    match (layout, encoding) {
        (Layout::Flac, Encoding::Float(_)) => Err("FLAC holds integers: use --bits 16 or 24".into()),
        _ => Ok(layout),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn single_settings_take_precedence_and_faulty_ones_are_named() {
        let choice = |assignments: &[&str]| SettingsChoice {
            preset: Some("gentle".into()),
            file: None,
            assignments: assignments.iter().map(|text| text.to_string()).collect(),
        };
        let settings = choice(&["drive = 2.5", "drive=3"]).settings().unwrap();
        assert_eq!((settings.limiter.drive, settings.compressor.ratio), (3.0, 1.6));
        assert!(choice(&["cieling=-1"]).settings().unwrap_err().contains("is not a setting"));
        assert!(choice(&["removed_only=on"]).settings().unwrap_err().contains("never reaches a file"));
        assert!(choice(&["drive"]).settings().unwrap_err().contains("as in comp_on=on"));
    }

    #[test]
    fn targets_are_names_or_numbers() {
        assert_eq!(parse_target(" \u{2212}14 LUFS").unwrap().loudness, -14.0);
        assert_eq!(parse_target("broadcast").unwrap().loudness, -23.0);
        assert!(parse_target("3").unwrap_err().contains("between"));
        assert!(parse_target("loud").unwrap_err().contains("streaming"));
        let mut settings = Settings::default();
        settings.limiter.ceiling = -2.0;
        assert_eq!(target_of_job(Some(parse_target("-14").unwrap()), &settings).true_peak, -2.0);
        assert_eq!(target_of_job(Some(parse_target("broadcast").unwrap()), &settings).true_peak, -1.0);
    }

    #[test]
    fn the_container_follows_the_request_and_then_the_extension() {
        let int = Encoding::Int(24);
        assert_eq!(layout_of_output(None, None, int), Ok(Layout::Wav));
        assert_eq!(layout_of_output(None, Some(Path::new("x.FLAC")), int), Ok(Layout::Flac));
        let contradiction = layout_of_output(Some(Layout::Wav), Some(Path::new("x.flac")), int).unwrap_err();
        assert!(contradiction.contains("name the output .wav"), "{contradiction}");
        assert_eq!(layout_of_output(Some(Layout::Flac), Some(Path::new("x.flac")), int), Ok(Layout::Flac));
        assert!(layout_of_output(None, Some(Path::new("x.mp3")), int).unwrap_err().contains(".flac"));
        assert!(layout_of_output(Some(Layout::Flac), None, Encoding::Float(32)).is_err());
    }
}

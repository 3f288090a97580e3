//! A master as JSON: a [`Master`] in, one object out. Units stand in the keys or are those of the
//! documented fields; levels that do not exist for silence are null.

use std::path::Path;

use serde_json::{Map, Value, json};

use super::encoded::encoded_json;
use super::sentences::GRADE_LIMITS;
use crate::dsp::db;
use crate::finish::master::Master;
use crate::finish::master_grade::MasterGrade;
use crate::grade::words;
use crate::meter::reduction::ReductionStats;
use crate::meter::rules::{AdviceNote, Rule};
use crate::params::{self, Kind};
use crate::settings::Settings;

/// The JSON object of one song.
pub fn song_json(master: &Master) -> Value {
    let meter = |figures: crate::finish::reread::DeliveryFigures| json!({"integrated": finite(figures.integrated), "true_peak": finite(figures.true_peak)});
    let (measured, reread) = (&master.measured, &master.reread);
    json!({
        "lintel": env!("CARGO_PKG_VERSION"),
        "source": {
            "path": shown(&master.input),
            "sha256": master.input_hash,
            "format": master.source,
            "ends": master.ends,
        },
        "master": {
            "path": shown(&master.output),
            "sha256": master.output_hash,
            "container": master.container(),
            "encoding": master.spec.encoding,
            "rate": master.spec.rate,
            "channels": master.spec.channels,
            "mono_as": measured.mono_as,
            "frames": measured.frames,
            "clipped_samples": measured.clipped,
            "tags": master.spec.tags,
            "lost_metadata": master.lost,
        },
        "cut": master.cut,
        "target": {
            "name": master.search.as_ref().map(|_| master.target.name),
            "loudness": master.search.as_ref().map(|_| master.target.loudness),
            "true_peak": master.target.true_peak,
        },
        "search": master.search,
        "settings": settings_json(&master.settings),
        "in": measured.input,
        "out": measured.output,
        "reread": {
            "own_meter": meter(reread.own),
            "second_meter": meter(reread.reference),
            "sample_peak": finite(db::from_gain(reread.sample_peak)),
        },
        "grade": master.grade.as_ref().map(grade_json),
        "encoded": master.encoded.as_ref().map(encoded_json),
        "compressor": reduction_json(&measured.compressor),
        "limiter": reduction_json(&measured.limiter),
        "soft_clip": reduction_json(&measured.clip),
        "advice": notes_json(&measured.notes),
    })
}

/// A grade with its words and limits.
fn grade_json(grade: &MasterGrade) -> Value {
    json!({
        "odg": grade.odg(),
        "words": grade.odg().map(words),
        "louder_lu": grade.louder_lu,
        "sections": grade.sections,
        "graded_s": grade.graded_s,
        "song_s": grade.song_s,
        "limits": GRADE_LIMITS,
    })
}

/// All settings by id, without monitoring.
fn settings_json(settings: &Settings) -> Map<String, Value> {
    let all = params::all();
    let pairs = all.iter().filter(|param| !param.is_monitoring()).map(|param| {
        let value = param.get(settings);
        let value = match param.kind {
            Kind::Number { .. } => json!(shortest_f64(value)),
            Kind::Choice(_) => json!(param.text(value)),
            Kind::Switch => json!(value >= 0.5),
        };
        (param.id.to_owned(), value)
    });
    pairs.collect()
}

fn reduction_json(reduction: &ReductionStats) -> Value {
    json!({
        "deepest_db": reduction.most,
        "mean_active_db": reduction.depth,
        "active_share": reduction.share,
    })
}

/// Advice as JSON.
pub fn notes_json(notes: &[AdviceNote]) -> Value {
    let note = |note: &AdviceNote| {
        json!({
            "rule": format!("{:?}", note.rule),
            "value": finite(note.value),
            "says": note.says,
            "advises": note.advises,
            "basis": note.rule.rule().map(Rule::basis),
            "at_seconds": note.at,
        })
    };
    notes.iter().map(note).collect()
}

/// A path as text: names that are not Unicode with a sign in place of what is not, as everywhere on the screen.
fn shown(path: &Path) -> String {
    path.display().to_string()
}

/// The 64-bit number whose shortest text is that of the 32-bit one: 1.6, not 1.600000023841858.
fn shortest_f64(value: f32) -> f64 {
    value.to_string().parse().unwrap_or(f64::from(value))
}

fn finite(x: f64) -> Option<f64> {
    x.is_finite().then_some(x)
}

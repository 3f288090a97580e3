//! The HTML report on one song: a [`Master`] in, a complete page or the section of a release out.

use std::path::Path;

use maud::{Markup, html};

use super::chart::song_chart;
use super::encoded::encoded_section;
use super::page::{inline, page};
use super::sentences::{GRADE_LIMITS, clipped_sentence, grade_sentence, mono_sentence, search_sentence};
use crate::finish::chart::spectrum_svg;
use crate::finish::figures::{FIGURES, FileFigures};
use crate::finish::master::Master;
use crate::finish::master_grade::MasterGrade;
use crate::finish::tags::TagField;
use crate::finish::trial::Search;
use crate::meter::rules::Rule;
use crate::numbers::{NONE, clock_tenths, number};
use crate::params;
use crate::settings::Settings;

/// The page of one song with all its masters; the chapters on sound are those of the first.
///
/// # Panics
/// Without masters.
pub fn song_page(masters: &[Master]) -> String {
    let master = &masters[0];
    let title = master.title();
    let artist = master.spec.tags.get(TagField::Artist);
    let body = html! {
        @if masters.len() > 1 { (deliveries(masters)) }
        (song_section(&masters.iter().collect::<Vec<_>>()))
    };
    page(&format!("{title} \u{2013} master"), &title, artist, &body)
}

/// A row for each of several masters of one song.
fn deliveries(masters: &[Master]) -> Markup {
    let text = |value: Option<f64>| value.map_or(NONE.to_owned(), |x| number(x, 1));
    html! {
        h2 { "deliveries" }
        table class="figures" {
            thead {
                tr {
                    th { "file" } th { "container" } th { "word length" } th { "rate, Hz" } th { "LUFS" }
                    th { "second meter, LUFS" } th { "dBTP" } th { "second meter, dBTP" } th { "drive, dB" }
                }
            }
            tbody {
                @for master in masters {
                    tr {
                        th { (master.output.file_name().unwrap_or_default().to_string_lossy()) }
                        td { (master.container()) }
                        td { (master.spec.encoding) }
                        td { (master.spec.rate) }
                        td { (text(Some(master.reread.own.integrated))) }
                        td { (text(Some(master.reread.reference.integrated))) }
                        td { (text(Some(master.reread.own.true_peak))) }
                        td { (text(Some(master.reread.reference.true_peak))) }
                        td { (number(f64::from(master.settings.limiter.drive), 1)) }
                    }
                }
            }
        }
        p { "All that follows describes the first of them." }
    }
}

/// Everything about one song, for its own page or for that of a release.
pub(super) fn song_section(masters: &[&Master]) -> Markup {
    let master = masters[0];
    let measured = &master.measured;
    html! {
        p class="lead" { (summary(master)) }
        @if !measured.notes.is_empty() || !master.cut.notes.is_empty() {
            h2 { "advice" }
            ul class="notes" {
                @for note in &master.cut.notes { li { (capitalised(note)) "." } }
                @for note in &measured.notes { li title=[note.rule.rule().map(Rule::basis)] { b { (note.says) } " " (note.advises) } }
            }
        }
        h2 { "the whole song" }
        @match song_chart(master).to_svg() {
            Ok(svg) => figure class="song" { (inline(&svg)) },
            Err(err) => p { (err) },
        }
        div class="pair" {
            section {
                h2 { "in and out" }
                (figures_table(&["in", "out"], &[&measured.input, &measured.output]))
            }
            section {
                h2 { "spectrum" }
                @match spectrum_svg(&measured.spectrum_in, &measured.spectrum_out) {
                    Ok(svg) => figure { (inline(&svg)) },
                    Err(err) => p { (err) },
                }
            }
        }
        @if let Some(grade) = &master.grade { (grade_table(grade)) }
        @if let Some(encoded) = &master.encoded { (encoded_section(encoded)) }
        @if let Some(search) = &master.search { (search_log(search)) }
        h2 { "settings" }
        (settings_tables(&master.settings))
        h2 { "files" }
        (files(masters))
    }
}

/// The first paragraph: what was made.
fn summary(master: &Master) -> String {
    let output = &master.measured.output;
    let text = |value: Option<f64>| value.map_or(NONE.to_owned(), |x| number(x, 1));
    let mut words = format!(
        "{} at {} LUFS, true peak {} dBTP; {}, {} Hz.",
        clock_tenths(master.measured.seconds()),
        text(output.integrated),
        text(output.true_peak),
        master.spec.encoding,
        master.spec.rate
    );
    if let Some(mono_as) = master.measured.mono_as {
        words = format!("{words} {}.", capitalised(mono_sentence(mono_as)));
    }
    if let Some(sentence) = clipped_sentence(master.measured.clipped) {
        words = format!("{words} {sentence}");
    }
    if let Some(search) = &master.search {
        words = format!("{words} {}", search_sentence(search));
    }
    words
}

/// A table of figures, one column a signal.
fn figures_table(heads: &[&str], columns: &[&FileFigures]) -> Markup {
    html! {
        table class="figures" {
            thead { tr { th {} @for head in heads { th { (head) } } th {} } }
            tbody {
                @for figure in FIGURES {
                    tr {
                        th { (figure.name) }
                        @for figures in columns { td { (figure.text(figures)) } }
                        td class="unit" { (figure.unit) }
                    }
                }
            }
        }
    }
}

/// The grade with its sections and its limits.
fn grade_table(grade: &MasterGrade) -> Markup {
    let lowest = grade.worst().map(|section| section.start_s);
    html! {
        h2 { "grade" }
        p { (capitalised(&grade_sentence(grade))) "." }
        @if grade.sections.len() > 1 {
            table class="figures" {
                thead { tr { th { "section" } th { "grade" } } }
                tbody {
                    @for section in &grade.sections {
                        tr class=[(Some(section.start_s) == lowest).then_some("chosen")] {
                            th { (clock_tenths(section.start_s)) }
                            td { (number(section.odg, 1)) }
                        }
                    }
                }
            }
        }
        p class="tag" { (GRADE_LIMITS) }
    }
}

fn search_log(search: &Search) -> Markup {
    html! {
        h2 { "search log" }
        table class="figures" {
            thead { tr { th { "gain, dB" } th { "loudness, LUFS" } th {} } }
            tbody {
                @for trial in &search.trials {
                    tr class=[(trial.gain == search.gain).then_some("chosen")] {
                        td { (number(trial.gain, 2)) }
                        td { (number(trial.loudness, 2)) }
                        td class="unit" { (trial.over_driven.as_deref().unwrap_or("")) }
                    }
                }
            }
        }
    }
}

/// All settings by group, without monitoring; those that differ from their default stand out.
fn settings_tables(settings: &Settings) -> Markup {
    let without: Vec<_> = params::all().iter().filter(|param| !param.is_monitoring()).collect();
    html! {
        div class="settings" {
            @for group in without.chunk_by(|a, b| a.group == b.group) {
                table {
                    caption { (group[0].group) }
                    tbody {
                        @for param in group {
                            @let value = param.get(settings);
                            tr class=[(value != param.default()).then_some("changed")] {
                                th title=(param.id) { (param.name) }
                                td { (param.text(value)) }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn files(masters: &[&Master]) -> Markup {
    let master = masters[0];
    let row = |name: &str, path: &Path, about: String, hash: &str| {
        html! {
            tr {
                th { (name) }
                td {
                    (path.file_name().unwrap_or_default().to_string_lossy()) br; (about) br;
                    code { "sha256 " (hash) }
                }
            }
        }
    };
    let tags = &master.spec.tags;
    html! {
        table class="files" {
            tbody {
                (row("source", &master.input, about_source(master), &master.input_hash))
                @for master in masters {
                    (row("master", &master.output, about_master(master), &master.output_hash))
                }
            }
        }
        @for (field, value) in tags.fields() { p class="tag" { (field.name()) ": " (value) } }
        @if !tags.markers.is_empty() {
            p class="tag" { (tags.markers.len()) @if tags.markers.len() == 1 { " marker" } @else { " markers" } }
        }
        @if let Some(sentence) = master.lost_sentence() { p { (capitalised(&sentence)) "." } }
    }
}

fn about_source(master: &Master) -> String {
    let ends = &master.ends;
    let at = |frame: u64| clock_tenths(frame as f64 / f64::from(ends.rate));
    format!(
        "{}, {}, {} Hz; found start {} and end {} of {}",
        master.source.container,
        master.source.encoding,
        ends.rate,
        at(ends.start),
        at(ends.end),
        at(ends.frames)
    )
}

fn about_master(master: &Master) -> String {
    let (own, reference) = (master.reread.own, master.reread.reference);
    format!(
        "{}, {}, {} Hz; re-read: {} frames, {} LUFS, {} dBTP (second meter: {} LUFS, {} dBTP)",
        master.container(),
        master.spec.encoding,
        master.spec.rate,
        master.reread.frames,
        number(own.integrated, 2),
        number(own.true_peak, 2),
        number(reference.integrated, 2),
        number(reference.true_peak, 2)
    )
}

fn capitalised(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map(|first| first.to_uppercase().chain(chars).collect()).unwrap_or_default()
}

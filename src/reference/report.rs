//! The HTML page of a comparison: a [`Comparison`] in, one document with one picture out.

use maud::{Markup, html};

use super::bands::{NOMINAL_HZ, smoothed};
use super::comparison::{Comparison, hertz};
use super::several::Spread;
use super::stereo::RANGES;
use crate::finish::chart::{ReferenceChart, reference_svg};
use crate::finish::report::{inline, page_with_footer};
use crate::finish::{FIGURES, FileFigures};
use crate::numbers::{NONE, number, signed};

/// Figures of [`FIGURES`] that a comparison shows.
const SHOWN: [&str; 5] = ["integrated", "range", "plr", "crest", "peak"];

/// One row of the table: name, mix, spread of the references, unit, digits.
pub struct Row {
    /// What it is.
    pub name: String,
    /// The mix's figure.
    pub mix: Option<f64>,
    /// The references'.
    pub reference: Option<Spread>,
    /// Unit; empty for none.
    pub unit: &'static str,
    decimals: usize,
}

impl Row {
    /// The cells behind the name: mix, reference, of several lowest and highest, difference (reference minus
    /// mix), unit.
    pub fn cells(&self, several: bool) -> Vec<String> {
        let text = |value: Option<f64>| value.map_or(NONE.to_owned(), |x| number(x, self.decimals));
        let pick = |of: fn(&Spread) -> f64| text(self.reference.as_ref().map(of));
        let mut cells = vec![text(self.mix), pick(|s| s.median)];
        if several {
            cells.extend([pick(|s| s.low), pick(|s| s.high)]);
        }
        let apart = self.mix.zip(self.reference).map(|(mix, reference)| reference.median - mix);
        cells.push(apart.map_or(NONE.to_owned(), |x| signed(x, self.decimals)));
        cells.push(self.unit.to_owned());
        cells
    }
}

impl Comparison {
    /// Heads of `Row::cells`.
    pub fn heads(&self) -> Vec<String> {
        let mut heads = vec!["mix".to_owned()];
        match self.references.profiles.len() {
            1 => heads.push("reference".into()),
            5.. => heads.extend(["median", "lower quartile", "upper quartile"].map(String::from)),
            _ => heads.extend(["median", "lowest", "highest"].map(String::from)),
        }
        heads.extend(["difference".to_owned(), String::new()]);
        heads
    }

    /// Whether there is more than one reference.
    pub fn is_several(&self) -> bool {
        self.references.profiles.len() > 1
    }

    /// The figures side by side.
    pub fn rows(&self) -> Vec<Row> {
        let shown = FIGURES.iter().filter(|figure| SHOWN.contains(&figure.id));
        let mut rows: Vec<Row> = shown
            .map(|figure| {
                let value = |figures: &FileFigures| figure.value(figures);
                Row {
                    name: figure.name.to_owned(),
                    mix: value(&self.mix.figures),
                    reference: self.references.spread(|profile| value(&profile.figures)),
                    unit: figure.unit,
                    decimals: 1,
                }
            })
            .collect();
        for (i, (name, low, high)) in RANGES.iter().enumerate() {
            let name = format!("{name} ({} to {})", hertz(*low), hertz(*high));
            let mix = self.mix.stereo.ranges[i];
            rows.push(Row {
                name: format!("width, {name}"),
                mix: mix.width_db,
                reference: self.references.stereo(i, |range| range.width_db),
                unit: "dB",
                decimals: 1,
            });
            rows.push(Row {
                name: format!("correlation, {name}"),
                mix: mix.correlation,
                reference: self.references.stereo(i, |range| range.correlation),
                unit: "",
                decimals: 2,
            });
        }
        rows.push(Row {
            name: "mono share of the low end".into(),
            mix: self.mix.stereo.low_mono_share,
            reference: self.references.spread(|profile| profile.stereo.low_mono_share),
            unit: "%",
            decimals: 0,
        });
        rows
    }

    /// The spectra by third octave: nominal centre, mix, reference, difference, difference over octaves, curve
    /// of the move; dB.
    pub fn spectrum_rows(&self) -> Vec<Vec<String>> {
        let smooth = smoothed(&self.tone.difference);
        let text = |value: Option<f64>| value.map_or(NONE.to_owned(), |x| number(x, 1));
        let change = |value: Option<f64>| value.map_or(NONE.to_owned(), |x| signed(x, 1));
        let row = |(band, hz): (usize, &f64)| {
            vec![
                if *hz == 31.5 { "31.5 Hz".to_owned() } else { hertz(*hz) },
                text(self.mix_levels[band]),
                text(self.reference_levels[band].map(|spread| spread.median)),
                change(self.tone.difference[band]),
                change(smooth[band]),
                change(self.tone.advice.proposes().then_some(self.curve[band])),
            ]
        };
        NOMINAL_HZ.iter().enumerate().map(row).collect()
    }

    /// Heads of [`Comparison::spectrum_rows`].
    pub fn spectrum_heads(&self) -> [String; 6] {
        let reference = if self.is_several() { "median" } else { "reference" };
        ["", "mix", reference, "difference", "over octaves", "proposed EQ"].map(String::from)
    }

    /// The picture's data.
    pub fn chart(&self) -> ReferenceChart {
        let proposed = self.tone.advice.proposes();
        let only = |values: &[Option<f64>]| if proposed { values.to_vec() } else { vec![None; values.len()] };
        ReferenceChart {
            name: if self.is_several() {
                format!("{} (median and spread)", self.references.name())
            } else {
                self.references.name()
            },
            curve_name: format!("proposed EQ at {} %", number(100.0 * self.share, 0)),
            hz: NOMINAL_HZ.to_vec(),
            mix: self.mix_levels.to_vec(),
            reference: self.reference_levels.iter().map(|s| s.map(|s| [s.low, s.median, s.high])).collect(),
            difference: self.tone.difference.to_vec(),
            smooth: smoothed(&self.tone.difference).to_vec(),
            curve: only(&self.curve.map(Some)),
            left: only(&smoothed(&self.left)),
        }
    }
}

/// The page.
pub fn reference_page(beside: &Comparison) -> String {
    let body = html! {
        p class="lead" { (beside.tone.advice.sentence()) }
        @if beside.tone.advice.proposes() {
            ul class="notes" { @for line in beside.band_lines() { li { (line) } } }
            p { (beside.move_sentence()) }
        }
        @match reference_svg(&beside.chart()) {
            Ok(svg) => figure class="song" { (inline(&svg)) },
            Err(err) => p { (err) },
        }
        h2 { "figures" }
        (table(&beside.heads(), beside.rows().iter().map(|row| (row.name.clone(), row.cells(beside.is_several())))))
        h2 { "long-term spectrum by third octave, dB at equal loudness" }
        @let rows = beside.spectrum_rows();
        (table(&beside.spectrum_heads()[1..], rows.iter().map(|row| (row[0].clone(), row[1..].to_vec()))))
        h2 { "files" }
        (files(beside))
    };
    let title = beside.mix.name();
    let footer = format!(
        "Lintel {}. Loudness after ITU-R BS.1770-5 and EBU Tech 3341, 3342; third-octave bands after IEC \
         61260-1; levels relative to the K-weighted power of the whole file. The limits of the verdict are \
         common practice without a source. Listen before you decide.",
        env!("CARGO_PKG_VERSION")
    );
    let heading = format!("{title} beside {}", beside.references.name());
    page_with_footer(&heading, &heading, None, &body, &footer)
}

fn table(heads: &[String], rows: impl Iterator<Item = (String, Vec<String>)>) -> Markup {
    html! {
        table class="figures" {
            thead { tr { th {} @for head in heads { th { (head) } } } }
            tbody { @for (name, cells) in rows { tr { th { (name) } @for cell in cells { td { (cell) } } } } }
        }
    }
}

fn files(beside: &Comparison) -> Markup {
    let all = std::iter::once(("mix", &beside.mix))
        .chain(beside.references.profiles.iter().map(|profile| ("reference", profile)));
    html! {
        table class="files" {
            tbody {
                @for (role, profile) in all {
                    tr {
                        th { (role) }
                        td {
                            (profile.name()) br;
                            (profile.format.name) ", " (profile.format.rate) " Hz, "
                            (crate::numbers::clock_tenths(profile.seconds()))
                        }
                    }
                }
            }
        }
    }
}

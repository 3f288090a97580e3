//! The picture: the grade against the loudness gained, a line a design (mean), a dot a piece.

use super::designs::DESIGNS;
use super::{GAINS_LU, Measured, summary};
use crate::figures::style::{FONT, OCHRE, RED, TEAL, TEXT, VIOLET, broken, legend, mesh, number, page};
use plotters::prelude::*;
use std::io;
use std::path::Path;

/// Draws the SVG file.
pub fn grades(path: &Path, measured: &[Measured]) -> io::Result<()> {
    page(path, (900, 480), |area| {
        let mut chart = ChartBuilder::on(area)
            .caption(
                "audibility of loudness: mean (line) and each piece (dot)",
                (FONT, 18).into_font().color(&TEXT),
            )
            .margin(12)
            .margin_right(36)
            .x_label_area_size(40)
            .y_label_area_size(64)
            .build_cartesian_2d(2.5..9.8, -4.0..0.2)
            .map_err(broken)?;
        mesh(&mut chart, ("loudness gained in LU", "objective difference grade"), &number)?;
        for (n, (design, colour)) in DESIGNS.into_iter().zip([RED, TEXT, TEAL, OCHRE, VIOLET]).enumerate() {
            // Side by side, so that no dot hides another.
            let shift = 0.08 * (n as f64 - 2.0);
            let grades =
                |k: usize| measured.iter().filter_map(move |m| m.heard[n].louder[k]).map(|louder| louder.odg);
            let dots = (0..GAINS_LU.len())
                .flat_map(|k| grades(k).map(move |odg| (GAINS_LU[k] + shift, odg)))
                .map(|at| Circle::new(at, 3, colour.mix(0.45).filled()));
            chart.draw_series(dots).map_err(broken)?;
            let means = (0..GAINS_LU.len())
                .filter_map(|k| summary(grades(k)).map(|(mean, ..)| (GAINS_LU[k] + shift, mean)));
            chart
                .draw_series(LineSeries::new(means, colour.stroke_width(2)))
                .map_err(broken)?
                .label(design.name())
                .legend(move |(x, y)| PathElement::new([(x, y), (x + 18, y)], colour.stroke_width(2)));
        }
        legend(&mut chart, SeriesLabelPosition::LowerLeft)
    })
}

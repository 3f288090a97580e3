//! The limiter's charts: traces and figures in, SVG files out.

use super::super::style::{FONT, OCHRE, RED, TEAL, TEXT, broken, legend, mesh, number, page};
use super::{Over, Traces, signed};
use plotters::coord::Shift;
use plotters::prelude::*;
use std::io;
use std::path::Path;

/// A line's name, colour and points.
type Curve<'a> = (&'a str, RGBColor, &'a [(f64, f64)]);

/// One panel with lines (name, colour, points), time in s or frequency in Hz along x.
fn lines(
    area: &DrawingArea<SVGBackend, Shift>,
    title: &str,
    axes: (&str, &str),
    x: std::ops::Range<f64>,
    y: std::ops::Range<f64>,
    curves: &[Curve],
    corner: SeriesLabelPosition,
) -> io::Result<()> {
    let mut chart = ChartBuilder::on(area)
        .caption(title, (FONT, 18).into_font().color(&TEXT))
        .margin(12)
        .margin_right(36)
        .x_label_area_size(40)
        .y_label_area_size(64)
        .build_cartesian_2d(x, y)
        .map_err(broken)?;
    mesh(&mut chart, axes, &number)?;
    for &(name, colour, points) in curves {
        chart
            .draw_series(LineSeries::new(points.iter().copied(), colour.stroke_width(1)))
            .map_err(broken)?
            .label(name)
            .legend(move |(x, y)| PathElement::new([(x, y), (x + 18, y)], colour.stroke_width(2)));
    }
    legend(&mut chart, corner)
}

/// The reduction after one short peak (a) and over 2 s of density (b).
pub fn release(path: &Path, a: &Traces, b: &Traces) -> io::Result<()> {
    page(path, (900, 640), |area| {
        let panels = area.split_evenly((2, 1));
        for (panel, title, traces) in [
            (&panels[0], "(a) one peak of 1 ms at 0.2 s, 6 dB of drive, default release", a),
            (&panels[1], "(b) 2 s of density from 0.5 s, 12 transients a second", b),
        ] {
            let end = traces[0].last().map_or(1.0, |p| p.0);
            let top = traces[0].iter().map(|p| p.1).fold(0.0, f64::max) * 1.15;
            // Hangs from zero, as a reduction does.
            let curves: [Curve; 2] =
                [("soft clip at its default", RED, &traces[0]), ("soft clip 0", TEAL, &traces[1])];
            lines(
                panel,
                title,
                ("time in s", "reduction in dB"),
                0.0..end,
                top..0.0,
                &curves,
                SeriesLabelPosition::LowerRight,
            )?;
        }
        Ok(())
    })
}

/// Spectra of the 100 Hz tone and of the pair of tones, 6 dB over the ceiling.
pub fn spectrum(path: &Path, spectra: &[Vec<(f64, f64)>; 2]) -> io::Result<()> {
    page(path, (900, 640), |area| {
        let panels = area.split_evenly((2, 1));
        for (panel, title, spectrum, colour) in [
            (&panels[0], "100 Hz, 6 dB over the ceiling", &spectra[0], RED),
            (&panels[1], "60 Hz + 7 kHz, 4 : 1, 6 dB over the ceiling", &spectra[1], TEAL),
        ] {
            let shown: Vec<_> = spectrum.iter().copied().filter(|p| p.0 <= 10_000.0).collect();
            let axes = ("frequency in Hz", "dB re the largest line");
            lines(
                panel,
                title,
                axes,
                0.0..10_000.0,
                -200.0..5.0,
                &[("output", colour, &shown)],
                SeriesLabelPosition::UpperRight,
            )?;
        }
        Ok(())
    })
}

/// Worst over of every signal at every rate by both readings.
pub fn overs(path: &Path, overs: &[Over]) -> io::Result<()> {
    let mut names: Vec<&str> = Vec::new();
    for over in overs {
        if !names.contains(&over.signal) {
            names.push(over.signal);
        }
    }
    let colour = |rate: f64| match rate {
        44_100.0 => RED,
        48_000.0 => TEAL,
        _ => OCHRE,
    };
    page(path, (900, 720), |area| {
        let panels = area.split_evenly((2, 1));
        for (panel, title, bar, low, value) in [
            (
                &panels[0],
                "by 32x interpolation, 512 taps a phase",
                0.05,
                -0.05,
                (|o: &Over| o.fine) as fn(&Over) -> f64,
            ),
            (&panels[1], "by the 4x table of BS.1770-5, Annex 2", 0.25, -0.35, |o: &Over| o.annex_2),
        ] {
            let count = names.len() as f64;
            let mut chart = ChartBuilder::on(panel)
                .caption(
                    format!("worst true peak over the ceiling, {title}"),
                    (FONT, 18).into_font().color(&TEXT),
                )
                .margin(12)
                .x_label_area_size(36)
                .y_label_area_size(64)
                .build_cartesian_2d(-0.5..count - 0.5, low..bar * 2.4)
                .map_err(broken)?;
            chart
                .configure_mesh()
                .disable_x_mesh()
                .disable_x_axis()
                .y_desc("dB")
                .y_label_formatter(&number)
                .label_style((FONT, 13).into_font().color(&TEXT))
                .light_line_style(TEXT.mix(0.05))
                .bold_line_style(TEXT.mix(0.12))
                .draw()
                .map_err(broken)?;
            let limit = [(-0.5, bar), (count - 0.5, bar)];
            chart
                .draw_series(LineSeries::new(limit, TEXT.stroke_width(1)))
                .map_err(broken)?
                .label(format!("asked: {} dB", signed(bar, 2)))
                .legend(|(x, y)| PathElement::new([(x, y), (x + 18, y)], TEXT.stroke_width(1)));
            for rate in super::RATES {
                let points = overs.iter().filter(|o| o.rate == rate).map(|o| {
                    let at = names.iter().position(|n| *n == o.signal).expect("named above") as f64;
                    let aside = (rate - 60_000.0).signum() * 0.12 + if rate == 44_100.0 { -0.1 } else { 0.0 };
                    Circle::new((at + aside, value(o).max(low)), 4, colour(rate).filled())
                });
                chart
                    .draw_series(points)
                    .map_err(broken)?
                    .label(format!("{} kHz", rate / 1000.0))
                    .legend(move |(x, y)| Circle::new((x + 9, y), 4, colour(rate).filled()));
            }
            for (at, name) in names.iter().enumerate() {
                let style = (FONT, 12).into_font().color(&TEXT).pos(plotters::style::text_anchor::Pos::new(
                    plotters::style::text_anchor::HPos::Center,
                    plotters::style::text_anchor::VPos::Bottom,
                ));
                chart.draw_series([Text::new(name.to_string(), (at as f64, low), style)]).map_err(broken)?;
            }
            legend(&mut chart, SeriesLabelPosition::UpperRight)?;
        }
        Ok(())
    })
}

//! Pictures of a record: short-term loudness of songs in their order (LUFS) or the level around a transition
//! (dBFS) in, an SVG document out.

use plotters::prelude::{Color, SVGBackend};

use super::colours;
use super::model::ChartError;
use super::painter::{Align, ChartPainter, Point, svg_document};
use crate::numbers::{clock, number};

/// One song of a record.
#[derive(Clone, Debug)]
pub struct RecordSong {
    /// Place on the record, counted from 1.
    pub number: usize,
    /// Start on the record, s.
    pub start: f64,
    /// Length, s.
    pub seconds: f64,
    /// Short-term loudness at even distances, LUFS; −∞ where there is none.
    pub short_term: Vec<f32>,
    /// Integrated loudness, LUFS.
    pub integrated: Option<f64>,
}

/// Width of the strip in logical pixels.
const WIDTH: u32 = 1180;
const HEIGHT: u32 = 250;
const LEFT: f64 = 44.0;
const RIGHT: f64 = WIDTH as f64 - 16.0;
const TOP: f64 = 24.0;
const BOTTOM: f64 = HEIGHT as f64 - 26.0;
/// Range of the loudness axis below its top, LU.
const SPAN_LU: f64 = 30.0;
const STEP_LU: f64 = 6.0;
/// Height of texts.
const TEXT: f64 = 12.0;
/// Distances of the marks on the time axis, s; the first that leaves room is taken.
const STEPS_S: [f64; 6] = [10.0, 30.0, 60.0, 300.0, 600.0, 1800.0];
/// Least distance of two marks in logical pixels.
const LEAST_DISTANCE: f64 = 60.0;

/// Draws all songs on one loudness axis, each with its integrated loudness, and the target if there is one.
///
/// # Errors
/// If the drawing library fails.
pub fn record_svg(songs: &[RecordSong], target: Option<f64>) -> Result<String, ChartError> {
    svg_document((WIDTH, HEIGHT), |area| draw_record(&ChartPainter::new(area), songs, target))
}

fn draw_record(
    painter: &ChartPainter<SVGBackend>,
    songs: &[RecordSong],
    target: Option<f64>,
) -> Result<(), ChartError> {
    let length = songs.last().map_or(1.0, |song| song.start + song.seconds).max(1e-3);
    let all = songs.iter().flat_map(|song| &song.short_term).copied().map(f64::from);
    let loudest = all.chain(target).filter(|level| level.is_finite()).fold(f64::NEG_INFINITY, f64::max);
    let top = if loudest.is_finite() { (loudest / STEP_LU).ceil() * STEP_LU } else { 0.0 };
    let x = |seconds: f64| LEFT + seconds / length * (RIGHT - LEFT);
    let y = |level: f64| TOP + ((top - level) / SPAN_LU).clamp(0.0, 1.0) * (BOTTOM - TOP);
    let (grid, label) = (colours::GRID.to_rgba(), colours::SECONDARY.to_rgba());

    painter.rect((LEFT, TOP), (RIGHT, BOTTOM), colours::BACKGROUND.to_rgba())?;
    for step in 0..=(SPAN_LU / STEP_LU) as u32 {
        let level = top - f64::from(step) * STEP_LU;
        painter.line(&[(LEFT, y(level)), (RIGHT, y(level))], 1.0, grid)?;
        painter.text(&number(level, 0), (LEFT - 6.0, y(level)), TEXT, Align::Right, label)?;
    }
    let step = STEPS_S.into_iter().find(|step| x(*step) - LEFT >= LEAST_DISTANCE).unwrap_or(STEPS_S[5]);
    for mark in 0..=(length / step) as u32 {
        let at = f64::from(mark) * step;
        painter.text(&clock(at), (x(at), BOTTOM + 13.0), TEXT, Align::Middle, label)?;
    }
    painter.text("LUFS", (LEFT - 6.0, TOP - 13.0), TEXT, Align::Right, label)?;
    if let Some(target) = target {
        let ends = [(LEFT, y(target)), (RIGHT, y(target))];
        painter.dashes(&ends, 1.2, 6.0, 4.0, colours::TEXT.to_rgba())?;
    }
    for song in songs {
        let count = song.short_term.len().max(1) as f64;
        let at = |i: usize| x(song.start + song.seconds * (i as f64 + 0.5) / count);
        let upper: Vec<Point> =
            song.short_term.iter().enumerate().map(|(i, level)| (at(i), y(f64::from(*level)))).collect();
        let lower: Vec<Point> = upper.iter().map(|&(x, _)| (x, BOTTOM)).collect();
        painter.area(&upper, &lower, colours::OCHRE.mix(colours::BAND_OPACITY))?;
        painter.line(&upper, 1.2, colours::OCHRE.to_rgba())?;
        let (from, to) = (x(song.start), x(song.start + song.seconds));
        painter.line(&[(from, TOP), (from, BOTTOM)], 1.0, grid)?;
        if let Some(level) = song.integrated {
            painter.line(&[(from, y(level)), (to, y(level))], 2.0, colours::TEXT.to_rgba())?;
        }
        painter.text(
            &song.number.to_string(),
            ((from + to) / 2.0, TOP - 10.0),
            TEXT,
            Align::Middle,
            label,
        )?;
    }
    Ok(())
}

/// Size of the picture of a transition in logical pixels.
const PAIR_WIDTH: u32 = 380;
const PAIR_HEIGHT: u32 = 84;
/// Range of its level axis below full scale, dB.
const PAIR_SPAN_DB: f64 = 60.0;

/// Draws the level at the end of one song and at the start of the next one, dBFS at even distances, side by side.
///
/// # Errors
/// If the drawing library fails.
pub fn transition_svg(end: &[f32], start: &[f32]) -> Result<String, ChartError> {
    svg_document((PAIR_WIDTH, PAIR_HEIGHT), |area| {
        let painter = ChartPainter::new(area);
        let (width, height) = (f64::from(PAIR_WIDTH), f64::from(PAIR_HEIGHT));
        painter.rect((0.0, 0.0), (width, height), colours::BACKGROUND.to_rgba())?;
        let total = (end.len() + start.len()).max(1) as f64;
        let levels = end.iter().chain(start).map(|level| f64::from(*level));
        let upper: Vec<Point> = levels
            .enumerate()
            .map(|(i, level)| {
                let down = (-level / PAIR_SPAN_DB).clamp(0.0, 1.0);
                ((i as f64 + 0.5) / total * width, down * height)
            })
            .collect();
        let lower: Vec<Point> = upper.iter().map(|&(x, _)| (x, height)).collect();
        painter.area(&upper, &lower, colours::INPUT.to_rgba())?;
        painter.line(&upper, 1.0, colours::SECONDARY.to_rgba())?;
        let middle = end.len() as f64 / total * width;
        painter.line(&[(middle, 0.0), (middle, height)], 1.2, colours::TEXT.to_rgba())
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_record_has_its_songs_its_axis_and_its_target() {
        let song = |number: usize, start: f64, level: f32| RecordSong {
            number,
            start,
            seconds: 90.0,
            short_term: vec![level; 50],
            integrated: Some(f64::from(level)),
        };
        let svg = record_svg(&[song(1, 0.0, -15.0), song(2, 90.0, -20.0)], Some(-14.0)).unwrap();
        for text in ["LUFS", "\u{2212}12", "\u{2212}42", "0:30", ">1<", ">2<"] {
            assert!(svg.replace(['\n', ' '], "").contains(&text.replace(' ', "")), "{text}: {svg}");
        }
        assert!(record_svg(&[], None).is_ok() && transition_svg(&[], &[]).is_ok());
    }
}

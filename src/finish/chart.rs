//! The picture of a master: columns over time in (seconds, dB, LUFS), three lanes on one time axis
//! out, as SVG and as PNG from the same strokes.
//!
//! Level before and after under the ceiling; reduction by compressor and ceiling, stacked and hanging from
//! zero; short-term loudness against the target band. Pens differ in dash and place as well as in
//! hue. Draws in memory; the PNG brings its own letters, so no font of the system is needed.

mod lanes;
mod painter;

use painter::{ChartPainter, FINE};
use plotters::prelude::*;
use std::sync::Once;

/// What one stretch of time looked like.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChartColumn {
    /// Start of the stretch, seconds.
    pub time: f64,
    /// Largest sample of the untouched input, dBFS.
    pub before: f32,
    /// Largest sample of the output, dBFS.
    pub after: f32,
    /// Deepest reduction by the compressor, dB ≥ 0.
    pub compressor: f32,
    /// Deepest reduction by the ceiling, dB ≥ 0.
    pub limiter: f32,
    /// Short-term loudness of the output (3 s, EBU Tech 3341), LUFS; −∞ before there is any.
    pub short_term: f32,
}

/// A number that stands at the right end of a lane.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChartFigure {
    /// What it is, with its unit.
    pub label: String,
    /// The input's number, where it is compared.
    pub before: Option<String>,
    pub value: String,
}

impl ChartFigure {
    /// A number of its own.
    pub fn new(label: impl Into<String>, value: impl Into<String>) -> Self {
        Self { label: label.into(), before: None, value: value.into() }
    }

    /// A number that had another value in the input.
    pub fn change(label: impl Into<String>, before: impl Into<String>, after: impl Into<String>) -> Self {
        Self { label: label.into(), before: Some(before.into()), value: after.into() }
    }
}

/// A picture to draw.
#[derive(Clone, Debug)]
pub struct ReportChart {
    /// What was mastered.
    pub title: String,
    /// With which settings, in one line.
    pub subtitle: String,
    /// Evenly spaced, in order of time.
    pub columns: Vec<ChartColumn>,
    /// Length of the whole, seconds.
    pub seconds: f64,
    /// The ceiling, dBTP.
    pub ceiling: f32,
    /// The loudness aimed at, LUFS; its band reaches 1 LU to both sides.
    pub target: Option<f32>,
    /// Numbers of the three lanes: level, reduction, loudness. At most four each.
    pub figures: [Vec<ChartFigure>; 3],
}

/// Drawing failed; carries the reason given by the drawing library.
#[derive(Debug, thiserror::Error)]
#[error("the picture could not be drawn: {0}")]
pub struct ChartError(String);

impl ChartError {
    fn from_drawing(err: impl std::fmt::Display) -> Self {
        Self(err.to_string())
    }
}

/// Size in logical pixels.
const WIDTH: u32 = 1200;
const HEIGHT: u32 = 744;
/// PNG pixels per logical pixel.
const SHARP: u32 = 2;

impl ReportChart {
    /// The picture as an SVG document.
    pub fn to_svg(&self) -> Result<String, ChartError> {
        let mut svg = String::new();
        let size = (WIDTH * FINE, HEIGHT * FINE);
        self.draw(SVGBackend::with_string(&mut svg, size))?;
        // Drawn fine, shown at its logical size: the view box keeps the drawn one.
        let drawn = format!("width=\"{}\" height=\"{}\"", size.0, size.1);
        Ok(svg.replacen(&drawn, &format!("width=\"{WIDTH}\" height=\"{HEIGHT}\""), 1))
    }

    /// The picture as a PNG file, 2400 × 1488 pixels.
    pub fn to_png(&self) -> Result<Vec<u8>, ChartError> {
        let (width, height) = (WIDTH * FINE, HEIGHT * FINE);
        let mut drawn = vec![0; (width * height * 3) as usize];
        self.draw(BitMapBackend::with_buffer(&mut drawn, (width, height)))?;
        let pixels = average(&drawn, width as usize, (FINE / SHARP) as usize);
        let mut file = Vec::new();
        let mut encoder = png::Encoder::new(&mut file, WIDTH * SHARP, HEIGHT * SHARP);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_depth(png::BitDepth::Eight);
        let mut writer = encoder.write_header().map_err(ChartError::from_drawing)?;
        writer.write_image_data(&pixels).map_err(ChartError::from_drawing)?;
        writer.finish().map_err(ChartError::from_drawing)?;
        Ok(file)
    }

    fn draw<B: DrawingBackend>(&self, surface: B) -> Result<(), ChartError> {
        letters();
        let area = surface.into_drawing_area();
        lanes::draw(self, &ChartPainter::new(&area))?;
        area.present().map_err(ChartError::from_drawing)
    }
}

/// Gives plotters the letters for bitmaps. An SVG only names the family; its viewer has the letters.
fn letters() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let font = epaint_default_fonts::UBUNTU_LIGHT;
        // The only failure is a broken font file; then the first text drawn reports it.
        let _ = plotters::style::register_font("sans-serif", FontStyle::Normal, font);
    });
}

/// Averages squares of `n` × `n` RGB pixels into one.
fn average(drawn: &[u8], width: usize, n: usize) -> Vec<u8> {
    let mut out = Vec::with_capacity(drawn.len() / (n * n));
    for rows in drawn.chunks_exact(width * 3 * n) {
        for x in (0..width).step_by(n) {
            for colour in 0..3 {
                let mut sum = 0;
                for row in rows.chunks_exact(width * 3) {
                    for pixel in row[x * 3..(x + n) * 3].chunks_exact(3) {
                        sum += usize::from(pixel[colour]);
                    }
                }
                out.push((sum / (n * n)) as u8);
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chart() -> ReportChart {
        let columns = (0..200)
            .map(|i| ChartColumn {
                time: f64::from(i) * 0.05,
                before: -12.0 + (i % 10) as f32,
                after: -6.0 + 0.5 * (i % 10) as f32,
                compressor: 1.0,
                limiter: if i % 20 == 0 { 3.0 } else { 0.0 },
                short_term: if i < 60 { f32::NEG_INFINITY } else { -14.0 },
            })
            .collect();
        ReportChart {
            title: "a & b <c>".into(),
            subtitle: String::new(),
            columns,
            seconds: 10.0,
            ceiling: -1.0,
            target: Some(-14.0),
            figures: [vec![ChartFigure::change("true peak, dBTP", "+0.2", "−1.0")], vec![], vec![]],
        }
    }

    /// The PNG decodes, has the size it promises and is not one colour.
    #[test]
    fn the_png_is_a_picture_without_any_font_of_the_system() {
        let file = chart().to_png().unwrap();
        let mut reader = png::Decoder::new(file.as_slice()).read_info().unwrap();
        let mut pixels = vec![0; reader.output_buffer_size()];
        let info = reader.next_frame(&mut pixels).unwrap();
        assert_eq!((info.width, info.height), (2400, 1488));
        let colours: std::collections::HashSet<&[u8]> = pixels.chunks_exact(3).collect();
        assert!(colours.len() > 100, "{} colours", colours.len());
    }

    #[test]
    fn the_svg_names_its_lanes_and_escapes_a_title() {
        let svg = chart().to_svg().unwrap();
        assert!(svg.contains("width=\"1200\" height=\"744\" viewBox=\"0 0 4800 2976\""));
        for word in ["level", "reduction", "loudness", "a &amp; b &lt;c&gt;", "true peak, dBTP", "+0.2"] {
            assert!(svg.contains(word), "{word}");
        }
    }

    #[test]
    fn nothing_to_show_is_still_a_picture() {
        let mut empty = chart();
        empty.columns.clear();
        empty.seconds = 0.0;
        assert!(empty.to_svg().unwrap().contains("loudness"));
    }
}

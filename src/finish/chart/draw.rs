//! Draws a [`ReportChart`] as SVG and as PNG, in memory. The PNG uses a font of its own, so that no font
//! of the system is needed.

use plotters::prelude::*;

use super::lanes;
use super::model::{ChartError, ReportChart};
use super::painter::{ChartPainter, SUBPIXELS, fonts, svg_document};
use super::size::{HEIGHT, WIDTH};

/// PNG pixels per logical pixel.
const PNG_SCALE: u32 = 2;

impl ReportChart {
    /// The chart as an SVG document.
    ///
    /// # Errors
    /// If the drawing library fails.
    pub fn to_svg(&self) -> Result<String, ChartError> {
        svg_document((WIDTH, HEIGHT), |area| lanes::draw(self, &ChartPainter::new(area)))
    }

    /// The chart as a PNG file, 2400 × 1488 pixels.
    ///
    /// # Errors
    /// If the drawing library or the encoder fails.
    pub fn to_png(&self) -> Result<Vec<u8>, ChartError> {
        let (width, height) = (WIDTH * SUBPIXELS, HEIGHT * SUBPIXELS);
        let mut drawn = vec![0; (width * height * 3) as usize];
        self.draw(BitMapBackend::with_buffer(&mut drawn, (width, height)))?;
        let pixels = average(&drawn, width as usize, (SUBPIXELS / PNG_SCALE) as usize);
        let mut file = Vec::new();
        let mut encoder = png::Encoder::new(&mut file, WIDTH * PNG_SCALE, HEIGHT * PNG_SCALE);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_depth(png::BitDepth::Eight);
        let mut writer = encoder.write_header().map_err(ChartError::from_drawing)?;
        writer.write_image_data(&pixels).map_err(ChartError::from_drawing)?;
        writer.finish().map_err(ChartError::from_drawing)?;
        Ok(file)
    }

    fn draw<B: DrawingBackend>(&self, surface: B) -> Result<(), ChartError> {
        fonts();
        let area = surface.into_drawing_area();
        lanes::draw(self, &ChartPainter::new(&area))?;
        area.present().map_err(ChartError::from_drawing)
    }
}

/// Averages squares of `n` × `n` RGB pixels into one.
fn average(drawn: &[u8], width: usize, n: usize) -> Vec<u8> {
    let mut out = Vec::with_capacity(drawn.len() / (n * n));
    for rows in drawn.chunks_exact(width * 3 * n) {
        for x in (0..width).step_by(n) {
            for component in 0..3 {
                let mut sum = 0;
                for row in rows.chunks_exact(width * 3) {
                    for pixel in row[x * 3..(x + n) * 3].chunks_exact(3) {
                        sum += usize::from(pixel[component]);
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
    use super::super::model::{ChartColumn, ChartFigure};
    use super::*;

    fn chart() -> ReportChart {
        let columns = (0..200)
            .map(|i| ChartColumn {
                time: f64::from(i) * 0.05,
                input: -12.0 + (i % 10) as f32,
                output: -6.0 + 0.5 * (i % 10) as f32,
                compressor: 1.0,
                limiter: if i % 20 == 0 { 3.0 } else { 0.0 },
                clip: if i % 25 == 0 { 1.5 } else { 0.0 },
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
            target_tolerance: 1.0,
            figures: [vec![ChartFigure::change("true peak, dBTP", "+0.2", "−1.0")], vec![], vec![]],
        }
    }

    /// The PNG decodes, has the size it promises and is not one colour.
    #[test]
    fn the_png_needs_no_font_of_the_system() {
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
    fn an_empty_chart_can_be_drawn() {
        let mut empty = chart();
        empty.columns.clear();
        empty.seconds = 0.0;
        assert!(empty.to_svg().unwrap().contains("loudness"));
    }
}

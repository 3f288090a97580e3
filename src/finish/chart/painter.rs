//! Drawing primitives: shapes and texts in logical pixels in, marks on a plotters surface out, for SVG and
//! bitmap alike.
//!
//! Everything is drawn [`SUBPIXELS`] times larger than it is shown, because plotters counts in whole
//! pixels: the SVG gets quarter-pixel positions, and the bitmap is averaged down to smooth edges.

use std::sync::Once;

use super::model::ChartError;
use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

/// Drawn pixels per logical pixel.
pub const SUBPIXELS: u32 = 4;

/// Horizontal anchor of a text.
#[derive(Clone, Copy)]
pub enum Align {
    Left,
    Middle,
    Right,
}

/// A surface with logical coordinates.
pub struct ChartPainter<'a, B: DrawingBackend> {
    area: &'a DrawingArea<B, Shift>,
}

/// A point in logical pixels.
pub type Point = (f64, f64);

impl<'a, B: DrawingBackend> ChartPainter<'a, B> {
    pub fn new(area: &'a DrawingArea<B, Shift>) -> Self {
        Self { area }
    }

    /// A filled rectangle from one corner to the other.
    pub fn rect(&self, from: Point, to: Point, fill: RGBAColor) -> Result<(), ChartError> {
        let shape = Rectangle::new([to_drawn(from), to_drawn(to)], fill.filled());
        self.area.draw(&shape).map_err(ChartError::from_drawing)
    }

    /// A filled shape between a line and its way back.
    pub fn area(&self, upper: &[Point], lower: &[Point], fill: RGBAColor) -> Result<(), ChartError> {
        let points: Vec<_> = upper.iter().chain(lower.iter().rev()).map(|&point| to_drawn(point)).collect();
        self.area.draw(&Polygon::new(points, fill)).map_err(ChartError::from_drawing)
    }

    /// A line through the points, `width` logical pixels wide.
    pub fn line(&self, points: &[Point], width: f64, colour: RGBAColor) -> Result<(), ChartError> {
        let stroke = colour.stroke_width((width * f64::from(SUBPIXELS)).round().max(1.0) as u32);
        let points: Vec<_> = points.iter().map(|&point| to_drawn(point)).collect();
        self.area.draw(&PathElement::new(points, stroke)).map_err(ChartError::from_drawing)
    }

    /// The same, in dashes `on` long and `off` apart along the line.
    pub fn dashes(
        &self,
        points: &[Point],
        width: f64,
        on: f64,
        off: f64,
        colour: RGBAColor,
    ) -> Result<(), ChartError> {
        for dash in dashes(points, on, off) {
            self.line(&dash, width, colour)?;
        }
        Ok(())
    }

    /// A text whose vertical middle lies at the point, `size` logical pixels high.
    pub fn text(
        &self,
        text: &str,
        at: Point,
        size: f64,
        align: Align,
        colour: RGBAColor,
    ) -> Result<(), ChartError> {
        let hang = match align {
            Align::Left => HPos::Left,
            Align::Middle => HPos::Center,
            Align::Right => HPos::Right,
        };
        let style = ("sans-serif", size * f64::from(SUBPIXELS))
            .into_font()
            .color(&colour)
            .pos(Pos::new(hang, VPos::Center));
        self.area.draw(&Text::new(text.to_owned(), to_drawn(at), style)).map_err(ChartError::from_drawing)
    }
}

/// An SVG document of that size in logical pixels.
pub fn svg_document(
    (width, height): (u32, u32),
    paint: impl FnOnce(&DrawingArea<SVGBackend, Shift>) -> Result<(), ChartError>,
) -> Result<String, ChartError> {
    fonts();
    let mut svg = String::new();
    let drawn = (width * SUBPIXELS, height * SUBPIXELS);
    {
        let area = SVGBackend::with_string(&mut svg, drawn).into_drawing_area();
        paint(&area)?;
        area.present().map_err(ChartError::from_drawing)?;
    }
    // Shown at its logical size; the view box keeps the drawn one.
    let size = format!("width=\"{}\" height=\"{}\"", drawn.0, drawn.1);
    Ok(svg.replacen(&size, &format!("width=\"{width}\" height=\"{height}\""), 1))
}

/// Registers the font for bitmaps. An SVG only names the family; its viewer has the font.
pub fn fonts() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let font = epaint_default_fonts::UBUNTU_LIGHT;
        // The only failure is a broken font file; then drawing the first text reports it.
        let _ = plotters::style::register_font("sans-serif", FontStyle::Normal, font);
    });
}

/// A point in drawn pixels.
fn to_drawn((x, y): Point) -> (i32, i32) {
    let scale = f64::from(SUBPIXELS);
    ((x * scale).round() as i32, (y * scale).round() as i32)
}

/// Cuts a line into pieces `on` long with gaps of `off`, measured along the line.
fn dashes(points: &[Point], on: f64, off: f64) -> Vec<Vec<Point>> {
    let mut pieces = Vec::new();
    let mut piece: Vec<Point> = points.first().copied().into_iter().collect();
    let (mut drawing, mut left) = (true, on);
    for pair in points.windows(2) {
        let ((mut x, mut y), (to_x, to_y)) = (pair[0], pair[1]);
        loop {
            let rest = (to_x - x).hypot(to_y - y);
            if rest <= left {
                left -= rest;
                if drawing {
                    piece.push((to_x, to_y));
                }
                break;
            }
            let part = left / rest;
            (x, y) = (x + (to_x - x) * part, y + (to_y - y) * part);
            if drawing {
                piece.push((x, y));
                pieces.push(std::mem::take(&mut piece));
            } else {
                piece.push((x, y));
            }
            drawing = !drawing;
            left = if drawing { on } else { off };
        }
    }
    if piece.len() > 1 {
        pieces.push(piece);
    }
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;

    fn length(piece: &[Point]) -> f64 {
        piece.windows(2).map(|p| (p[1].0 - p[0].0).hypot(p[1].1 - p[0].1)).sum()
    }

    /// 40 along a corner, 6 on and 4 off: four dashes, the one over the corner bent, none longer.
    #[test]
    fn dashes_follow_the_line_around_a_corner() {
        let pieces = dashes(&[(0.0, 0.0), (23.0, 0.0), (23.0, 17.0)], 6.0, 4.0);
        assert_eq!(pieces.len(), 4);
        assert!(pieces.iter().all(|piece| (length(piece) - 6.0).abs() < 1e-9));
        assert_eq!(pieces[2], [(20.0, 0.0), (23.0, 0.0), (23.0, 3.0)]);
    }
}

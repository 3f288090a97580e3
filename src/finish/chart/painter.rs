//! The drawing hand: logical pixels in, marks on a plotters surface out, SVG and bitmap alike.
//!
//! Everything is drawn [`FINE`] times larger than it is shown: plotters counts in whole pixels, so
//! the SVG gains quarter-pixel places and the bitmap is averaged down to smooth edges.

use super::ChartError;
use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

/// Drawn pixels per logical pixel.
pub const FINE: u32 = 4;

/// Where a text hangs on its point.
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
        let shape = Rectangle::new([fine(from), fine(to)], fill.filled());
        self.area.draw(&shape).map_err(ChartError::from_drawing)
    }

    /// A filled shape between a line and its way back.
    pub fn area(&self, upper: &[Point], lower: &[Point], fill: RGBAColor) -> Result<(), ChartError> {
        let points: Vec<_> = upper.iter().chain(lower.iter().rev()).map(|&point| fine(point)).collect();
        self.area.draw(&Polygon::new(points, fill)).map_err(ChartError::from_drawing)
    }

    /// A line through the points, `width` logical pixels wide.
    pub fn line(&self, points: &[Point], width: f64, colour: RGBAColor) -> Result<(), ChartError> {
        let stroke = colour.stroke_width((width * f64::from(FINE)).round().max(1.0) as u32);
        let points: Vec<_> = points.iter().map(|&point| fine(point)).collect();
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
        let style = ("sans-serif", size * f64::from(FINE))
            .into_font()
            .color(&colour)
            .pos(Pos::new(hang, VPos::Center));
        self.area.draw(&Text::new(text.to_owned(), fine(at), style)).map_err(ChartError::from_drawing)
    }
}

fn fine((x, y): Point) -> (i32, i32) {
    let scale = f64::from(FINE);
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

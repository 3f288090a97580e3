//! Drawing helpers: text, rows of label and value, lines, filled areas. Lengths in points. Nothing
//! here reacts to the pointer.

use egui::epaint::{Mesh, Vertex, WHITE_UV};
use egui::{Align2, Color32, FontId, Painter, Pos2, Rect, Shape, Stroke, pos2, vec2};

/// Smallest text on the screen, points.
pub const SMALL_PT: f32 = 11.0;
/// Size of labels and notes, points.
pub const BODY_PT: f32 = 12.5;
/// Size of titles of panels and lanes, points.
pub const TITLE_PT: f32 = 15.0;

/// The font, at `size` points.
pub fn font(size: f32) -> FontId {
    FontId::proportional(size)
}

/// Draws `text` with `anchor` at `pos`; returns its place.
pub fn text(p: &Painter, pos: Pos2, anchor: Align2, text: &str, size: f32, color: Color32) -> Rect {
    p.text(pos, anchor, text, font(size), color)
}

/// The same in bold: drawn twice, 0.35 points apart, because the font has one weight.
pub fn bold(p: &Painter, pos: Pos2, anchor: Align2, words: &str, size: f32, color: Color32) -> Rect {
    text(p, pos + vec2(0.35, 0.0), anchor, words, size, color);
    text(p, pos, anchor, words, size, color)
}

/// Width of `text` at `size`.
pub fn width(p: &Painter, text: &str, size: f32) -> f32 {
    p.layout_no_wrap(text.to_owned(), font(size), Color32::BLACK).size().x
}

/// Draws `words` on one line within `max_width`, cut with an ellipsis if necessary.
pub fn text_within(p: &Painter, pos: Pos2, words: &str, size: f32, color: Color32, max_width: f32) -> Rect {
    let mut job = egui::text::LayoutJob::simple_singleline(words.to_owned(), font(size), color);
    job.wrap.max_width = max_width.max(1.0);
    job.wrap.max_rows = 1;
    job.wrap.break_anywhere = true;
    let galley = p.layout_job(job);
    let rect = Rect::from_min_size(pos, galley.size());
    p.galley(pos, galley, color);
    rect
}

/// Draws `words` wrapped at `max_width`, at most `rows` lines; returns its place.
pub fn paragraph(
    p: &Painter,
    pos: Pos2,
    words: &str,
    size: f32,
    color: Color32,
    max_width: f32,
    rows: usize,
) -> Rect {
    let mut job = egui::text::LayoutJob::simple(words.to_owned(), font(size), color, max_width.max(1.0));
    job.wrap.max_rows = rows;
    let galley = p.layout_job(job);
    let rect = Rect::from_min_size(pos, galley.size());
    p.galley(pos, galley, color);
    rect
}

/// Draws a label on the left and a value on the right of `row`, with dots between them.
pub fn label_and_value(
    p: &Painter,
    row: Rect,
    [label, value]: [&str; 2],
    size: f32,
    [label_color, value_color]: [Color32; 2],
) {
    let y = row.center().y;
    let value = text(p, pos2(row.right(), y), Align2::RIGHT_CENTER, value, size + 0.5, value_color);
    let room = (value.left() - row.left() - 6.0).max(0.0);
    let at = pos2(row.left(), y - size * 0.68);
    let label = text_within(p, at, label, size, label_color, room);
    let dots = label_color.gamma_multiply(0.45);
    let mut x = value.left() - 6.0;
    while x > label.right() + 4.0 {
        p.circle_filled(pos2(x, y + size * 0.32), 0.55, dots);
        x -= 4.0;
    }
}

/// An open line through `points`, dashed when `dash` gives (on, off) lengths.
pub fn line(p: &Painter, points: Vec<Pos2>, stroke: Stroke, dash: Option<(f32, f32)>) {
    match dash {
        None => {
            p.line(points, stroke);
        }
        Some((on, off)) => p.extend(Shape::dashed_line(&points, stroke, on, off)),
    }
}

/// A curve through `points` whose x positions rise, dashed by (on, off) lengths along x. Along the curve, a dense
/// one would be cut into tens of thousands of dashes.
pub fn dashed_curve(p: &Painter, points: &[Pos2], stroke: Stroke, (on, off): (f32, f32)) {
    let [Some(first), Some(last)] = [points.first(), points.last()] else { return };
    let period = on + off;
    let mut n = (first.x / period).floor();
    while n * period < last.x {
        let (from, to) = ((n * period).max(first.x), (n * period + on).min(last.x));
        n += 1.0;
        if from >= to {
            continue;
        }
        let inside =
            points.partition_point(|point| point.x <= from)..points.partition_point(|point| point.x < to);
        let mut dash = vec![at_x(points, from)];
        dash.extend_from_slice(&points[inside]);
        dash.push(at_x(points, to));
        p.line(dash, stroke);
    }
}

/// The point of a curve at `x`, which lies between its ends.
fn at_x(points: &[Pos2], x: f32) -> Pos2 {
    let right = points.partition_point(|point| point.x < x).min(points.len() - 1);
    let (a, b) = (points[right.saturating_sub(1)], points[right]);
    let share = if b.x > a.x { (x - a.x) / (b.x - a.x) } else { 1.0 };
    a.lerp(b, share.clamp(0.0, 1.0))
}

/// Fills the area between two lines with the same x positions.
pub fn fill_between(p: &Painter, upper: &[Pos2], lower: &[Pos2], fill: Color32) {
    let mut mesh = Mesh::default();
    mesh.vertices.reserve(2 * upper.len());
    for (a, b) in upper.iter().zip(lower) {
        for pos in [*a, *b] {
            mesh.vertices.push(Vertex { pos, uv: WHITE_UV, color: fill });
        }
    }
    for i in 1..upper.len().min(lower.len()) as u32 {
        let k = 2 * i;
        mesh.indices.extend([k - 2, k - 1, k, k - 1, k, k + 1]);
    }
    p.add(mesh);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_dashed_curve_lies_on_the_curve_and_has_a_bounded_number_of_dashes() {
        // As dense as the chart on a wide screen: 3840 columns that jump up and down.
        let points: Vec<Pos2> =
            (0..3840).map(|n| pos2(n as f32 + 0.5, if n % 2 == 0 { 0.0 } else { 90.0 })).collect();
        let ctx = egui::Context::default();
        let mut output = ctx.run_ui(Default::default(), |ui| {
            dashed_curve(ui.painter(), &points, Stroke::new(1.0, Color32::BLACK), (1.5, 2.0));
        });
        let mut dashes = 0;
        for clipped in &output.shapes {
            let egui::Shape::Path(path) = &clipped.shape else { continue };
            dashes += 1;
            let [first, last] = [path.points[0], path.points[path.points.len() - 1]];
            assert!(last.x > first.x && last.x - first.x <= 1.5 + 1e-3, "{first} {last}");
            for point in [first, last] {
                assert!(point.distance(at_x(&points, point.x)) < 1e-3);
            }
        }
        assert!((1000..=1100).contains(&dashes), "{dashes}");
        output.textures_delta.clear();
    }

    /// Columns of figures are aligned only if all digits have the same width.
    #[test]
    fn all_digits_have_the_same_width() {
        let ctx = egui::Context::default();
        let mut widths = Vec::new();
        ctx.run_ui(Default::default(), |ui| {
            widths = ('0'..='9').map(|c| ui.fonts_mut(|f| f.glyph_width(&font(BODY_PT), c))).collect();
        })
        .drop_without_applying_deltas();
        assert!(widths.iter().all(|w| *w > 4.0 && (w - widths[0]).abs() < 1e-3), "{widths:?}");
    }
}

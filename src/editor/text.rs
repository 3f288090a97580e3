//! Writing and ruling on the paper: text in one family, aligned figures, dashed lines, filled
//! bands. Everything in points; nothing here reacts to the pointer.

use egui::epaint::{Mesh, Vertex, WHITE_UV};
use egui::{Align2, Color32, FontId, Painter, Pos2, Rect, Shape, Stroke, pos2, vec2};

/// Smallest text on the screen, points.
pub const SMALL: f32 = 11.0;
/// Labels and notes.
pub const BODY: f32 = 12.5;
/// Titles of sheets and lanes.
pub const TITLE: f32 = 15.0;

/// The one typeface, at `size` points.
pub fn font(size: f32) -> FontId {
    FontId::proportional(size)
}

/// Writes `text` with `anchor` at `pos` and tells where it stands.
pub fn text(p: &Painter, pos: Pos2, anchor: Align2, text: &str, size: f32, color: Color32) -> Rect {
    p.text(pos, anchor, text, font(size), color)
}

/// The same, struck twice a third of a point apart: the typeface has one weight.
pub fn bold(p: &Painter, pos: Pos2, anchor: Align2, words: &str, size: f32, color: Color32) -> Rect {
    text(p, pos + vec2(0.35, 0.0), anchor, words, size, color);
    text(p, pos, anchor, words, size, color)
}

/// Width of `text` at `size`.
pub fn width(p: &Painter, text: &str, size: f32) -> f32 {
    p.layout_no_wrap(text.to_owned(), font(size), Color32::BLACK).size().x
}

/// Writes `text` within `max_width`, cut with an ellipsis where it does not fit.
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

/// Writes `text` wrapped at `max_width`, at most `rows` lines, and tells where it stands.
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

/// A label, a row of dots and a figure, as in an account book.
pub fn leader(p: &Painter, row: Rect, label: &str, value: &str, size: f32, soft: Color32, ink: Color32) {
    let y = row.center().y;
    let value = text(p, pos2(row.right(), y), Align2::RIGHT_CENTER, value, size + 0.5, ink);
    let room = (value.left() - row.left() - 6.0).max(0.0);
    let at = pos2(row.left(), y - size * 0.68);
    let label = text_within(p, at, label, size, soft, room);
    let dots = soft.gamma_multiply(0.45);
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

/// Fills between two lines that share their x positions.
pub fn band(p: &Painter, upper: &[Pos2], lower: &[Pos2], fill: Color32) {
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

/// A number with one decimal and a true minus sign; "–" when it is not finite.
pub fn number(value: f64) -> String {
    if !value.is_finite() {
        return "–".to_owned();
    }
    let text = format!("{value:.1}");
    let text = if text == "-0.0" { "0.0" } else { &text };
    text.replace('-', "\u{2212}")
}

/// The same with its sign always written.
pub fn signed(value: f64) -> String {
    let text = number(value);
    if value >= 0.05 { format!("+{text}") } else { text }
}

/// With two decimals and its sign: a correlation.
pub fn signed_two(value: f64) -> String {
    if value.is_finite() { format!("{value:+.2}").replace('-', "\u{2212}") } else { "–".to_owned() }
}

/// Seconds as a clock: "1:04", "1:02:03".
pub fn clock(seconds: f64) -> String {
    let whole = seconds.abs().round() as u64;
    let sign = if seconds < 0.0 && whole > 0 { "\u{2212}" } else { "" };
    match whole / 3600 {
        0 => format!("{sign}{}:{:02}", whole / 60, whole % 60),
        hours => format!("{sign}{hours}:{:02}:{:02}", whole / 60 % 60, whole % 60),
    }
}

/// `rect` without a margin of `x` and `y` points on every side.
pub fn inside(rect: Rect, x: f32, y: f32) -> Rect {
    rect.shrink2(vec2(x, y))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_written_with_a_true_minus_sign() {
        assert_eq!(number(-14.06), "\u{2212}14.1");
        assert_eq!(number(-0.04), "0.0");
        assert_eq!(number(f64::NEG_INFINITY), "–");
        assert_eq!((signed(1.25).as_str(), signed(0.0).as_str()), ("+1.2", "0.0"));
        assert_eq!((clock(64.2), clock(3723.0)), ("1:04".to_owned(), "1:02:03".to_owned()));
    }

    /// MeasuredHistory of figures stand still only when every digit is equally wide.
    #[test]
    fn digits_are_tabular() {
        let ctx = egui::Context::default();
        let mut widths = Vec::new();
        ctx.run_ui(Default::default(), |ui| {
            widths = ('0'..='9').map(|c| ui.fonts_mut(|f| f.glyph_width(&font(BODY), c))).collect();
        })
        .drop_without_applying_deltas();
        assert!(widths.iter().all(|w| *w > 4.0 && (w - widths[0]).abs() < 1e-3), "{widths:?}");
    }
}

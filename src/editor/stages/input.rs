//! The source sheet: trim, and what the source check found in the file that comes in.

use super::Grid;
use crate::editor::buttons::TextButton;
use crate::editor::controls::{ParamEditor, index};
use crate::editor::ruler::Ruler;
use crate::editor::screen::DrawContext;
use crate::editor::text;
use egui::{Align2, Rect, Ui, pos2, vec2};

pub fn show(ui: &mut Ui, rect: Rect, context: &DrawContext, editor: &mut ParamEditor) {
    let theme = &context.theme;
    let mut grid = Grid::new(rect, 1, (rect.height() / 40.0) as usize);
    let trim = grid.cell(1);
    Ruler::new("trim", "trim", theme.ink).show(ui, trim, theme, editor);

    let p = ui.painter().clone();
    let mut y = trim.bottom() + 10.0;
    let live = context.calm;
    let row = |y: f32| Rect::from_min_size(pos2(rect.left(), y), vec2(rect.width(), 16.0));
    let headroom = -live.before.true_peak_max;
    text::leader(
        &p,
        row(y),
        "headroom",
        &format!("{} dB", text::number(headroom)),
        12.0,
        theme.soft,
        theme.ink,
    );
    y += 17.0;
    text::leader(
        &p,
        row(y),
        "correlation",
        &text::signed_two(live.before.correlation),
        12.0,
        theme.soft,
        theme.ink,
    );
    y += 24.0;

    let trim_index = index("trim");
    let wanted =
        live.findings.iter().find_map(|f| f.trim).filter(|trim| (editor.get(trim_index) - trim).abs() > 0.05);
    let foot = if wanted.is_some() { 30.0 } else { 0.0 };
    if live.findings.is_empty() && live.before.true_peak_max.is_finite() {
        text::paragraph(
            &p,
            pos2(rect.left(), y),
            "nothing wrong with the source",
            12.0,
            theme.soft,
            rect.width(),
            2,
        );
    }
    for (n, finding) in live.findings.iter().enumerate() {
        let rows = ((rect.bottom() - foot - y) / 15.5).floor() as usize;
        if rows == 0 {
            break;
        }
        let color = if n == 0 { theme.red } else { theme.ink };
        let at = text::paragraph(&p, pos2(rect.left(), y), &finding.text, 12.0, color, rect.width(), rows);
        let response = ui.interact(at, ui.scope_id().with(("finding", n)), egui::Sense::hover());
        response.on_hover_text(&finding.text);
        y = at.bottom() + 6.0;
    }
    if let Some(trim) = wanted {
        let text = format!("set trim {}", text::number(f64::from(trim)));
        let help = "Sets the trim that gives the headroom back.";
        let word = TextButton::new(&text, help).called("set this trim");
        let place = Rect::from_min_max(pos2(rect.left(), rect.bottom() - 24.0), rect.max);
        if word.show(ui, place, theme).clicked() {
            editor.once(trim_index, trim);
        }
    }
    if !live.before.true_peak_max.is_finite() {
        let at = pos2(rect.left(), y);
        text::text(&p, at, Align2::LEFT_TOP, "no signal yet", 12.0, theme.soft);
    }
}

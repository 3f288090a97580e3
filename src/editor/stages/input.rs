//! The input panel: trim, and the results of the source check.

use super::grid::RulerGrid;
use crate::editor::buttons::TextButton;
use crate::editor::context::DrawContext;
use crate::editor::controls::index;
use crate::editor::drawing;
use crate::editor::param_editor::ParamEditor;
use crate::editor::ruler::Ruler;
use crate::editor::spoken;
use crate::numbers::{number, signed};
use egui::{Align2, Rect, Ui, pos2, vec2};

/// Draws the panel into `rect`.
pub fn show(ui: &mut Ui, rect: Rect, context: &DrawContext, editor: &mut ParamEditor) {
    let theme = &context.theme;
    let mut grid = RulerGrid::new(rect, 1, (rect.height() / 40.0) as usize);
    let trim = grid.next_cell();
    Ruler::new("trim", "trim", theme.text).show(ui, trim, theme, editor);

    let p = ui.painter().clone();
    let mut y = trim.bottom() + 10.0;
    let live = context.steady;
    let row = |y: f32| Rect::from_min_size(pos2(rect.left(), y), vec2(rect.width(), 16.0));
    let headroom = live.headroom;
    for (label, value) in [
        ("headroom", format!("{} dB", number(headroom, 1))),
        ("correlation", signed(live.input.correlation, 2)),
    ] {
        drawing::label_and_value(&p, row(y), [label, &value], 12.0, [theme.secondary, theme.text]);
        spoken::figure(ui, row(y), &format!("{label} of the source"), &value);
        y += 17.0;
    }
    y += 7.0;

    let trim_index = index("trim");
    let suggested_trim =
        live.findings.iter().find_map(|f| f.trim).filter(|trim| (editor.get(trim_index) - trim).abs() > 0.05);
    let foot = if suggested_trim.is_some() { 30.0 } else { 0.0 };
    if live.findings.is_empty() && live.input.true_peak_max.is_finite() {
        let (at, words) = (pos2(rect.left(), y), "no problems found");
        let text = format!("source check: {words}");
        let place = drawing::paragraph(&p, at, &text, 12.0, theme.secondary, rect.width(), 2);
        spoken::figure(ui, place, "source check", words);
    }
    for (n, finding) in live.findings.iter().enumerate() {
        let rows = ((rect.bottom() - foot - y) / 15.5).floor() as usize;
        let name = format!("source check, finding {}", n + 1);
        if rows == 0 {
            // No room: it can still be spoken.
            spoken::figure(ui, rect, &name, &finding.text);
            continue;
        }
        let color = if n == 0 { theme.red } else { theme.text };
        let at = drawing::paragraph(&p, pos2(rect.left(), y), &finding.text, 12.0, color, rect.width(), rows);
        spoken::figure(ui, at, &name, &finding.text).on_hover_text(&finding.text);
        y = at.bottom() + 6.0;
    }
    if let Some(trim) = suggested_trim {
        let text = format!("set trim to {} dB", number(f64::from(trim), 1));
        let help = "Sets the trim that restores the headroom.";
        let place = Rect::from_min_max(pos2(rect.left(), rect.bottom() - 24.0), rect.max);
        let wide = TextButton::new(&text, help).named("set trim");
        let button = if wide.width(ui) > place.width() { wide.size(drawing::SMALL_PT) } else { wide };
        if button.show(ui, place, theme).clicked() {
            editor.set_once(trim_index, trim);
        }
    }
    if !live.input.true_peak_max.is_finite() {
        let at = pos2(rect.left(), y);
        drawing::text(&p, at, Align2::LEFT_TOP, "no signal yet", 12.0, theme.secondary);
    }
}

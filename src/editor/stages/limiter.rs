//! The limiter panel: drive, ceiling, soft clip, look-ahead, release, stereo link, true peak, removed
//! signal.

use super::grid::RulerGrid;
use crate::editor::buttons::TextButton;
use crate::editor::context::DrawContext;
use crate::editor::param_editor::ParamEditor;
use crate::editor::ruler::Ruler;
use crate::params;
use egui::{Rect, Ui, pos2};

/// Draws the panel into `rect`.
pub fn show(ui: &mut Ui, rect: Rect, context: &DrawContext, editor: &mut ParamEditor) {
    let theme = &context.theme;
    let foot = 58.0;
    let upper = Rect::from_min_max(rect.min, pos2(rect.right(), rect.bottom() - foot));
    let mut grid = RulerGrid::new(upper, 1, 6);
    for (id, label) in [
        ("drive", "drive"),
        ("ceiling", "ceiling"),
        ("soft_clip", "soft clip"),
        ("look_ahead", "look-ahead"),
        ("limit_release", "release"),
        ("limit_stereo_link", "stereo link"),
    ] {
        let cell = grid.next_cell();
        Ruler::new(id, label, theme.red).show(ui, cell, theme, editor);
    }
    let mut y = rect.bottom() - 51.0;
    for (id, text) in [("true_peak", "true peak"), ("removed_only", "removed signal only")] {
        let place = Rect::from_min_max(pos2(rect.left(), y), pos2(rect.right(), y + 23.0));
        y += 28.0;
        let help = params::find(id).map_or("", |p| p.help);
        let button = TextButton::new(text, help).named(name(id)).on(editor.is_on(id));
        let button = if id == "removed_only" { button.highlight(theme.red) } else { button };
        if button.show(ui, place, theme).clicked() {
            editor.toggle(id);
        }
    }
}

fn name(id: &str) -> &'static str {
    params::find(id).map_or("", |p| p.name)
}

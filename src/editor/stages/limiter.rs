//! The ceiling sheet: drive, ceiling, how it lets go, and hearing only what it takes away.

use super::Grid;
use crate::editor::buttons::TextButton;
use crate::editor::controls::ParamEditor;
use crate::editor::ruler::Ruler;
use crate::editor::screen::DrawContext;
use crate::params;
use egui::{Rect, Ui, pos2};

pub fn show(ui: &mut Ui, rect: Rect, context: &DrawContext, editor: &mut ParamEditor) {
    let theme = &context.theme;
    let foot = 58.0;
    let upper = Rect::from_min_max(rect.min, pos2(rect.right(), rect.bottom() - foot));
    let mut grid = Grid::new(upper, 1, 5);
    for (id, label) in [
        ("drive", "drive"),
        ("ceiling", "ceiling"),
        ("look_ahead", "look-ahead"),
        ("limit_release", "release"),
        ("limit_stereo_link", "link"),
    ] {
        let cell = grid.cell(1);
        Ruler::new(id, label, theme.red).show(ui, cell, theme, editor);
    }
    let mut y = rect.bottom() - 51.0;
    for (id, text) in [("true_peak", "true peak"), ("removed_only", "removed signal only")] {
        let place = Rect::from_min_max(pos2(rect.left(), y), pos2(rect.right(), y + 23.0));
        y += 28.0;
        let help = params::find(id).map_or("", |p| p.help);
        let word = TextButton::new(text, help).called(id_name(id)).on(editor.is_on(id));
        let word = if id == "removed_only" { word.stamp(theme.red) } else { word };
        if word.show(ui, place, theme).clicked() {
            editor.toggle(id);
        }
    }
}

fn id_name(id: &str) -> &'static str {
    params::find(id).map_or("", |p| p.name)
}

//! The limiter panel: drive, ceiling, soft clip, look-ahead, release, stereo link, true peak, word length,
//! removed signal.

use super::choices::choices;
use super::grid::RulerGrid;
use crate::editor::buttons::TextButton;
use crate::editor::context::DrawContext;
use crate::editor::controls::index;
use crate::editor::param_editor::ParamEditor;
use crate::editor::ruler::Ruler;
use crate::editor::theme::Theme;
use crate::params;
use egui::{Popup, Rect, Ui, pos2};

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
    let row = |bottom: f32| {
        Rect::from_min_max(
            pos2(rect.left(), rect.bottom() - bottom - 23.0),
            pos2(rect.right(), rect.bottom() - bottom),
        )
    };
    let (left, right) = row(28.0).split_left_right_at_fraction(0.5);
    let (left, right) = (left.with_max_x(left.right() - 4.0), right.with_min_x(right.left() + 4.0));
    switch(ui, left, theme, editor, "true_peak", "true peak");
    word_length(ui, right, theme, editor);
    switch(ui, row(0.0), theme, editor, "removed_only", "removed signal only");
}

fn switch(ui: &mut Ui, place: Rect, theme: &Theme, editor: &mut ParamEditor, id: &str, text: &str) {
    let button = TextButton::new(text, help(id)).named(name(id)).on(editor.is_on(id)).size(12.0);
    let button = if id == "removed_only" { button.highlight(theme.red) } else { button };
    if button.show(ui, place, theme).clicked() {
        editor.toggle(id);
    }
}

/// The word length: a button that opens the list, with the noise shaping below.
fn word_length(ui: &mut Ui, place: Rect, theme: &Theme, editor: &mut ParamEditor) {
    const ID: &str = "word_length";
    let is_on = editor.value(ID) != 0.0;
    let chosen = params::find(ID).map_or_else(String::new, |param| param.text(editor.value(ID)));
    let text = if is_on { chosen } else { "dither off".to_owned() };
    let button = TextButton::new(&text, help(ID)).named(name(ID)).on(is_on).size(12.0);
    let button = button.show(ui, place, theme);
    Popup::menu(&button).width(150.0).show(|ui| {
        ui.label(name(ID));
        choices(ui, editor, index(ID));
        ui.separator();
        let shaping = egui::Button::selectable(editor.is_on("noise_shaping"), name("noise_shaping"));
        if ui.add(shaping).on_hover_text(help("noise_shaping")).clicked() {
            editor.toggle("noise_shaping");
            ui.close();
        }
    });
}

fn help(id: &str) -> &'static str {
    params::find(id).map_or("", |p| p.help)
}

fn name(id: &str) -> &'static str {
    params::find(id).map_or("", |p| p.name)
}

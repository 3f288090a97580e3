//! The values of a choice in a menu.

use crate::editor::param_editor::ParamEditor;
use crate::params;
use egui::Ui;

/// A separator and an entry for each value of the parameter at `index` in the table; one that is chosen
/// closes the menu.
pub fn choices(ui: &mut Ui, editor: &mut ParamEditor, index: usize) {
    let params::Kind::Choice(names) = params::all()[index].kind else { return };
    ui.separator();
    for (value, name) in names.iter().enumerate() {
        let chosen = editor.get(index).round() as usize == value;
        if ui.selectable_label(chosen, *name).clicked() {
            editor.set_once(index, value as f32);
            ui.close();
        }
    }
}

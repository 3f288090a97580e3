//! The list of presets: a press puts one in use for a try, at equal loudness with the settings before; "take"
//! keeps it as one step of undo; "back", Esc or a press elsewhere gives back what was before.

use super::context::DrawContext;
use super::controls::index;
use super::param_editor::ParamEditor;
use super::spoken;
use super::theme::Theme;
use crate::numbers::number;
use crate::presets::{Preset, PresetStore};
use crate::settings::{Compare, Settings};
use egui::accesskit::Role;
use egui::text::LayoutJob;
use egui::{
    Align, Button, FontSelection, Key, Popup, PopupCloseBehavior, Response, RichText, Stroke, TextEdit, Ui,
    WidgetInfo, vec2,
};

/// Width of the list, points.
const WIDTH_PT: f32 = 580.0;

/// The state that the list keeps between frames.
#[derive(Debug, Default)]
pub struct PresetListState {
    /// The name typed for a new preset.
    new_name: String,
    /// Why it was not saved.
    save_error: Option<String>,
    /// Name of the preset that was taken last.
    pub loaded: Option<String>,
    preview: Option<PresetPreview>,
}

/// A preset that is tried.
#[derive(Debug)]
struct PresetPreview {
    name: String,
    preset: Settings,
    /// The settings before, with their compare.
    before: Settings,
    /// The preset is in use, not the settings before.
    plays_preset: bool,
    /// Steps of undo when it began.
    steps: usize,
}

impl PresetListState {
    /// Whether a preset is tried: keys for undo and slots have to wait.
    pub fn is_previewing(&self) -> bool {
        self.preview.is_some()
    }

    /// Puts a preset in use for a try.
    fn try_preset(&mut self, preset: &Preset, editor: &mut ParamEditor) {
        let (before, steps) = match self.preview.take() {
            Some(preview) => (preview.before, preview.steps),
            None => (editor.settings(), editor.steps_done()),
        };
        editor.put(&preset.settings);
        // Level-matched with the mix, as the settings before then are, too.
        editor.put_one(index("compare"), Compare::After as usize as f32);
        let (name, preset) = (preset.name.clone(), preset.settings);
        self.preview = Some(PresetPreview { name, preset, before, plays_preset: true, steps });
    }

    /// Puts the preset or the settings before in use.
    fn play(&mut self, preset: bool, editor: &mut ParamEditor) {
        if let Some(preview) = &mut self.preview {
            editor.put(if preset { &preview.preset } else { &preview.before });
            preview.plays_preset = preset;
        }
    }

    /// Keeps the preset as one step of undo.
    fn take(&mut self, editor: &mut ParamEditor) {
        if let Some(preview) = self.preview.take() {
            if !preview.plays_preset {
                editor.put(&preview.preset);
            }
            editor.put_one(index("compare"), preview.before.compare as usize as f32);
            editor.record(&preview.before, &preview.preset, preview.steps);
            self.loaded = Some(preview.name);
        }
    }

    /// Gives back the settings before.
    fn back(&mut self, editor: &mut ParamEditor) {
        if let Some(preview) = self.preview.take() {
            editor.put(&preview.before);
            editor.put_one(index("compare"), preview.before.compare as usize as f32);
        }
    }
}

/// The list below its button.
pub fn show(
    state: &mut PresetListState,
    presets: &mut PresetStore,
    button: &Response,
    context: &DrawContext,
    editor: &mut ParamEditor,
) {
    let popup = Popup::menu(button).width(WIDTH_PT).close_behavior(PopupCloseBehavior::CloseOnClickOutside);
    let (ctx, id) = (button.ctx.clone(), popup.get_id());
    let shown = popup.show(|ui| list(state, presets, ui, context, editor));
    let Some(preview) = &state.preview else { return };
    // A press elsewhere acts on the settings before.
    let outside = shown.is_none_or(|shown| {
        let pressed = ctx.input(|i| i.pointer.press_origin().filter(|_| i.pointer.any_pressed()));
        pressed.is_some_and(|at| !shown.response.rect.contains(at))
    });
    if editor.steps_done() != preview.steps {
        // Something else was changed on top of it, by keys.
        state.take(editor);
    } else if outside || !Popup::is_id_open(&ctx, id) {
        state.back(editor);
    }
}

fn list(
    state: &mut PresetListState,
    presets: &mut PresetStore,
    ui: &mut Ui,
    context: &DrawContext,
    editor: &mut ParamEditor,
) {
    let mut chosen: Option<Preset> = None;
    let tried = state.preview.as_ref().map(|preview| preview.name.clone());
    let height = (ui.ctx().content_rect().height() - 150.0).min(560.0);
    egui::ScrollArea::vertical().max_height(height).show(ui, |ui| {
        for preset in presets.factory.iter().chain(&presets.user) {
            let is_tried = tried.as_ref() == Some(&preset.name);
            if row(ui, preset, is_tried, &context.theme) {
                chosen = Some(preset.clone());
            }
        }
    });
    if let Some(preset) = chosen {
        state.try_preset(&preset, editor);
    }
    ui.separator();
    if state.preview.is_some() {
        trying(state, ui, context, editor);
    } else {
        ui.weak("A press puts a preset in use for a try, at equal loudness; then you take it, or go back.");
        if presets.saves() {
            save(state, presets, ui, &context.theme, editor);
        }
    }
}

/// Name and purpose of a preset; true if the row was pressed.
fn row(ui: &mut Ui, preset: &Preset, is_tried: bool, theme: &Theme) -> bool {
    let mut text = LayoutJob::default();
    let lines = [(&preset.name, theme.text), (&preset.purpose, theme.secondary)];
    for (n, (words, color)) in lines.into_iter().enumerate() {
        let line = if n == 0 { words.clone() } else { format!("\n{words}") };
        let line = RichText::new(line).color(color);
        line.append_to(&mut text, ui.style(), FontSelection::Default, Align::Min);
    }
    let width = ui.available_width();
    text.wrap.max_width = width - 2.0 * ui.spacing().button_padding.x;
    let row = Button::selectable(is_tried, text).min_size(vec2(width, 0.0)).right_text("").wrap();
    let row = ui.add(row);
    let said = || WidgetInfo::selected(Role::Button, true, is_tried, &preset.name);
    row.widget_info(said);
    ui.add_space(4.0);
    spoken::figure(ui, row.rect, &format!("purpose of {}", preset.name), &preset.purpose);
    row.clicked()
}

/// What is tried: which of the two is in use, take, back.
fn trying(state: &mut PresetListState, ui: &mut Ui, context: &DrawContext, editor: &mut ParamEditor) {
    let Some(preview) = &state.preview else { return };
    let (name, plays_preset) = (preview.name.clone(), preview.plays_preset);
    ui.horizontal(|ui| {
        ui.label("in use");
        for (preset, text) in [(false, "settings before"), (true, name.as_str())] {
            let help = "Puts it in use, at the same loudness.";
            let text = RichText::new(text).color(context.theme.text);
            let button = ui.add(Button::selectable(plays_preset == preset, text));
            let said = if preset { "try: preset" } else { "try: settings before" };
            button.widget_info(|| {
                egui::WidgetInfo::selected(egui::accesskit::Role::Button, true, plays_preset == preset, said)
            });
            if button.on_hover_text(help).clicked() {
                state.play(preset, editor);
            }
        }
        ui.add_space(16.0);
        let framed = |text: &str| Button::new(text.to_owned()).stroke(Stroke::new(1.0, context.theme.border));
        let help = "Keeps the preset: one step of undo.";
        if ui.add(framed("take")).on_hover_text(help).clicked() {
            state.take(editor);
            ui.close();
        }
        let help = "Gives back the settings before; Esc does the same.";
        if ui.add(framed("back")).on_hover_text(help).clicked() {
            state.back(editor);
            ui.close();
        }
    });
    ui.weak(loudness_text(context.steady.louder_by_db));
}

/// At which loudness the two are heard; `louder_by` is by how much the one in use is louder than the mix, dB.
fn loudness_text(louder_by: f64) -> String {
    if louder_by < -0.05 {
        let quieter = number(-louder_by, 1);
        return format!("{quieter} dB quieter than the mix, and heard so: compare turns nothing up.");
    }
    "Both are heard at the loudness of the mix, as in compare; a change needs 2 s to be measured.".to_owned()
}

/// The field and the button that save the present settings.
fn save(
    state: &mut PresetListState,
    presets: &mut PresetStore,
    ui: &mut Ui,
    theme: &Theme,
    editor: &mut ParamEditor,
) {
    ui.horizontal(|ui| {
        let field = TextEdit::singleline(&mut state.new_name).desired_width(190.0).hint_text("name");
        let field = ui.add(field).accessible_name("name of a new preset");
        let enter = field.lost_focus() && ui.input(|i| i.key_pressed(Key::Enter));
        if ui.button("save as a preset").clicked() || enter {
            let name = state.new_name.trim().to_owned();
            match presets.save(&name, &editor.settings()) {
                Ok(()) => {
                    *state = PresetListState { loaded: Some(name), ..PresetListState::default() };
                    ui.close();
                }
                Err(error) => state.save_error = Some(error.to_string()),
            }
        }
    });
    if let Some(error) = &state.save_error {
        ui.colored_label(theme.red, error);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_quieter_than_the_mix_is_said() {
        assert!(loudness_text(3.0).starts_with("Both are heard"));
        assert!(loudness_text(-2.04).starts_with("2.0 dB quieter"));
    }
}

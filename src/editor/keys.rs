//! Keys that act wherever the focus is, unless a text is being typed: undo and redo, the slots of
//! settings, the bands of the EQ, before and after.

use super::controls::index;
use super::focus;
use super::param_editor::ParamEditor;
use super::slots::Slots;
use crate::settings::{BANDS, Compare};
use egui::{Context, Key, Modifiers};

/// Keys of the slots.
const SLOTS: [Key; 2] = [Key::A, Key::B];
/// Keys of the EQ bands.
const BAND_KEYS: [Key; BANDS] = [Key::Num1, Key::Num2, Key::Num3, Key::Num4, Key::Num5];

/// Whether the focus is in a text field.
pub fn types_text(ctx: &Context) -> bool {
    ctx.memory(|m| m.focused()).is_some_and(|id| egui::TextEdit::load_state(ctx, id).is_some())
}

/// Applies the keys of this frame: Ctrl/Cmd Z undoes, with Shift (or Ctrl Y) redoes; A and B put a slot in
/// use; 1 to 5 move the focus to a band; C compares: before, then after, then before again; with Shift it ends that.
pub(super) fn apply(ctx: &Context, editor: &mut ParamEditor, slots: &mut Slots) {
    if types_text(ctx) {
        return;
    }
    let (undo, redo) = ctx.input_mut(|i| {
        let redo = i.consume_key(Modifiers::COMMAND | Modifiers::SHIFT, Key::Z)
            || i.consume_key(Modifiers::COMMAND, Key::Y);
        (i.consume_key(Modifiers::COMMAND, Key::Z), redo)
    });
    if undo {
        editor.undo(slots);
    }
    if redo {
        editor.redo(slots);
    }
    let pressed = |key| ctx.input_mut(|i| i.modifiers.is_none() && i.consume_key(Modifiers::NONE, key));
    if let Some(slot) = SLOTS.into_iter().position(pressed) {
        editor.switch_slot(slots, slot);
    }
    let compare = index("compare");
    let now = editor.get(compare).round() as usize;
    if pressed(Key::C) {
        let next = if now == Compare::Before as usize { Compare::After } else { Compare::Before };
        editor.set_once(compare, next as usize as f32);
    }
    if ctx.input_mut(|i| i.consume_key(Modifiers::SHIFT, Key::C)) {
        editor.set_once(compare, Compare::Off as usize as f32);
    }
    if let Some(band) = BAND_KEYS.into_iter().position(pressed) {
        focus::request(ctx, &node_name(band));
    }
}

/// Accessible name of a band's node in the EQ's chart.
pub fn node_name(band: usize) -> String {
    format!("node {}", band + 1)
}

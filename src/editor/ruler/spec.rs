//! What a ruler shows, and its state between frames.

use crate::editor::controls;
use egui::Color32;

/// How a parameter is drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum RulerStyle {
    /// Label, value, scale, pointer.
    Scale,
    /// The value alone, in a table.
    ValueOnly,
}

/// One ruler.
#[derive(Clone, Copy)]
pub struct Ruler<'a> {
    /// Index of the parameter.
    pub index: usize,
    /// Label.
    pub label: &'a str,
    /// Abbreviation of the label, for rulers that are too narrow for it.
    pub short_label: Option<&'a str>,
    /// Colour of the pointer.
    pub color: Color32,
    /// How it is drawn.
    pub style: RulerStyle,
    /// Written instead of the value while the program sets the parameter automatically.
    pub automatic: Option<&'a str>,
}

impl<'a> Ruler<'a> {
    /// The parameter called `id` with a scale.
    pub fn new(id: &str, label: &'a str, color: Color32) -> Self {
        Self {
            index: controls::index(id),
            label,
            short_label: None,
            color,
            style: RulerStyle::Scale,
            automatic: None,
        }
    }

    /// The parameter at `index`, its value alone.
    pub fn value_only(index: usize, label: &'a str, color: Color32) -> Self {
        Self { index, label, short_label: None, color, style: RulerStyle::ValueOnly, automatic: None }
    }

    /// Uses `label` where the ruler is too narrow for the full one.
    pub fn short_label(mut self, label: Option<&'a str>) -> Self {
        self.short_label = label;
        self
    }

    /// Writes `value` instead of the parameter's own value.
    pub fn automatic(mut self, value: Option<&'a str>) -> Self {
        self.automatic = value;
        self
    }
}

/// The state of one ruler between frames, while it is dragged or typed into.
#[derive(Clone, Debug, Default)]
pub(super) struct RulerMemory {
    /// Position on the scale, 0 to 1, not rounded, while it is dragged.
    pub position: Option<f32>,
    /// The text field, while it is open.
    pub typing: Option<TypingState>,
}

/// The state of the text field over a value.
#[derive(Clone, Debug, Default)]
pub(super) struct TypingState {
    /// The text being typed.
    pub text: String,
    /// Why the last input was not accepted.
    pub error: Option<String>,
    /// The field has taken the focus and selected its text.
    pub ready: bool,
}

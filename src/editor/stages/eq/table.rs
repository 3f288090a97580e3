//! The table of values below the EQ's chart: one column per band; every value can be dragged, changed
//! by wheel and typed.

use super::band::BandParams;
use super::nodes;
use crate::editor::buttons::TextButton;
use crate::editor::context::DrawContext;
use crate::editor::param_editor::ParamEditor;
use crate::editor::ruler::Ruler;
use crate::params;
use crate::settings::BANDS;
use egui::{Popup, Rect, Stroke, Ui, pos2, vec2};

/// Draws the table into `rect`.
pub fn show(
    solo: &mut Option<usize>,
    ui: &mut Ui,
    rect: Rect,
    context: &DrawContext,
    editor: &mut ParamEditor,
    bands: &[BandParams; BANDS],
) {
    let theme = &context.theme;
    let column = rect.width() / BANDS as f32;
    let row = rect.height() / 4.0;
    for (n, band) in bands.iter().enumerate() {
        let left = rect.left() + n as f32 * column;
        let cell = |r: usize| {
            Rect::from_min_size(pos2(left + 1.0, rect.top() + r as f32 * row), vec2(column - 2.0, row - 1.0))
        };
        if n > 0 {
            ui.painter().vline(left, rect.y_range().shrink(2.0), Stroke::new(1.0, theme.grid));
        }
        heading(solo, ui, cell(0), context, editor, band, n);
        let theme = if editor.get(band.on) >= 0.5 { *theme } else { theme.inactive() };
        let theme = &theme;
        ui.scope(|ui| {
            let value = |index: usize, label| Ruler::value_only(index, label, theme.text);
            value(band.freq, "").show(ui, cell(1), theme, editor);
            match (band.is_cut(editor), band.slope) {
                (true, Some(slope)) => {
                    value(slope, "").show(ui, cell(2), theme, editor);
                }
                _ => {
                    value(band.gain, "").show(ui, cell(2), theme, editor);
                    value(band.q, "Q ").show(ui, cell(3), theme, editor);
                }
            }
        });
    }
}

/// Number and kind of a band; opens the band's menu.
fn heading(
    solo: &mut Option<usize>,
    ui: &mut Ui,
    rect: Rect,
    context: &DrawContext,
    editor: &mut ParamEditor,
    band: &BandParams,
    n: usize,
) {
    let kind = band.kind_name(editor);
    let channel = editor.get(band.channel).round() as usize;
    // "M" or "S" if the band processes mid or side only.
    let suffix = ["", " M", " S"][channel.min(2)];
    let long = format!("{} {kind}{suffix}", n + 1);
    let short = format!("{} {}{suffix}", n + 1, kind.split(' ').next_back().unwrap_or_default());
    let size = 11.5;
    let fits = TextButton::new(&long, "").plain().size(size).width(ui) <= rect.width() + 2.0;
    let text = if fits { &long } else { &short };
    let help = format!(
        "Band {}, {kind}, processes {}: press to switch it, to solo it, or to change kind and channel.",
        n + 1,
        params::all()[band.channel].text(editor.get(band.channel)),
    );
    let name = format!("band {}", n + 1);
    let on = *solo == Some(n);
    let button =
        TextButton::new(text, &help).named(&name).plain().size(size).on(on).highlight(context.theme.red);
    let button = button.show(ui, rect, &context.theme);
    Popup::menu(&button).width(170.0).show(|ui| nodes::menu(ui, solo, editor, band, n));
}

//! The table of values under the EQ sheet: one column a band, every figure can be dragged,
//! wheeled and typed into.

use super::{BandParams, nodes};
use crate::editor::buttons::TextButton;
use crate::editor::controls::ParamEditor;
use crate::editor::ruler::Ruler;
use crate::editor::screen::DrawContext;
use crate::params;
use crate::settings::BANDS;
use egui::{Popup, Rect, Stroke, Ui, pos2, vec2};

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
            ui.painter().vline(left, rect.y_range().shrink(2.0), Stroke::new(1.0, theme.ruling));
        }
        heading(solo, ui, cell(0), context, editor, band, n);
        let theme = if editor.get(band.on) >= 0.5 { *theme } else { theme.left_out() };
        let theme = &theme;
        ui.scope(|ui| {
            let figure =
                |index: usize, label| Ruler { index, ..Ruler::new("drive", label, theme.ink).figure() };
            figure(band.freq, "").show(ui, cell(1), theme, editor);
            match (band.is_cut(editor), band.slope) {
                (true, Some(slope)) => {
                    figure(slope, "").show(ui, cell(2), theme, editor);
                }
                _ => {
                    figure(band.gain, "").show(ui, cell(2), theme, editor);
                    figure(band.q, "Q ").show(ui, cell(3), theme, editor);
                }
            }
        });
    }
}

/// Number and kind of a band; pressing it opens the band's menu.
fn heading(
    solo: &mut Option<usize>,
    ui: &mut Ui,
    rect: Rect,
    context: &DrawContext,
    editor: &mut ParamEditor,
    band: &BandParams,
    n: usize,
) {
    let kind = band.kind_word(editor);
    let channel = editor.get(band.channel).round() as usize;
    // "M" and "S" only where the band does not work on both channels.
    let side = ["", " M", " S"][channel.min(2)];
    let long = format!("{} {kind}{side}", n + 1);
    let short = format!("{} {}{side}", n + 1, kind.split(' ').next_back().unwrap_or_default());
    let size = 11.5;
    let fits = TextButton::new(&long, "").plain().size(size).width(ui) <= rect.width() + 2.0;
    let text = if fits { &long } else { &short };
    let help = format!(
        "BandParams {}, {kind}, works on {}: press to switch it, to hear it alone, or to change what it works on.",
        n + 1,
        params::all()[band.channel].text(editor.get(band.channel)),
    );
    let name = format!("band {}", n + 1);
    let on = *solo == Some(n);
    let word = TextButton::new(text, &help).called(&name).plain().size(size).on(on).stamp(context.theme.red);
    let button = word.show(ui, rect, &context.theme);
    Popup::menu(&button).width(170.0).show(|ui| nodes::menu(ui, solo, editor, band, n));
}

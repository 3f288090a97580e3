//! The table of values under the tone sheet: one column a band, every figure can be dragged,
//! wheeled and typed into.

use super::{Band, nodes};
use crate::editor::buttons::Word;
use crate::editor::controls::Desk;
use crate::editor::ruler::Ruler;
use crate::editor::screen::Sight;
use crate::params;
use crate::settings::BANDS;
use egui::{Popup, Rect, Stroke, Ui, pos2, vec2};

pub fn show(
    hear: &mut Option<usize>,
    ui: &mut Ui,
    rect: Rect,
    sight: &Sight,
    desk: &mut Desk,
    bands: &[Band; BANDS],
) {
    let theme = &sight.theme;
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
        heading(hear, ui, cell(0), sight, desk, band, n);
        let theme = if desk.get(band.on) >= 0.5 { *theme } else { theme.left_out() };
        let theme = &theme;
        ui.scope(|ui| {
            let figure =
                |index: usize, label| Ruler { index, ..Ruler::new("drive", label, theme.ink).figure() };
            figure(band.freq, "").show(ui, cell(1), theme, desk);
            match (band.is_cut(desk), band.slope) {
                (true, Some(slope)) => {
                    figure(slope, "").show(ui, cell(2), theme, desk);
                }
                _ => {
                    figure(band.gain, "").show(ui, cell(2), theme, desk);
                    figure(band.q, "Q ").show(ui, cell(3), theme, desk);
                }
            }
        });
    }
}

/// Number and kind of a band; pressing it opens the band's menu.
fn heading(
    hear: &mut Option<usize>,
    ui: &mut Ui,
    rect: Rect,
    sight: &Sight,
    desk: &mut Desk,
    band: &Band,
    n: usize,
) {
    let kind = band.kind_word(desk);
    let channel = desk.get(band.channel).round() as usize;
    // "M" and "S" only where the band does not work on both channels.
    let side = ["", " M", " S"][channel.min(2)];
    let long = format!("{} {kind}{side}", n + 1);
    let short = format!("{} {}{side}", n + 1, kind.split(' ').next_back().unwrap_or_default());
    let size = 11.5;
    let fits = Word::new(&long, "").plain().size(size).width(ui) <= rect.width() + 2.0;
    let text = if fits { &long } else { &short };
    let help = format!(
        "Band {}, {kind}, works on {}: press to switch it, to hear it alone, or to change what it works on.",
        n + 1,
        params::all()[band.channel].text(desk.get(band.channel)),
    );
    let name = format!("band {}", n + 1);
    let on = *hear == Some(n);
    let word = Word::new(text, &help).called(&name).plain().size(size).on(on).stamp(sight.theme.red);
    let button = word.show(ui, rect, &sight.theme);
    Popup::menu(&button).width(170.0).show(|ui| nodes::menu(ui, hear, desk, band, n));
}

//! The ruled sheet behind the nodes: frequency across, gain up, the running curve and the two
//! spectra.

use super::BandParams;
use crate::editor::buttons::TextButton;
use crate::editor::controls::ParamEditor;
use crate::editor::screen::DrawContext;
use crate::editor::text;
use crate::editor::window_state::WindowState;
use crate::live::{BAND, FREQS};
use crate::meter::spectrum::{BANDS as SPECTRUM, frequency};
use crate::settings::BANDS;
use egui::{Align2, Pos2, Rect, Stroke, Ui, pos2, vec2};

/// Slope that makes the spectrum of most music look level, dB per octave (common practice, no
/// source).
const TILT: f64 = 4.5;

/// Past this the move is large; past the second, the mix should be mended instead (common
/// practice, no source).
const LARGE: f32 = 3.0;
const MENDED_IN_THE_MIX: f32 = 5.0;

/// Frequency and gain on the sheet.
#[derive(Clone, Copy, Debug)]
pub struct EqScale {
    pub rect: Rect,
    /// dB from the middle to the edge.
    pub range: f64,
}

impl EqScale {
    pub fn x(&self, hz: f64) -> f32 {
        let share = (hz / BAND.0).ln() / (BAND.1 / BAND.0).ln();
        self.rect.left() + self.rect.width() * share as f32
    }

    pub fn y(&self, db: f64) -> f32 {
        self.rect.center().y - self.rect.height() / 2.0 * (db / (self.range * 1.12)) as f32
    }

    /// Hz at a place.
    pub fn hz(&self, x: f32) -> f64 {
        let share = f64::from((x - self.rect.left()) / self.rect.width());
        BAND.0 * (BAND.1 / BAND.0).powf(share)
    }

    /// dB at a place.
    pub fn db(&self, y: f32) -> f64 {
        f64::from((self.rect.center().y - y) / (self.rect.height() / 2.0)) * self.range * 1.12
    }
}

/// Words over the sheet: what the moves amount to, and how the sheet is ruled.
pub fn bar(
    window_state: &mut WindowState,
    solo: &mut Option<usize>,
    ui: &mut Ui,
    rect: Rect,
    context: &DrawContext,
    editor: &ParamEditor,
    bands: &[BandParams; BANDS],
) {
    let theme = &context.theme;
    let mut x = rect.right();
    let mut word = |ui: &mut Ui, word: TextButton| {
        let width = word.width(ui) + 2.0;
        x -= width + 2.0;
        let place = Rect::from_min_size(pos2(x, rect.top() + 1.0), vec2(width, 16.0));
        word.show(ui, place, theme).clicked()
    };
    let help = "Tilts the spectra by 4.5 dB per octave, so that most music looks level.";
    if word(ui, TextButton::new("tilt", help).plain().on(window_state.tilt).size(11.5)) {
        window_state.tilt = !window_state.tilt;
    }
    for range in [12_u8, 6, 3] {
        let text = format!("±{range}");
        let name = format!("scale of ±{range} dB");
        let help = "Gain from the middle of the sheet to its edge, dB.";
        let on = window_state.eq_range_db == range;
        if word(ui, TextButton::new(&text, help).called(&name).plain().on(on).size(11.5)) {
            window_state.eq_range_db = range;
        }
    }
    let room = x - rect.left() - 8.0;
    if let Some(band) = *solo {
        let text = format!("band {} alone: hear all again", band + 1);
        let word = TextButton::new(&text, "Ends hearing one band alone.")
            .called("hear all again")
            .on(true)
            .size(11.5);
        let place = Rect::from_min_size(rect.min + vec2(0.0, 1.0), vec2(word.width(ui).min(room), 16.0));
        if word.stamp(theme.red).show(ui, place, theme).clicked() {
            *solo = None;
        }
        return;
    }
    let largest = bands
        .iter()
        .filter(|band| editor.get(band.on) >= 0.5 && !band.is_cut(editor))
        .map(|band| editor.get(band.gain).abs())
        .fold(0.0, f32::max);
    let (words, color) = match largest {
        0.0 => ("nothing moved", theme.soft),
        v if v <= LARGE + 0.01 => ("small moves: within 3 dB", theme.soft),
        v if v <= MENDED_IN_THE_MIX => ("a large move: past 3 dB", theme.red),
        _ => ("past 5 dB: go back to the mix", theme.red),
    };
    text::text_within(ui.painter(), rect.min + vec2(0.0, 2.0), words, 12.0, color, room);
}

/// Ruling, spectra and curve.
pub fn draw(ui: &Ui, map: &EqScale, context: &DrawContext, tilt: bool) {
    let theme = &context.theme;
    let p = &ui.painter().with_clip_rect(map.rect);
    for decade in [10.0, 100.0, 1000.0, 10_000.0] {
        for digit in 1..10 {
            let hz = decade * f64::from(digit);
            if hz > BAND.0 && hz < BAND.1 {
                let color = if digit == 1 { theme.edge } else { theme.ruling };
                p.vline(
                    map.x(hz),
                    map.rect.y_range(),
                    Stroke::new(if digit == 1 { 1.0 } else { 0.6 }, color),
                );
            }
        }
    }
    spectra(p, map, context, tilt);
    let step = match map.range {
        r if r > 6.0 => 4.0,
        r if r > 3.0 => 2.0,
        _ => 1.0,
    };
    let lines = (map.range / step).round() as i32;
    for n in -lines..=lines {
        let db = f64::from(n) * step;
        let y = map.y(db);
        p.hline(map.rect.x_range(), y, Stroke::new(1.0, if n == 0 { theme.edge } else { theme.ruling }));
        if n != 0 && (n.abs() == lines || map.rect.height() > 170.0) {
            let at = pos2(map.rect.left() + 3.0, y);
            text::text(
                p,
                at,
                Align2::LEFT_CENTER,
                &text::signed(db).replace(".0", ""),
                text::SMALL,
                theme.soft,
            );
        }
    }
    for (hz, text) in [(100.0, "100"), (1000.0, "1k"), (10_000.0, "10k")] {
        let at = pos2(map.x(hz) + 3.0, map.rect.bottom() - 2.0);
        text::text(p, at, Align2::LEFT_BOTTOM, text, text::SMALL, theme.soft);
    }
    let [middle, sides] = &context.live.response;
    let line = |response: &[f32]| -> Vec<Pos2> {
        let point = |(hz, db): (&f64, &f32)| pos2(map.x(*hz), map.y(f64::from(*db).max(-60.0)));
        FREQS.iter().zip(response).map(point).collect()
    };
    if sides != middle {
        text::line(p, line(sides), Stroke::new(1.5, theme.ink), Some((4.0, 3.0)));
    }
    let curve = line(middle);
    let zero: Vec<Pos2> = curve.iter().map(|c| pos2(c.x, map.y(0.0))).collect();
    text::band(p, &curve, &zero, theme.ink.gamma_multiply(0.08));
    text::line(p, curve, Stroke::new(2.0, theme.ink), None);
    ui.painter().rect_stroke(map.rect, 0.0, Stroke::new(1.0, theme.edge), egui::StrokeKind::Outside);
}

/// Before as a wash, after as a thin line, both on a scale of their own: 60 dB over the sheet.
fn spectra(p: &egui::Painter, map: &EqScale, context: &DrawContext, tilt: bool) {
    let theme = &context.theme;
    let level = |db: f32, hz: f64| {
        let tilted = f64::from(db) + if tilt { TILT * (hz / 1000.0).log2() } else { 0.0 };
        let share = ((tilted + 90.0) / 90.0).clamp(0.0, 1.2);
        map.rect.bottom() - map.rect.height() * share as f32
    };
    let points = |spectrum: &[f32]| -> Vec<Pos2> {
        let point = |(n, db): (usize, &f32)| pos2(map.x(frequency(n)), level(*db, frequency(n)));
        spectrum.iter().enumerate().map(point).collect()
    };
    if context.live.spectrum_before.len() == SPECTRUM {
        let before = points(&context.live.spectrum_before);
        let foot: Vec<Pos2> = before.iter().map(|b| pos2(b.x, map.rect.bottom())).collect();
        text::band(p, &before, &foot, theme.wash(theme.before, 0.6));
    }
    if context.live.spectrum_after.len() == SPECTRUM {
        let after = points(&context.live.spectrum_after);
        text::line(p, after, Stroke::new(1.0, theme.wash(theme.ink, 0.5)), None);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_and_values_are_inverse() {
        let map = EqScale { rect: Rect::from_min_size(pos2(40.0, 10.0), vec2(300.0, 120.0)), range: 3.0 };
        for hz in [20.0, 440.0, 20_000.0] {
            assert!((map.hz(map.x(hz)) / hz - 1.0).abs() < 1e-4);
        }
        for db in [-3.0, 0.0, 2.5] {
            assert!((map.db(map.y(db)) - db).abs() < 1e-4);
        }
        assert_eq!(map.x(20.0), 40.0);
    }
}

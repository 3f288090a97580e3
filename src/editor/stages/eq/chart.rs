//! The EQ's chart behind the nodes: frequency horizontally, gain vertically, the magnitude response
//! and the spectra of input and output.

use super::band::BandParams;
use super::reference;
use crate::editor::buttons::TextButton;
use crate::editor::context::DrawContext;
use crate::editor::drawing;
use crate::editor::param_editor::ParamEditor;
use crate::editor::spoken;
use crate::editor::window_state::WindowState;
use crate::live::{CURVE_HZ, CURVE_RANGE_HZ};
use crate::meter::spectrum::{BANDS as SPECTRUM_BANDS, frequency};
use crate::numbers::shortest;
use crate::settings::BANDS;
use egui::{Align2, Pos2, Rect, Response, Stroke, Ui, pos2, vec2};

/// Tilt at which the spectrum of most music is about horizontal, dB per octave (common practice,
/// no source).
const TILT_DB_PER_OCTAVE: f64 = 4.5;

/// Gain beyond which an EQ move is large in mastering, dB (common practice, no source).
const LARGE_MOVE_DB: f32 = 3.0;
/// Gain beyond which the mix should be corrected instead, dB (common practice, no source).
const FIX_IN_THE_MIX_DB: f32 = 5.0;

/// Where frequencies and gains are in the chart.
#[derive(Clone, Copy, Debug)]
pub struct EqScale {
    /// The chart.
    pub rect: Rect,
    /// Gain from the middle to the edge, dB.
    pub range_db: f64,
}

impl EqScale {
    /// x of a frequency in Hz.
    pub fn x(&self, hz: f64) -> f32 {
        let share = (hz / CURVE_RANGE_HZ.0).ln() / (CURVE_RANGE_HZ.1 / CURVE_RANGE_HZ.0).ln();
        self.rect.left() + self.rect.width() * share as f32
    }

    /// y of a gain in dB.
    pub fn y(&self, db: f64) -> f32 {
        self.rect.center().y - self.rect.height() / 2.0 * (db / (self.range_db * 1.12)) as f32
    }

    /// Frequency in Hz at an x.
    pub fn hz(&self, x: f32) -> f64 {
        let share = f64::from((x - self.rect.left()) / self.rect.width());
        CURVE_RANGE_HZ.0 * (CURVE_RANGE_HZ.1 / CURVE_RANGE_HZ.0).powf(share)
    }

    /// Gain in dB at a y.
    pub fn db(&self, y: f32) -> f64 {
        f64::from((self.rect.center().y - y) / (self.rect.height() / 2.0)) * self.range_db * 1.12
    }
}

/// The row above the chart: size of the largest move, or the soloed band; reference, range and tilt. The
/// response is that of the reference's button.
pub fn bar(
    window_state: &mut WindowState,
    solo: &mut Option<usize>,
    ui: &mut Ui,
    rect: Rect,
    context: &DrawContext,
    editor: &ParamEditor,
    bands: &[BandParams; BANDS],
) -> Response {
    let theme = &context.theme;
    let mut x = rect.right();
    let mut button = |ui: &mut Ui, button: TextButton| {
        let width = button.width(ui) + 2.0;
        x -= width + 2.0;
        let place = Rect::from_min_size(pos2(x, rect.top() + 4.0), vec2(width, 16.0));
        button.show(ui, place, theme).clicked()
    };
    let help = "Tilts the spectra by 4.5 dB per octave, so that most music is about horizontal.";
    if button(ui, TextButton::new("tilt", help).plain().on(window_state.tilt).size(11.5)) {
        window_state.tilt = !window_state.tilt;
    }
    for range in [12_u8, 6, 3] {
        let text = format!("±{range}");
        let name = format!("scale of ±{range} dB");
        let help = "Gain from the middle of the chart to its edge, dB.";
        let on = window_state.eq_range_db == range;
        if button(ui, TextButton::new(&text, help).named(&name).plain().on(on).size(11.5)) {
            window_state.eq_range_db = range;
        }
    }
    let width = reference::text_button(context).width(ui) + 2.0;
    x -= width + 8.0;
    let place = Rect::from_min_size(pos2(x, rect.top() + 4.0), vec2(width, 16.0));
    let reference = reference::button(ui, place, context);
    let room = x - rect.left() - 8.0;
    if let Some(band) = *solo {
        let text = format!("solo band {}: end", band + 1);
        let button = TextButton::new(&text, "Ends solo: all bands are audible again.")
            .named("end solo")
            .on(true)
            .size(11.5);
        let place = Rect::from_min_size(rect.min + vec2(0.0, 4.0), vec2(button.width(ui).min(room), 16.0));
        if button.highlight(theme.red).show(ui, place, theme).clicked() {
            *solo = None;
        }
        return reference;
    }
    let largest = bands
        .iter()
        .filter(|band| editor.get(band.on) >= 0.5 && !band.is_cut(editor))
        .map(|band| editor.get(band.gain).abs())
        .fold(0.0, f32::max);
    let (long, short, color) = match largest {
        0.0 => ("flat", "flat", theme.secondary),
        v if v <= LARGE_MOVE_DB + 0.01 => ("small moves: within 3 dB", "within 3 dB", theme.secondary),
        v if v <= FIX_IN_THE_MIX_DB => ("a large move: over 3 dB", "over 3 dB", theme.red),
        _ => ("over 5 dB: better corrected in the mix", "over 5 dB", theme.red),
    };
    let text = if drawing::width(ui.painter(), long, 12.0) <= room { long } else { short };
    let place = drawing::text_within(ui.painter(), rect.min + vec2(0.0, 5.0), text, 12.0, color, room);
    spoken::figure(ui, place, "EQ moves", long);
    reference
}

/// Draws grid, spectra and response.
pub fn draw(ui: &Ui, scale: &EqScale, context: &DrawContext, tilt: bool) {
    let theme = &context.theme;
    let p = &ui.painter().with_clip_rect(scale.rect);
    for decade in [10.0, 100.0, 1000.0, 10_000.0] {
        for digit in 1..10 {
            let hz = decade * f64::from(digit);
            if hz > CURVE_RANGE_HZ.0 && hz < CURVE_RANGE_HZ.1 {
                let color = if digit == 1 { theme.border } else { theme.grid };
                p.vline(
                    scale.x(hz),
                    scale.rect.y_range(),
                    Stroke::new(if digit == 1 { 1.0 } else { 0.6 }, color),
                );
            }
        }
    }
    spectra(p, scale, context, tilt);
    let step = match scale.range_db {
        r if r > 6.0 => 4.0,
        r if r > 3.0 => 2.0,
        _ => 1.0,
    };
    let lines = (scale.range_db / step).round() as i32;
    for n in -lines..=lines {
        let db = f64::from(n) * step;
        let y = scale.y(db);
        p.hline(scale.rect.x_range(), y, Stroke::new(1.0, if n == 0 { theme.border } else { theme.grid }));
        if n != 0 && (n.abs() == lines || scale.rect.height() > 170.0) {
            let at = pos2(scale.rect.left() + 3.0, y);
            drawing::text(p, at, Align2::LEFT_CENTER, &gain_label(db), drawing::SMALL_PT, theme.secondary);
        }
    }
    for (hz, text) in [(100.0, "100"), (1000.0, "1k"), (10_000.0, "10k")] {
        let at = pos2(scale.x(hz) + 3.0, scale.rect.bottom() - 2.0);
        drawing::text(p, at, Align2::LEFT_BOTTOM, text, drawing::SMALL_PT, theme.secondary);
    }
    let [mid, side] = &context.live.response;
    let line = |response: &[f32]| -> Vec<Pos2> {
        let point = |(hz, db): (&f64, &f32)| pos2(scale.x(*hz), scale.y(f64::from(*db).max(-60.0)));
        CURVE_HZ.iter().zip(response).map(point).collect()
    };
    if side != mid {
        drawing::line(p, line(side), Stroke::new(1.5, theme.text), Some((4.0, 3.0)));
    }
    let curve = line(mid);
    let zero: Vec<Pos2> = curve.iter().map(|c| pos2(c.x, scale.y(0.0))).collect();
    drawing::fill_between(p, &curve, &zero, theme.text.gamma_multiply(0.08));
    drawing::line(p, curve, Stroke::new(2.0, theme.text), None);
    ui.painter().rect_stroke(scale.rect, 0.0, Stroke::new(1.0, theme.border), egui::StrokeKind::Outside);
}

/// A gain on the scale: sign, no needless decimals.
fn gain_label(db: f64) -> String {
    if db > 0.0 { format!("+{}", shortest(db, 1)) } else { shortest(db, 1) }
}

/// The input's spectrum as an area, the output's as a line, the reference's dotted, from −90 to 0 dB over the chart's height.
fn spectra(p: &egui::Painter, scale: &EqScale, context: &DrawContext, tilt: bool) {
    let theme = &context.theme;
    let level = |db: f32, hz: f64| {
        let tilted = f64::from(db) + if tilt { TILT_DB_PER_OCTAVE * (hz / 1000.0).log2() } else { 0.0 };
        let share = ((tilted + 90.0) / 90.0).clamp(0.0, 1.2);
        scale.rect.bottom() - scale.rect.height() * share as f32
    };
    let points = |spectrum: &[f32]| -> Vec<Pos2> {
        let point = |(n, db): (usize, &f32)| pos2(scale.x(frequency(n)), level(*db, frequency(n)));
        spectrum.iter().enumerate().map(point).collect()
    };
    if context.live.spectrum_input.len() == SPECTRUM_BANDS {
        let input = points(&context.live.spectrum_input);
        let foot: Vec<Pos2> = input.iter().map(|b| pos2(b.x, scale.rect.bottom())).collect();
        drawing::fill_between(p, &input, &foot, theme.tint(theme.input, 0.6));
    }
    if context.live.spectrum_output.len() == SPECTRUM_BANDS {
        let output = points(&context.live.spectrum_output);
        drawing::line(p, output, Stroke::new(1.0, theme.tint(theme.text, 0.5)), None);
    }
    reference::spectrum(p, context, points);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn positions_and_values_are_inverse() {
        let scale =
            EqScale { rect: Rect::from_min_size(pos2(40.0, 10.0), vec2(300.0, 120.0)), range_db: 3.0 };
        for hz in [20.0, 440.0, 20_000.0] {
            assert!((scale.hz(scale.x(hz)) / hz - 1.0).abs() < 1e-4);
        }
        for db in [-3.0, 0.0, 2.5] {
            assert!((scale.db(scale.y(db)) - db).abs() < 1e-4);
        }
        assert_eq!(scale.x(20.0), 40.0);
    }
}

//! The EQ's chart behind the nodes: frequency horizontally, gain vertically, the magnitude response
//! and the spectra of input and output.

use super::band::BandParams;
use super::reference;
use super::scale::EqScale;
use crate::editor::buttons::TextButton;
use crate::editor::context::DrawContext;
use crate::editor::drawing;
use crate::editor::param_editor::ParamEditor;
use crate::editor::spoken;
use crate::editor::window_state::{SPECTRUM_SLOPES, WindowState};
use crate::live::{CURVE_HZ, CURVE_RANGE_HZ};
use crate::meter::spectrum::{BANDS as SPECTRUM_BANDS, frequency};
use crate::numbers::{number, shortest};
use crate::settings::BANDS;
use egui::{Align2, Pos2, Rect, Response, Stroke, Ui, pos2, vec2};

/// Dots of the output's average spectrum, points.
const AVERAGE_DOT_PT: (f32, f32) = (1.3, 2.2);

/// Gain beyond which an EQ move is large in mastering, dB (common practice, no source).
const LARGE_MOVE_DB: f32 = 3.0;
/// Gain beyond which the mix should be corrected instead, dB (common practice, no source).
const FIX_IN_THE_MIX_DB: f32 = 5.0;

/// The row above the chart: size of the largest move, or the soloed band; reference, range and slope of the spectra. The
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
    let slope = window_state.spectrum_slope;
    let unit = if rect.width() < 330.0 { "dB" } else { "dB/oct" };
    let text = format!("{} {unit}", shortest(f64::from(slope) / 10.0, 1));
    let help = "Slope of a spectrum that is drawn level, dB per octave: 0 white noise, 3 pink noise, 4.5 music that falls more steeply (common practice, no source). Press for the next. Area: input; line: output; dots: output averaged since the measurement was reset.";
    if button(ui, TextButton::new(&text, help).plain().named("spectrum slope").size(11.5)) {
        let now = SPECTRUM_SLOPES.iter().position(|s| *s == slope).unwrap_or(0);
        window_state.spectrum_slope = SPECTRUM_SLOPES[(now + 1) % SPECTRUM_SLOPES.len()];
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
pub fn draw(ui: &Ui, scale: &EqScale, context: &DrawContext, slope: u8) {
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
    spectra(p, scale, context, slope);
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

/// Level that a band of the spectrum is drawn at, dB: bands of constant relative width already show pink noise
/// level, whose power density falls by 3.01 dB per octave. `slope` in tenths of a dB per octave.
fn drawn_level(db: f64, hz: f64, slope: u8) -> f64 {
    const PINK_DB: f64 = 3.010_3;
    db + (f64::from(slope) / 10.0 - PINK_DB) * (hz / 1000.0).log2()
}

/// Lowest level of the spectra, dB re a full-scale sine; the highest is 0.
const LOWEST_DB: f64 = -90.0;

/// The input's spectrum as an area, the output's as a line, its average as dots, over the chart's height.
fn spectra(p: &egui::Painter, scale: &EqScale, context: &DrawContext, slope: u8) {
    let theme = &context.theme;
    let y = |db: f64| {
        let share = ((db - LOWEST_DB) / -LOWEST_DB).clamp(0.0, 1.2);
        scale.rect.bottom() - scale.rect.height() * share as f32
    };
    let level = |db: f32, hz: f64| y(drawn_level(f64::from(db), hz, slope));
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
    if context.live.spectrum_average.len() == SPECTRUM_BANDS {
        let average = points(&context.live.spectrum_average);
        drawing::line(p, average, Stroke::new(1.3, theme.secondary), Some(AVERAGE_DOT_PT));
    }
    reference::spectrum(p, context, points);
    // The spectra's own scale, faint, at the right.
    let step = if scale.rect.height() > 150.0 { 20 } else { 40 };
    for db in (20..90).step_by(step).map(|db| -f64::from(db)) {
        let at = pos2(scale.rect.right() - 3.0, y(db));
        p.hline(at.x - 3.0..=scale.rect.right(), at.y, Stroke::new(1.0, theme.border));
        let text = number(db, 0);
        drawing::text(
            p,
            at - vec2(4.0, 0.0),
            Align2::RIGHT_CENTER,
            &text,
            drawing::SMALL_PT,
            theme.secondary,
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Pink noise through the analyser: level at a slope of 3 dB per octave, falling at 0, rising at 4.5.
    #[test]
    fn pink_noise_is_level_at_three_decibels_per_octave() {
        use crate::dsp::CHUNK;
        // Sum of first-order low-passes, one an octave, weighted so that the density falls by 3 dB per octave.
        let rate = 48_000.0;
        let mut state = [0.0_f64; 14];
        let mut random = 0x2545_f491_u64;
        let mut next = || {
            random = random.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            let white = (random >> 33) as f64 / f64::from(1_u32 << 31) * 2.0 - 1.0;
            let mut sum = 0.0;
            for (octave, state) in state.iter_mut().enumerate() {
                let corner = 5.0 * f64::from(1_u32 << octave);
                let share = 1.0 - (-std::f64::consts::TAU * corner / rate).exp();
                *state += share * (white - *state);
                sum += *state / corner.sqrt();
            }
            sum as f32 * 0.2
        };
        let mut spectrum = crate::meter::spectrum::Spectrum::new(48_000);
        for _ in 0..40 * 48_000 / CHUNK {
            let chunk: [f32; CHUNK] = std::array::from_fn(|_| next());
            spectrum.add(&[chunk, chunk], false, true);
        }
        let mean = spectrum.bands().mean;
        // Mean level from 100 to 200 Hz and from 3.2 to 6.4 kHz, five octaves apart.
        let level = |low: f64, slope: u8| {
            let bands = (0..SPECTRUM_BANDS).filter(|n| (low..2.0 * low).contains(&frequency(*n)));
            let levels = bands.map(|n| drawn_level(f64::from(mean[n]), frequency(n), slope));
            let (count, sum) = levels.fold((0.0, 0.0), |(count, sum), db| (count + 1.0, sum + db));
            sum / count
        };
        let rise = |slope| (level(3_200.0, slope) - level(100.0, slope)) / 5.0;
        assert!(rise(30).abs() < 0.25, "{} dB per octave", rise(30));
        assert!((rise(0) + 3.0).abs() < 0.25 && (rise(45) - 1.5).abs() < 0.25);
    }
}

//! The readout of a stretch that is selected on the frozen chart: its own figures in place of those of the
//! whole measurement.

use super::buttons::TextButton;
use super::chart::SelectedStretch;
use super::context::{DrawContext, ScreenRequests};
use super::drawing;
use super::readout::pumping_text;
use super::spoken;
use crate::meter::{Stretch, StretchReduction};
use crate::numbers::{clock_tenths, number};
use egui::{Align2, Rect, Stroke, Ui, pos2, vec2};

/// Draws the readout into `rect`; true when the user closes it.
pub(super) fn show(
    selected: &SelectedStretch,
    loops: bool,
    ui: &mut Ui,
    rect: Rect,
    context: &DrawContext,
    requests: &mut ScreenRequests,
) -> bool {
    let theme = &context.theme;
    let p = ui.painter().clone();
    p.rect(rect, 1.0, theme.background, Stroke::new(1.0, theme.border), egui::StrokeKind::Inside);
    p.vline(rect.left() + 6.0, rect.y_range(), Stroke::new(1.5, theme.ochre));
    let inner = Rect::from_min_max(rect.min + vec2(14.0, 6.0), rect.max - vec2(12.0, 6.0));
    let stretch = &selected.stretch;
    let [from, to] = selected.song_s.map(clock_tenths);
    let title = format!("{from} to {to}");
    drawing::bold(&p, inner.left_top() + vec2(0.0, 2.0), Align2::LEFT_TOP, &title, 13.0, theme.text);
    let place = Rect::from_min_size(inner.min, vec2(inner.width(), 18.0));
    spoken::figure(ui, place, "selected stretch", &title);

    let foot = 28.0;
    let rows = rows(stretch, selected.worst_song_s);
    let top = inner.top() + 24.0;
    let pitch = ((inner.bottom() - foot - top) / rows.len() as f32).clamp(15.5, 22.0);
    for (n, (label, value)) in rows.iter().enumerate() {
        let at = pos2(inner.left(), top + n as f32 * pitch);
        let row = Rect::from_min_size(at, vec2(inner.width(), pitch));
        spoken::figure(ui, row, &format!("stretch, {label}"), value);
        if row.bottom() <= inner.bottom() - foot + 1.0 {
            let color = if n == 0 { theme.ochre } else { theme.text };
            drawing::label_and_value(&p, row, [label, value], 12.0, [theme.secondary, color]);
        }
    }
    let mut left = inner.left();
    let mut button = |ui: &mut Ui, text: &str, help: &str| {
        let name = format!("stretch: {text}");
        let button = TextButton::new(text, help).named(&name).size(12.0);
        let width = button.width(ui);
        let place = Rect::from_min_size(pos2(left, inner.bottom() - 21.5), vec2(width, 19.0));
        left += width + 5.0;
        button.show(ui, place, theme).clicked()
    };
    if loops && button(ui, "loop this", "Loops this stretch of the song.") {
        requests.loop_song_s = Some(selected.song_s);
    }
    button(ui, "close", "Shows the figures of the whole measurement again.")
}

/// Labels and values, the most important first.
fn rows(stretch: &Stretch, worst_song_s: f64) -> Vec<(&'static str, String)> {
    let both = |reduction: &StretchReduction| {
        format!("{} / {} dB", number(reduction.mean, 1), number(reduction.deepest, 1))
    };
    let or_nan = |value: Option<f64>| value.unwrap_or(f64::NAN);
    vec![
        ("loudness", format!("{} LUFS", number(stretch.loudness, 1))),
        ("PLR", format!("{} LU", number(or_nan(stretch.plr), 1))),
        ("true peak max", format!("{} dBTP", number(stretch.true_peak, 1))),
        ("reduction", "mean / deepest".to_owned()),
        ("total", both(&stretch.total)),
        ("limiter", both(&stretch.limiter)),
        ("compressor", both(&stretch.compressor)),
        ("soft clip", both(&stretch.clip)),
        ("pumping, 0.5–8 Hz", pumping_text(stretch.pumping)),
        ("worst moment", clock_tenths(worst_song_s)),
    ]
}

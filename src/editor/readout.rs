//! The readout: the loudness of the whole against the target, written like an account, and the
//! other figures under it as far as there is room.

use super::buttons::TextButton;
use super::screen::{DrawContext, ScreenRequests};
use super::text;
use super::window_state::WindowState;
use crate::live::LiveReadout;
use egui::{Align2, Color32, Popup, Rect, Stroke, Ui, pos2, vec2};

pub(super) fn show(
    window_state: &mut WindowState,
    ui: &mut Ui,
    rect: Rect,
    context: &DrawContext,
    wishes: &mut ScreenRequests,
) {
    let (theme, calm) = (&context.theme, context.calm);
    let p = ui.painter().clone();
    p.rect(rect, 1.0, theme.paper, Stroke::new(1.0, theme.edge), egui::StrokeKind::Inside);
    // A margin line, as in an account book.
    p.vline(rect.left() + 6.0, rect.y_range(), Stroke::new(1.0, theme.wash(theme.red, 0.35)));
    let inner = Rect::from_min_max(rect.min + vec2(14.0, 6.0), rect.max - vec2(12.0, 6.0));

    target(&mut window_state.target, ui, inner, context);
    let roomy = ((rect.height() - 250.0) / 130.0).clamp(0.0, 1.0);
    let size = 36.0 + 10.0 * roomy;
    let y = inner.top() + 24.0 + size * 0.5;
    let (figure, color) = (text::number(calm.after.integrated), sum_color(context));
    let sum = text::bold(&p, pos2(inner.right(), y), Align2::RIGHT_CENTER, &figure, size, color);
    for (dy, word) in [(-7.0, "integrated"), (8.0, "LUFS")] {
        text::text(&p, pos2(inner.left(), y + dy), Align2::LEFT_CENTER, word, 12.0, theme.soft);
    }
    // Twice underlined: the sum of the account.
    let line = y + size * 0.5;
    for dy in [0.0, 2.5] {
        p.hline(sum.left()..=inner.right(), line + dy, Stroke::new(1.0, theme.ink));
    }
    let off = calm.after.integrated - calm.aim().loudness;
    let words = distance(off);
    text::text(&p, pos2(inner.right(), line + 12.0), Align2::RIGHT_CENTER, &words, 12.0, color);

    let foot = 24.0;
    let top = line + 22.0;
    let rows = rows(calm, context.theme.red, theme.ink);
    let room = inner.bottom() - foot - top;
    let pitch = (room / rows.len() as f32).clamp(15.5, 21.0);
    let mut y = top;
    for (label, value, color) in rows {
        if y + pitch > inner.bottom() - foot + 1.0 {
            break;
        }
        let row = Rect::from_min_size(pos2(inner.left(), y), vec2(inner.width(), pitch));
        text::leader(&p, row, label, &value, 12.0, theme.soft, color);
        y += pitch;
    }
    measuring(&mut window_state.follow, ui, inner, context, wishes);
}

/// The delivery target as a word that opens the list.
fn target(chosen: &mut String, ui: &mut Ui, inner: Rect, context: &DrawContext) {
    let aim = context.live.aim();
    let text = format!("{} {} LUFS", aim.name, text::number(aim.loudness));
    let rect = Rect::from_min_size(inner.min, vec2(inner.width(), 20.0));
    let help = "The delivery target that the loudness is held against; your delivery's own specification comes first.";
    let button = TextButton::new(&text, help).called("target").size(12.0).show(ui, rect, &context.theme);
    Popup::menu(&button).width(250.0).show(|ui| {
        for (n, target) in context.live.targets.iter().enumerate() {
            let text = format!(
                "{}   {} LUFS   {} dBTP",
                target.name,
                text::number(target.loudness),
                text::number(target.true_peak)
            );
            if ui.selectable_label(n == context.live.target, text).clicked() {
                *chosen = target.name.to_owned();
                ui.close();
            }
        }
    });
}

/// Start, pause and reset of the integrated measurement, and whether the transport does it.
fn measuring(
    follow: &mut bool,
    ui: &mut Ui,
    inner: Rect,
    context: &DrawContext,
    wishes: &mut ScreenRequests,
) {
    let theme = &context.theme;
    let rect =
        |left: f32, width: f32| Rect::from_min_size(pos2(left, inner.bottom() - 19.0), vec2(width, 19.0));
    let running = context.live.measuring;
    let (text, help) = match running {
        true => ("pause", "Stops counting into the integrated figures; what was counted stays."),
        false => ("go on", "Goes on counting into the integrated figures."),
    };
    let word = TextButton::new(text, help).called("measure").size(12.0).enabled(!*follow);
    let place = rect(inner.left(), word.width(ui));
    if word.show(ui, place, theme).clicked() {
        wishes.measurement.run = Some(!running);
    }
    let help = "Forgets everything counted and starts anew.";
    let word = TextButton::new("start anew", help).size(12.0);
    let place = rect(place.right() + 5.0, word.width(ui));
    if word.show(ui, place, theme).clicked() {
        wishes.measurement.reset = true;
    }
    let time = text::clock(context.live.measured.floor());
    let more = match (running, *follow) {
        (_, true) => format!("follows {time}"),
        (false, _) => format!("{time} paused"),
        _ => time.clone(),
    };
    let room = inner.right() - place.right() - 6.0;
    let help = match *follow {
        true => {
            "The time counted. It follows the transport: counts while that runs, and starts anew where playing begins elsewhere. Press to count by hand."
        }
        false => {
            "The time counted. Press to let it follow the transport: count while that runs, and start anew where playing begins elsewhere."
        }
    };
    let text = if text::width(ui.painter(), &more, 12.0) + 6.0 <= room { &more } else { &time };
    let word = TextButton::new(text, help).plain().called("follow the transport").size(12.0).on(*follow);
    let width = word.width(ui);
    let place = Rect::from_min_size(pos2(inner.right() - width + 3.0, place.top()), vec2(width, 19.0));
    if word.show(ui, place, theme).clicked() {
        *follow = !*follow;
    }
}

/// Red past the target by more than a decibel; ochre, the loudness pen, otherwise.
fn sum_color(context: &DrawContext) -> Color32 {
    let over = context.calm.after.integrated > context.calm.aim().loudness + 1.0;
    if over { context.theme.red } else { context.theme.ochre }
}

/// How far the loudness is from the target, in words.
fn distance(off: f64) -> String {
    if !off.is_finite() {
        return "nothing measured yet".to_owned();
    }
    match off {
        off if off.abs() < 0.05 => "on the target".to_owned(),
        off if off > 0.0 => format!("{} LU over the target", text::number(off)),
        off => format!("{} LU under the target", text::number(-off)),
    }
}

/// All other figures, the most important first.
fn rows(live: &LiveReadout, red: Color32, ink_color: Color32) -> Vec<(&'static str, String, Color32)> {
    let (after, before) = (&live.after, &live.before);
    let number = text::number;
    let over = after.true_peak_max > live.aim().true_peak + 0.05;
    let peak = if over { red } else { ink_color };
    vec![
        ("true peak max", format!("{} dBTP", number(after.true_peak_max)), peak),
        ("loudness range", format!("{} LU", number(after.range)), ink_color),
        ("peak to loudness", format!("{} LU", number(after.peak_to_loudness)), ink_color),
        ("ceiling, deepest", format!("{} dB", number(live.limiter.most)), ink_color),
        ("compressor, deepest", format!("{} dB", number(live.compressor.most)), ink_color),
        ("ceiling at work", format!("{:.0} %", live.limiter.share * 100.0), ink_color),
        ("swing 0.5–8 Hz", format!("{} dB", number(live.swing)), ink_color),
        ("loudness before", format!("{} LUFS", number(before.integrated)), ink_color),
        ("peak before", format!("{} dBTP", number(before.true_peak_max)), ink_color),
        ("crest, before", format!("{} dB", number(before.crest)), ink_color),
        ("crest, after", format!("{} dB", number(after.crest)), ink_color),
        ("correlation", text::signed_two(after.correlation), ink_color),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_distance_to_the_target_is_said_in_words() {
        assert_eq!(distance(-0.01), "on the target");
        assert_eq!(distance(1.24), "1.2 LU over the target");
        assert_eq!(distance(-3.0), "3.0 LU under the target");
        assert_eq!(distance(f64::NEG_INFINITY), "nothing measured yet");
    }
}

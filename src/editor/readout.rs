//! The readout: integrated loudness against the delivery target, the measurement's buttons, and as
//! many other figures as there is room for.

use super::buttons::TextButton;
use super::context::{DrawContext, Matching, ScreenRequests};
use super::drawing;
use super::spoken;
use super::theme::Theme;
use super::window_state::{MONITORING_LEVELS, WindowState};
use crate::live::{LiveReadout, SongResult};
use crate::meter::Target;
use crate::meter::reduction::PUMPING_FROM_S;
use crate::numbers::{clock, number, signed};
use egui::{Align2, Color32, Popup, Rect, Stroke, Ui, pos2, vec2};

/// Draws the readout into `rect`.
pub(super) fn show(
    window_state: &mut WindowState,
    ui: &mut Ui,
    rect: Rect,
    context: &DrawContext,
    requests: &mut ScreenRequests,
) {
    let (theme, steady) = (&context.theme, context.steady);
    let p = ui.painter().clone();
    p.rect(rect, 1.0, theme.background, Stroke::new(1.0, theme.border), egui::StrokeKind::Inside);
    p.vline(rect.left() + 6.0, rect.y_range(), Stroke::new(1.0, theme.tint(theme.red, 0.35)));
    let inner = Rect::from_min_max(rect.min + vec2(14.0, 6.0), rect.max - vec2(12.0, 6.0));

    target(window_state, ui, inner, context, requests);
    let extra = ((rect.height() - 250.0) / 130.0).clamp(0.0, 1.0);
    let size = 36.0 + 10.0 * extra;
    let y = inner.top() + 24.0 + size * 0.5;
    let result = steady.result.as_ref();
    let loudness = result.map_or(steady.output.integrated, |result| result.integrated);
    let color = match (result, steady.mixed_settings, steady.passage_s) {
        (None, true, _) => theme.secondary,
        (None, _, Some(_)) => theme.text,
        _ => loudness_color(loudness, steady.chosen_target(), theme),
    };
    let figure = number(loudness, 1);
    let value_rect = drawing::bold(&p, pos2(inner.right(), y), Align2::RIGHT_CENTER, &figure, size, color);
    let figure_place = Rect::from_min_max(pos2(inner.left(), value_rect.top()), value_rect.max);
    let (label, said, help) = match result {
        Some(SongResult { exported: true, .. }) => ("whole song", "loudness of the export", EXPORTED_HELP),
        Some(_) => ("whole song", "loudness of the match", MATCHED_HELP),
        None => ("integrated", "integrated loudness", INTEGRATED_HELP),
    };
    spoken::figure(ui, figure_place, said, &format!("{figure} LUFS")).on_hover_text(help);
    for (dy, label) in [(-7.0, label), (8.0, "LUFS")] {
        drawing::text(&p, pos2(inner.left(), y + dy), Align2::LEFT_CENTER, label, 12.0, theme.secondary);
    }
    // A double line under the value.
    let line = y + size * 0.5;
    for dy in [0.0, 2.5] {
        p.hline(value_rect.left()..=inner.right(), line + dy, Stroke::new(1.0, theme.text));
    }
    let off = loudness - steady.chosen_target().loudness;
    let words = match (result, steady.mixed_settings, steady.passage_s) {
        (None, true, _) => MIXED.to_owned(),
        (None, _, Some(seconds)) => passage_text(seconds),
        _ => distance_text(off),
    };
    let at = pos2(inner.right(), line + 12.0);
    let words_rect = drawing::text(&p, at, Align2::RIGHT_CENTER, &words, 12.0, color);
    let response = spoken::figure(ui, words_rect, "loudness against the target", &words);
    if steady.passage_s.is_some() && result.is_none() {
        response.on_hover_text(PASSAGE_HELP);
    }

    let foot = 24.0;
    let top = line + 22.0;
    let rows = rows(steady, context.theme.red, theme.text);
    let room = inner.bottom() - foot - top;
    let pitch = (room / rows.len() as f32).clamp(15.5, 21.0);
    let mut y = top;
    for (label, value, color) in rows {
        if y + pitch > inner.bottom() - foot + 1.0 {
            // No room: it can still be spoken.
            spoken::figure(ui, inner, label, &value);
            continue;
        }
        let row = Rect::from_min_size(pos2(inner.left(), y), vec2(inner.width(), pitch));
        spoken::figure(ui, row, label, &value).on_hover_text(row_help(label));
        drawing::label_and_value(&p, row, [label, &value], 12.0, [theme.secondary, color]);
        y += pitch;
    }
    measuring(&mut window_state.follow_transport, ui, inner, context, requests);
}

/// The delivery target: a button that opens the list.
fn target(
    window_state: &mut WindowState,
    ui: &mut Ui,
    inner: Rect,
    context: &DrawContext,
    requests: &mut ScreenRequests,
) {
    let aim = context.live.chosen_target();
    let row = Rect::from_min_size(inner.min, vec2(inner.width(), 20.0));
    let text = format!("{} {} LUFS", aim.name, number(aim.loudness, 1));
    let (rect, text) = match match_button(ui, row, context, requests) {
        None => (row, text),
        Some(left) => (row.with_max_x(left - 4.0), fitting(ui, aim, left - 4.0 - row.left())),
    };
    let help = "The delivery target that the loudness is compared with; the specification of your delivery takes precedence.";
    let button = TextButton::new(&text, help).named("target").size(12.0).show(ui, rect, &context.theme);
    Popup::menu(&button).width(290.0).show(|ui| {
        for (n, target) in context.live.targets.iter().enumerate() {
            let text = format!(
                "{}   {} LUFS   {} dBTP",
                target.name,
                number(target.loudness, 1),
                number(target.true_peak, 1)
            );
            let item = ui.selectable_label(n == context.live.target, text).on_hover_text(target.source);
            if item.clicked() {
                target.name.clone_into(&mut window_state.target);
                ui.close();
            }
        }
        ui.separator();
        monitoring_level(&mut window_state.monitoring_level, ui);
    });
}

/// The target as long as it fits into `room` points beside the button: with its unit, with its name, or its
/// loudness alone.
fn fitting(ui: &Ui, aim: &Target, room: f32) -> String {
    let loudness = number(aim.loudness, 1);
    let long = [format!("{} {loudness} LUFS", aim.name), format!("{} {loudness}", aim.name)];
    let fits = |text: &String| drawing::width(ui.painter(), text, 12.0) + 8.0 <= room;
    long.into_iter().find(fits).unwrap_or_else(|| format!("{loudness} LUFS"))
}

/// The button that searches the drive for the target, at the right of `row`; its left edge.
fn match_button(ui: &mut Ui, row: Rect, context: &DrawContext, requests: &mut ScreenRequests) -> Option<f32> {
    let loudness = number(context.live.chosen_target().loudness, 0);
    let (text, help) = match context.matching {
        Matching::Unavailable => return None,
        Matching::Ready => (
            if row.width() > 260.0 { format!("match {loudness} LUFS") } else { "match".to_owned() },
            format!(
                "Searches the drive with which the whole song, from start to end, reaches {loudness} LUFS, and sets it; one step of undo. Where the limiter would be over-driven it stops before, and says so."
            ),
        ),
        Matching::Running(share) => {
            (format!("stop, {:.0} %", share * 100.0), "Stops the search; nothing is changed.".to_owned())
        }
    };
    let is_running = matches!(context.matching, Matching::Running(_));
    let button = TextButton::new(&text, &help).named("match").size(12.0).on(is_running);
    let left = row.right() - button.width(ui);
    if button.highlight(context.theme.teal).show(ui, row.with_min_x(left), &context.theme).clicked() {
        requests.match_target = true;
    }
    Some(left)
}

/// The loudness above which the output is marked.
fn monitoring_level(chosen: &mut i8, ui: &mut Ui) {
    let help = "At the monitors' present setting this is as loud as you want to work. Above it the momentary loudness is marked, and in the chart the short-term loudness. Long listening above about 85 dB(A) harms hearing (common practice; local rules come first).";
    ui.label("mark output above, LUFS").on_hover_text(help);
    ui.horizontal(|ui| {
        for level in MONITORING_LEVELS {
            let text = if level == 0 { "off".to_owned() } else { number(f64::from(level), 0) };
            if ui.selectable_label(*chosen == level, text).on_hover_text(help).clicked() {
                *chosen = level;
            }
        }
    });
}

/// Pause, resume and reset of the integrated measurement, and whether it follows the transport.
fn measuring(
    follow_transport: &mut bool,
    ui: &mut Ui,
    inner: Rect,
    context: &DrawContext,
    requests: &mut ScreenRequests,
) {
    let theme = &context.theme;
    let rect =
        |left: f32, width: f32| Rect::from_min_size(pos2(left, inner.bottom() - 19.0), vec2(width, 19.0));
    let running = context.live.measuring;
    let (text, help) = match running {
        true => ("pause", "Pauses the integrated measurement; what was measured is kept."),
        false => ("resume", "Resumes the integrated measurement."),
    };
    let button = TextButton::new(text, help).named("measure").size(12.0).enabled(!*follow_transport);
    let place = rect(inner.left(), button.width(ui));
    if button.show(ui, place, theme).clicked() {
        requests.measurement.run = Some(!running);
    }
    let help = "Discards what was measured and starts again.";
    let button = TextButton::new("reset", help).named("reset measurement").size(12.0);
    let place = rect(place.right() + 5.0, button.width(ui));
    if button.show(ui, place, theme).clicked() {
        requests.measurement.reset = true;
    }
    let time = clock(context.live.measured.floor());
    let more = match (running, *follow_transport) {
        (_, true) => format!("follows {time}"),
        (false, _) => format!("{time} paused"),
        _ => time.clone(),
    };
    let room = inner.right() - place.right() - 6.0;
    let help = match *follow_transport {
        true => {
            "Time measured. The measurement follows the transport: it runs while that plays, and resets where playback starts at another place. Press to control it by hand."
        }
        false => {
            "Time measured. Press to make it follow the transport: to run while that plays, and to reset where playback starts at another place."
        }
    };
    spoken::figure(ui, place, "measured", &more);
    let text = if drawing::width(ui.painter(), &more, 12.0) + 6.0 <= room { &more } else { &time };
    let button =
        TextButton::new(text, help).plain().named("follow the transport").size(12.0).on(*follow_transport);
    let width = button.width(ui);
    let place = Rect::from_min_size(pos2(inner.right() - width + 3.0, place.top()), vec2(width, 19.0));
    if button.show(ui, place, theme).clicked() {
        *follow_transport = !*follow_transport;
    }
}

/// Red above the target's tolerance, otherwise ochre, the colour of loudness. `integrated` in LUFS.
fn loudness_color(integrated: f64, target: &Target, theme: &Theme) -> Color32 {
    if integrated > *target.band().end() { theme.red } else { theme.ochre }
}

/// Tooltips of the large figure.
const INTEGRATED_HELP: &str = "Integrated loudness of what was played since the reset, LUFS (ITU-R BS.1770).";
const MATCHED_HELP: &str = "Integrated loudness that the match found for the whole song with these settings, LUFS. It stands here until a setting, the trim or the target moves; what was played stands below.";
const EXPORTED_HELP: &str = "Integrated loudness of the file that was exported with these settings, measured in the file, LUFS. It stands here until a setting, the trim or the target moves; what was played stands below.";

/// What stands there instead when the settings have changed while it was measured.
const MIXED: &str = "settings changed: reset";

/// Tooltip of what stands there while only a passage was measured.
const PASSAGE_HELP: &str = "Only this much of the song was measured since the reset: its loudest passage reads 1 to 2 LU above the whole song. Press \"reset\" and play the song from start to end, or \"match\" it.";

/// What stands there while only a passage of the song was measured.
fn passage_text(seconds: f64) -> String {
    match seconds {
        seconds if seconds < 99.5 => format!("passage, {} s", number(seconds, 0)),
        seconds => format!("passage, {}", clock(seconds)),
    }
}

/// The difference between loudness and target, in words.
fn distance_text(off: f64) -> String {
    if !off.is_finite() {
        return "not measured yet".to_owned();
    }
    match off {
        off if off.abs() < 0.05 => "on the target".to_owned(),
        off if off > 0.0 => format!("{} LU over the target", number(off, 1)),
        off => format!("{} LU under the target", number(-off, 1)),
    }
}

/// What a figure is, for its tip.
fn row_help(label: &str) -> &'static str {
    match label {
        "true peak max" => {
            "Highest true peak after the chain since the reset, dBTP: between the samples too, as a converter or an encoder meets it (ITU-R BS.1770). Red above the target's limit."
        }
        "loudness range" => {
            "Spread between the soft and the loud parts since the reset, LU (EBU Tech 3342). It needs a minute of music to settle."
        }
        "PLR" => {
            "Highest true peak minus integrated loudness, LU: how far the peaks stand above the whole. The denser the master, the smaller."
        }
        "result of" => {
            "The job whose result stands above: it holds for the whole song with the present settings."
        }
        "export with" => {
            "The file was written with this gain, which its search found; the settings have another. \"use\" in the row of the song takes it over."
        }
        "true peak, result" => {
            "Highest true peak of the exported file, measured in the file, dBTP. Red above the target's limit."
        }
        "played so far" => "Integrated loudness of what was played since the reset, LUFS.",
        "total, deepest" => "Most that compressor, limiter and soft clip took together since the reset, dB.",
        "limiter, deepest" => "Most that the limiter's gain took since the reset, dB.",
        "compressor, deepest" => "Most that the compressor took since the reset, dB.",
        "soft clip, deepest" => "Most that the soft clip took from a peak since the reset, dB.",
        "limiter active" => "Share of the last ten seconds of music in which the limiter took 1 dB or more.",
        "pumping, 0.5–8 Hz" => {
            "How far the gain reduction moves with the beat, peak to peak, dB. From 3 dB on a note says so (common practice, no source)."
        }
        "loudness, in" => "Integrated loudness of the source, before the trim, LUFS.",
        "true peak max, in" => "Highest true peak of the source, before the trim, dBTP.",
        "crest factor, in" => "Highest sample of the source over its root mean square, dB.",
        "crest factor, out" => "Highest sample after the chain over its root mean square, dB.",
        "correlation" => {
            "Correlation of left and right after the chain: +1 is mono, 0 unrelated, below 0 parts cancel in mono."
        }
        "reference" => "Integrated loudness of the reference, LUFS.",
        "reference range" => "Loudness range of the reference, LU.",
        "reference PLR" => "Highest true peak of the reference minus its integrated loudness, LU.",
        _ => "",
    }
}

/// Pumping, dB; before there is a figure, from when on there will be one.
pub(super) fn pumping_text(pumping: Option<f64>) -> String {
    pumping.map_or_else(
        || format!("from {} s", number(PUMPING_FROM_S, 0)),
        |pumping| format!("{} dB", number(pumping, 1)),
    )
}

/// The other figures, the most important first.
fn rows(live: &LiveReadout, red: Color32, text_color: Color32) -> Vec<(&'static str, String, Color32)> {
    let (output, input) = (&live.output, &live.input);
    let tenths = |value: f64| number(value, 1);
    let over = output.true_peak_max > live.chosen_target().true_peak + 0.05;
    let peak = if over { red } else { text_color };
    let pumping = Some(live.pumping_db).filter(|_| live.measured >= PUMPING_FROM_S);
    let mut rows = vec![
        ("true peak max", format!("{} dBTP", tenths(output.true_peak_max)), peak),
        ("loudness range", format!("{} LU", tenths(output.range)), text_color),
        ("PLR", format!("{} LU", tenths(output.plr)), text_color),
        ("total, deepest", format!("{} dB", tenths(live.total.deepest)), text_color),
        ("limiter, deepest", format!("{} dB", tenths(live.limiter.deepest)), text_color),
        ("compressor, deepest", format!("{} dB", tenths(live.compressor.deepest)), text_color),
        ("soft clip, deepest", format!("{} dB", tenths(live.clip.deepest)), text_color),
        ("limiter active", format!("{} %", number(live.limiter.active_share * 100.0, 0)), text_color),
        ("pumping, 0.5–8 Hz", pumping_text(pumping), text_color),
        ("loudness, in", format!("{} LUFS", tenths(input.integrated)), text_color),
        ("true peak max, in", format!("{} dBTP", tenths(input.true_peak_max)), text_color),
        ("crest factor, in", format!("{} dB", tenths(input.crest)), text_color),
        ("crest factor, out", format!("{} dB", tenths(output.crest)), text_color),
        ("correlation", signed(output.correlation, 2), text_color),
    ];
    if let Some(reference) = live.reference.figures() {
        let figures = [
            ("reference", format!("{} LUFS", tenths(reference.integrated)), text_color),
            ("reference range", format!("{} LU", tenths(reference.range)), text_color),
            ("reference PLR", format!("{} LU", tenths(reference.plr)), text_color),
        ];
        rows.splice(3..3, figures);
    }
    if let Some(result) = &live.result {
        let played = match live.mixed_settings {
            true => "settings changed".to_owned(),
            false => format!("{} LUFS", tenths(output.integrated)),
        };
        let mut first = vec![match &result.with_gain {
            Some(gain) => ("export with", gain.clone(), text_color),
            None => ("result of", if result.exported { "export" } else { "match" }.to_owned(), text_color),
        }];
        first.extend(result.true_peak.map(|peak| {
            let over = peak > live.chosen_target().true_peak + 0.05;
            ("true peak, result", format!("{} dBTP", tenths(peak)), if over { red } else { text_color })
        }));
        first.push(("played so far", played, text_color));
        rows.splice(0..0, first);
    }
    rows
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_difference_to_the_target_is_given_in_words() {
        assert_eq!(distance_text(-0.01), "on the target");
        assert_eq!(distance_text(1.24), "1.2 LU over the target");
        assert_eq!(distance_text(-3.0), "3.0 LU under the target");
        assert_eq!(distance_text(f64::NEG_INFINITY), "not measured yet");
        assert_eq!(
            (passage_text(10.1), passage_text(125.0)),
            ("passage, 10 s".into(), "passage, 2:05".into())
        );
    }

    #[test]
    fn every_row_has_a_tip() {
        use crate::live::{ReferenceFigures, ReferenceLoad, ReferenceReadout};
        let figures = ReferenceFigures {
            integrated: -12.0,
            range: 5.0,
            plr: 11.0,
            true_peak: -1.0,
            seconds: 60.0,
            bands: Vec::new(),
        };
        let reference = ReferenceReadout { load: ReferenceLoad::Ready(figures), ..Default::default() };
        for gain in [None, Some("drive +4.0 dB".to_owned())] {
            let result =
                SongResult { integrated: -14.0, true_peak: Some(-1.0), exported: true, with_gain: gain };
            let (reference, result) = (reference.clone().into(), Some(result));
            let live = LiveReadout { reference, result, ..LiveReadout::default() };
            for (label, ..) in rows(&live, Color32::RED, Color32::BLACK) {
                assert!(row_help(label).len() > 20, "{label}");
            }
        }
    }

    #[test]
    fn the_loudness_is_red_above_the_targets_own_tolerance() {
        let theme = Theme::of(false);
        let color = |name: &str, over: f64| {
            let target = Target::named(name).unwrap();
            loudness_color(target.loudness + over, &target, &theme)
        };
        assert_eq!((color("broadcast", 0.15), color("broadcast", 0.25)), (theme.ochre, theme.red));
        assert_eq!((color("streaming", 0.95), color("streaming", 1.05)), (theme.ochre, theme.red));
        assert_eq!(color("broadcast", f64::NAN), theme.ochre);
    }
}

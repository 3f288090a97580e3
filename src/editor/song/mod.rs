//! The row of the song, for the window that needs no host: the whole song as a strip of paper with
//! its ends, what is repeated and the place that is heard; play, loudest ten seconds, export. In
//! goes a [`SongView`], out come [`SessionRequest`]s.

mod export;
mod wave;

use super::buttons::TextButton;
use super::layout::Layout;
use super::text;
use super::theme::Theme;
use crate::finish;
use crate::meter::Target;
use crate::player::{ExportProgress, LOUDEST, LoadState, LoadedSong, Playhead, SessionRequest};
use egui::{Align2, Rect, Stroke, StrokeKind, Ui, pos2, vec2};

/// Height of the row, points.
pub const HEIGHT: f32 = 112.0;

/// What the row draws.
pub struct SongView<'a> {
    pub take: &'a LoadedSong,
    /// Ends and cycle.
    pub playhead: &'a Playhead,
    /// The frame that is heard.
    pub heard: u64,
    pub playing: bool,
    /// The ends are the hand's own.
    pub own_ends: bool,
    /// Why nobody hears it, if nobody does.
    pub silent: Option<&'a str>,
    pub export: Option<ExportProgress>,
    pub target: Target,
}

/// What the row remembers.
#[derive(Debug, Default)]
pub struct SongState {
    wave: wave::WaveState,
    export: export::ExportPanelState,
}

/// The row's place in `area`, in line with the margins of the screen above it.
pub fn place(area: Rect, screen: Rect) -> Rect {
    let notes = Layout::of(screen).notes;
    Rect::from_x_y_ranges(notes.x_range(), area.top()..=area.bottom() - 10.0)
}

/// Draws the row and tells what the hand asks for.
pub fn show(
    state: &mut SongState,
    ui: &mut Ui,
    rect: Rect,
    theme: &Theme,
    view: &SongView,
) -> Vec<SessionRequest> {
    let mut asks = Vec::new();
    let left = Rect::from_min_size(rect.min, vec2(92.0, rect.height()));
    // In line with the ledger, where that is wide enough.
    let width = (rect.width() * 0.19).clamp(208.0, 300.0);
    let right = Rect::from_min_max(pos2(rect.right() - width, rect.top()), rect.max);
    let middle = Rect::from_min_max(pos2(left.right(), rect.top()), pos2(right.left() - 12.0, rect.bottom()));
    let line = Rect::from_min_size(middle.min, vec2(middle.width(), 18.0));
    let strip = Rect::from_min_max(pos2(middle.left(), line.bottom() + 1.0), middle.max);
    run(ui, left, theme, view, &mut asks);
    about(ui, line, theme, view);
    wave::show(&mut state.wave, ui, strip, theme, view, &mut asks);
    buttons(state, ui, right, theme, view, &mut asks);
    asks
}

/// Play, and where it is.
fn run(ui: &mut Ui, rect: Rect, theme: &Theme, view: &SongView, asks: &mut Vec<SessionRequest>) {
    let (text, help) = match view.playing {
        true => ("pause", "Stops here; Space does the same."),
        false => ("play", "Plays from here, between the two ends; Space does the same."),
    };
    let place = Rect::from_min_size(pos2(rect.left(), rect.top() + 22.0), vec2(76.0, 28.0));
    let word = TextButton::new(text, help).called("play").on(view.playing).size(14.0);
    if word.show(ui, place, theme).clicked() {
        asks.push(SessionRequest::Toggle);
    }
    let p = ui.painter();
    let rate = f64::from(view.take.format().rate);
    let trim = view.playhead.trim();
    let at = (view.heard.saturating_sub(trim.start)) as f64 / rate;
    let of = (trim.end - trim.start) as f64 / rate;
    let top = place.bottom() + 6.0;
    text::text(p, pos2(rect.left(), top), Align2::LEFT_TOP, &clock(at), 19.0, theme.ink);
    let of = format!("of {}", clock(of));
    text::text(p, pos2(rect.left(), top + 24.0), Align2::LEFT_TOP, &of, 12.0, theme.soft);
}

/// What is played and where, or how the export goes.
fn about(ui: &mut Ui, rect: Rect, theme: &Theme, view: &SongView) {
    let format = view.take.format();
    let name = view.take.path().file_name().unwrap_or_default().to_string_lossy().into_owned();
    let kind = match format.kind {
        finish::Container::Wav => "WAV",
        finish::Container::Rf64 => "RF64",
        finish::Container::Flac => "FLAC",
    };
    let channels = if format.channels == 1 { "mono" } else { "stereo" };
    let rate = format!("{} kHz", f64::from(format.rate) / 1000.0);
    let about = format!("{kind}, {}, {rate}, {channels}", format.encoding);
    let p = ui.painter();
    let y = rect.top() + 1.0;
    let third = rect.width() * 0.34;
    let name = text::text_within(p, pos2(rect.left() + 2.0, y), &name, text::BODY, theme.ink, third);
    let at = pos2(name.right() + 10.0, y + 0.5);
    let about = text::text_within(p, at, &about, 12.0, theme.soft, (rect.right() - at.x).max(1.0));
    let (words, serious) = match (&view.export, view.take.load(), view.silent) {
        (Some(ExportProgress::Done(words)), ..) => (words.clone(), false),
        (Some(ExportProgress::Exists), ..) => {
            ("not exported: a file of that name stands there".to_owned(), true)
        }
        (Some(ExportProgress::Failed(why)), ..) => (format!("not exported: {why}"), true),
        (_, LoadState::Broken(why), _) => (format!("the file {why}"), true),
        (_, _, Some(why)) => (why.to_owned(), true),
        (_, LoadState::Reading, _) => ("reading the file".to_owned(), false),
        _ => return,
    };
    let room = rect.right() - about.right() - 16.0;
    if room < 60.0 {
        return;
    }
    let width = text::width(p, &words, 12.0).min(room);
    let at = pos2(rect.right() - width - 1.0, y + 0.5);
    let color = if serious { theme.red } else { theme.ink };
    text::text_within(p, at, &words, 12.0, color, room);
    let area = Rect::from_min_max(at, rect.max);
    ui.interact(area, ui.scope_id().with("said"), egui::Sense::hover()).on_hover_text(words);
}

/// What can be done with the song.
fn buttons(
    state: &mut SongState,
    ui: &mut Ui,
    rect: Rect,
    theme: &Theme,
    view: &SongView,
    asks: &mut Vec<SessionRequest>,
) {
    let sheet = Rect::from_min_max(pos2(rect.left(), rect.top() + 19.0), rect.max);
    ui.painter().rect(sheet, 1.0, theme.paper, Stroke::new(1.0, theme.edge), StrokeKind::Inside);
    let inner = sheet.shrink2(vec2(9.0, 8.0));
    let (half, pitch) = ((inner.width() - 8.0) / 2.0, (inner.height() + 6.0) / 3.0);
    let cell = |column: f32, row: f32, width: f32| {
        let at = pos2(inner.left() + column * (half + 8.0), inner.top() + row * pitch);
        Rect::from_min_size(at, vec2(width, pitch - 6.0))
    };
    let whole = matches!(view.take.load(), LoadState::Whole(_));
    let help = format!(
        "Finds the loudest {LOUDEST:.0} seconds (K-weighted, ITU-R BS.1770) and repeats them: set the drive there."
    );
    let word = TextButton::new("loudest 10 s", &help).size(12.0).enabled(whole);
    if word.show(ui, cell(0.0, 0.0, half), theme).clicked() {
        asks.push(SessionRequest::Loudest);
    }
    let cycle = view.playhead.cycle();
    let help = "Repeats what you drag out on the strip, or the whole; press again to play on.";
    if TextButton::new("repeat", help)
        .size(12.0)
        .on(cycle.is_some())
        .show(ui, cell(1.0, 0.0, half), theme)
        .clicked()
    {
        asks.push(SessionRequest::Cycle(if cycle.is_some() { None } else { Some(view.playhead.trim()) }));
    }
    let help = "Puts both ends where the music begins and ends, with 0.8 s of lead-in and 1 s of tail (common practice, no source).";
    let word = TextButton::new("found ends", help).size(12.0).on(!view.own_ends).enabled(whole);
    if word.show(ui, cell(0.0, 1.0, half), theme).clicked() {
        asks.push(SessionRequest::FoundEnds);
    }
    let help = "Plays from the first end on.";
    if TextButton::new("to the start", help).size(12.0).show(ui, cell(1.0, 1.0, half), theme).clicked() {
        asks.push(SessionRequest::Seek(cycle.map_or(view.playhead.trim().start, |cycle| cycle.start)));
    }
    export::show(&mut state.export, ui, cell(0.0, 2.0, inner.width()), theme, view, asks);
}

/// Seconds as "1:04.2".
fn clock(seconds: f64) -> String {
    let tenths = (seconds.max(0.0) * 10.0).floor() as u64;
    let (whole, tenth) = (tenths / 10, tenths % 10);
    match whole / 3600 {
        0 => format!("{}:{:02}.{tenth}", whole / 60, whole % 60),
        hours => format!("{hours}:{:02}:{:02}.{tenth}", whole / 60 % 60, whole % 60),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_written_with_a_tenth() {
        assert_eq!((clock(64.28).as_str(), clock(0.0).as_str()), ("1:04.2", "0:00.0"));
        assert_eq!(clock(3_723.96), "1:02:03.9");
    }
}

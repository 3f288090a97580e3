//! The reference behind the EQ: a popup to load one and to take a share of the fitted curve; its spectrum and
//! the fitted curve in the chart.

use super::band::BandParams;
use super::scale::EqScale;
use crate::editor::buttons::TextButton;
use crate::editor::context::{DrawContext, ScreenRequests};
use crate::editor::drawing;
use crate::editor::param_editor::ParamEditor;
use crate::editor::window_state::WindowState;
use crate::live::{CURVE_HZ, ReferenceFigures, ReferenceLoad, SHARES, ToneReadout, response};
use crate::meter::spectrum::BANDS as SPECTRUM_BANDS;
use crate::numbers::{clock, number};
use crate::player::{COMPARED_FROM_S, LONGEST_S};
use crate::reference::Fit;
use crate::settings::{BANDS, BandSettings, EqSettings};
use crate::stage::eq::EqCurve;
use egui::{Key, Popup, PopupCloseBehavior, Pos2, Rect, Response, RichText, Stroke, TextEdit, Ui, pos2};

/// Index into [`SHARES`] of the share that is proposed first.
const DEFAULT_SHARE: usize = 1;
/// Dashes of the fitted curve, points.
const FIT_DASH_PT: (f32, f32) = (7.0, 4.0);
/// Dots of the reference's spectrum, points: larger and farther apart than those of the output's average.
const SPECTRUM_DOT_PT: (f32, f32) = (2.4, 4.2);
/// Width of the popup, points.
const WIDTH_PT: f32 = 420.0;

/// The state that the popup keeps between frames.
#[derive(Debug)]
pub struct ReferenceState {
    /// The path as it is being typed.
    typed: String,
    /// The path that `typed` was taken from.
    shown: String,
    /// Index into [`SHARES`].
    share: usize,
}

impl Default for ReferenceState {
    fn default() -> Self {
        Self { typed: String::new(), shown: String::new(), share: DEFAULT_SHARE }
    }
}

/// What the popup changes.
pub struct Changes<'a, 'b> {
    pub window_state: &'a mut WindowState,
    pub requests: &'a mut ScreenRequests,
    pub editor: &'a mut ParamEditor<'b>,
}

/// The popup of `button`.
pub fn popup(
    state: &mut ReferenceState,
    button: &Response,
    context: &DrawContext,
    bands: &[BandParams; BANDS],
    mut to: Changes,
) {
    Popup::menu(button).width(WIDTH_PT).close_behavior(PopupCloseBehavior::CloseOnClickOutside).show(|ui| {
        ui.set_max_width(WIDTH_PT);
        file(state, ui, context, &mut to);
        let reference = &context.live.reference;
        match &reference.load {
            ReferenceLoad::None => {
                let minutes = LONGEST_S / 60.0;
                ui.weak(format!(
                    "A finished piece that you trust: WAV, AIFF, FLAC, MP3, AAC or Ogg Vorbis, at most {minutes:.0} min. \
                     It is compared at equal loudness and never reaches a file."
                ));
            }
            ReferenceLoad::Reading => _ = ui.weak("reading the file"),
            ReferenceLoad::Failed(line) => _ = ui.colored_label(context.theme.red, line),
            ReferenceLoad::Ready(figures) => {
                ui.label(figures_line(figures));
                ui.separator();
                match &reference.tone {
                    None => {
                        ui.weak(format!(
                            "Play at least {COMPARED_FROM_S:.0} s of the music: then its tone is compared."
                        ));
                    }
                    Some(tone) => self::tone(state, ui, context, tone, bands, &mut to),
                }
            }
        }
    });
}

/// The path, and the buttons beside it.
fn file(state: &mut ReferenceState, ui: &mut Ui, context: &DrawContext, to: &mut Changes) {
    if state.shown != to.window_state.reference {
        state.shown.clone_from(&to.window_state.reference);
        state.typed.clone_from(&to.window_state.reference);
    }
    ui.horizontal(|ui| {
        let field =
            TextEdit::singleline(&mut state.typed).desired_width(270.0).hint_text("path of a sound file");
        let field = ui.add(field).accessible_name("path of the reference");
        let enter = field.lost_focus() && ui.input(|i| i.key_pressed(Key::Enter));
        let path = state.typed.trim().trim_matches('"').to_owned();
        if (framed(ui, context, "load", true).clicked() || enter) && !path.is_empty() {
            to.requests.reload_reference = to.window_state.reference == path;
            to.window_state.reference = path;
        }
        if context.dialogs {
            let help = "Chooses a sound file in the system's file dialog.";
            to.requests.choose_reference |=
                framed(ui, context, "choose…", true).on_hover_text(help).clicked();
        }
        let is_set = context.live.reference.load != ReferenceLoad::None;
        if framed(ui, context, "remove", is_set).clicked() {
            to.window_state.reference.clear();
        }
    });
}

/// A button with a frame: in a popup egui draws its own ones without.
fn framed(ui: &mut Ui, context: &DrawContext, text: &str, enabled: bool) -> Response {
    let button = egui::Button::new(text).stroke(Stroke::new(1.0, context.theme.border));
    ui.add_enabled(enabled, button)
}

/// Loudness, range and peak in one line.
fn figures_line(figures: &ReferenceFigures) -> String {
    format!(
        "{} LUFS    range {} LU    PLR {} LU    {} dBTP    {}",
        number(figures.integrated, 1),
        number(figures.range, 1),
        number(figures.plr, 1),
        number(figures.true_peak, 1),
        clock(figures.seconds)
    )
}

/// The difference of tone, and the share of the fit to take.
fn tone(
    state: &mut ReferenceState,
    ui: &mut Ui,
    context: &DrawContext,
    tone: &ToneReadout,
    bands: &[BandParams; BANDS],
    to: &mut Changes,
) {
    ui.label(&tone.sentence);
    let Some(fit) = tone.fit else { return };
    ui.horizontal(|ui| {
        ui.weak("share");
        for (n, share) in SHARES.into_iter().enumerate() {
            let text = format!("{} %", number(100.0 * share, 0));
            if ui.selectable_label(state.share == n, text).clicked() {
                state.share = n;
            }
        }
        let take = framed(ui, context, "take it", true).on_hover_text(
            "Sets the five EQ bands to the dashed curve: one step that undo takes back. Nothing changes by itself.",
        );
        if take.clicked() {
            take_bands(&Fit { bands: fit }.at_share(SHARES[state.share]), bands, to.editor);
        }
    });
    let [from, left] = [tone.difference_db, tone.left_db[state.share]].map(|db| number(db, 1));
    ui.label(RichText::new(format!("Leaves {left} of {from} dB (rms over octaves).")));
}

/// Sets every parameter of the five bands; one step.
fn take_bands(settings: &[BandSettings; BANDS], bands: &[BandParams; BANDS], editor: &mut ParamEditor) {
    let mut all = editor.settings();
    all.eq = EqSettings { on: true, bands: *settings };
    let params = crate::params::all();
    editor.group(|editor| {
        for band in bands {
            let ids = [Some(band.on), Some(band.freq), Some(band.gain), Some(band.q), Some(band.channel)];
            for index in ids.into_iter().chain([band.kind, band.slope]).flatten() {
                editor.set_once(index, params[index].get(&all));
            }
        }
        let on = crate::editor::controls::index("eq_on");
        editor.set_once(on, 1.0);
    });
}

/// The reference's long-term spectrum as a dotted line, at the loudness of the output; `points` places levels
/// of the bands in the chart.
pub fn spectrum(p: &egui::Painter, context: &DrawContext, points: impl Fn(&[f32]) -> Vec<Pos2>) {
    let Some(figures) = context.live.reference.figures() else { return };
    let louder = context.live.output.integrated - figures.integrated;
    if figures.bands.len() != SPECTRUM_BANDS || !louder.is_finite() {
        return;
    }
    let levels: Vec<f32> = figures.bands.iter().map(|db| (db + louder as f32).max(-200.0)).collect();
    drawing::line(p, points(&levels), Stroke::new(2.4, context.theme.violet), Some(SPECTRUM_DOT_PT));
}

/// The fitted curve at the chosen share, dashed.
pub fn fitted_curve(state: &ReferenceState, p: &egui::Painter, scale: &EqScale, context: &DrawContext) {
    let Some(fit) = context.live.reference.tone.as_ref().and_then(|tone| tone.fit) else { return };
    let bands = Fit { bands: fit }.at_share(SHARES[state.share]);
    let curve = EqCurve::of(&EqSettings { on: true, bands }, context.live.sample_rate);
    let [mid, _] = response(&curve);
    let line =
        CURVE_HZ.iter().zip(&mid).map(|(hz, db)| pos2(scale.x(*hz), scale.y(f64::from(*db)))).collect();
    drawing::line(p, line, Stroke::new(1.8, context.theme.violet), Some(FIT_DASH_PT));
}

/// The button that opens the popup.
pub fn button(ui: &mut Ui, place: Rect, context: &DrawContext) -> Response {
    text_button(context).show(ui, place, &context.theme)
}

/// Its text and tip.
pub fn text_button<'a>(context: &DrawContext) -> TextButton<'a> {
    let help = "Loads a finished piece to compare with: its spectrum at equal loudness (dotted), and what five broad bands could do (dashed).";
    let is_set = context.live.reference.figures().is_some();
    TextButton::new("reference", help).named("reference panel").plain().on(is_set).size(11.5)
}

//! The compressor sheet: its static curve with the point where the music is now, and its rulers.

use super::Grid;
use crate::editor::buttons::TextButton;
use crate::editor::controls::ParamEditor;
use crate::editor::ruler::{Ruler, focus_ring};
use crate::editor::screen::DrawContext;
use crate::editor::text;
use crate::settings::CompressorSettings;
use crate::stage::compressor::curve::GainCurve;
use egui::{Align2, Rect, Sense, Stroke, Ui, WidgetInfo, pos2, vec2};

/// Lowest level of the curve's picture, dBFS.
const LOW: f64 = -48.0;

pub fn show(ui: &mut Ui, rect: Rect, context: &DrawContext, editor: &mut ParamEditor) {
    let theme = &context.theme;
    let foot = 28.0;
    let rows = 5;
    let side = ((rect.height() - foot) * 2.0 / 5.0 - 8.0).clamp(70.0, rect.width() * 0.46).round();
    let curve_rect = Rect::from_min_size(rect.min, vec2(side, side));
    curve(ui, curve_rect, context, editor);

    let upper = Rect::from_min_max(
        pos2(curve_rect.right() + 16.0, rect.top()),
        pos2(rect.right(), rect.top() + side + 6.0),
    );
    let mut grid = Grid::new(upper, 1, 2);
    for (id, label) in [("comp_threshold", "threshold"), ("comp_ratio", "ratio")] {
        let cell = grid.cell(1);
        Ruler::new(id, label, theme.teal).show(ui, cell, theme, editor);
    }
    let lower = Rect::from_min_max(
        pos2(rect.left(), rect.top() + side + 8.0),
        pos2(rect.right(), rect.bottom() - foot),
    );
    let mut grid = Grid::new(lower, 2, rows - 1);
    let auto_makeup = editor.is_on("comp_auto_makeup");
    let makeup = format!("{} dB", text::signed(context.calm.makeup));
    for (id, label) in [
        ("comp_knee", "knee"),
        ("comp_rms_window", "window"),
        ("comp_attack", "attack"),
        ("comp_release", "release"),
        ("comp_sidechain_low_cut", "low cut"),
        ("comp_stereo_link", "link"),
        ("comp_mix", "mix"),
        ("comp_makeup", "make-up"),
    ] {
        let cell = grid.cell(1);
        let held = (id == "comp_makeup" && auto_makeup).then_some(makeup.as_str());
        Ruler::new(id, label, theme.teal).held_by(held).show(ui, cell, theme, editor);
    }
    let half = (rect.width() - 8.0) / 2.0;
    for (n, (id, text)) in [("comp_auto_release", "auto release"), ("comp_auto_makeup", "equal loudness")]
        .into_iter()
        .enumerate()
    {
        let left = rect.left() + n as f32 * (half + 8.0);
        let place = Rect::from_min_max(pos2(left, rect.bottom() - 23.0), pos2(left + half, rect.bottom()));
        let (name, help) = crate::params::find(id).map_or((text, ""), |p| (p.name, p.help));
        let word = TextButton::new(text, help).called(name).on(editor.is_on(id)).size(12.0);
        if word.show(ui, place, theme).clicked() {
            editor.toggle(id);
        }
    }
}

fn curve(ui: &mut Ui, rect: Rect, context: &DrawContext, editor: &mut ParamEditor) {
    let theme = &context.theme;
    let (threshold, ratio, knee) =
        (editor.value("comp_threshold"), editor.value("comp_ratio"), editor.value("comp_knee"));
    let at = |x: f64, y: f64| {
        let share = |v: f64| ((v - LOW) / -LOW).clamp(-0.1, 1.0) as f32;
        pos2(rect.left() + share(x) * rect.width(), rect.bottom() - share(y) * rect.height())
    };
    let p = ui.painter().with_clip_rect(rect.expand(1.0));
    for db in [-36.0, -24.0, -12.0] {
        p.vline(at(db, 0.0).x, rect.y_range(), Stroke::new(1.0, theme.ruling));
        p.hline(rect.x_range(), at(0.0, db).y, Stroke::new(1.0, theme.ruling));
    }
    p.rect_stroke(rect, 0.0, Stroke::new(1.0, theme.edge), egui::StrokeKind::Inside);
    text::line(&p, vec![at(LOW, LOW), at(0.0, 0.0)], Stroke::new(1.0, theme.edge), Some((2.0, 3.0)));
    let settings = CompressorSettings { threshold, ratio, knee, ..CompressorSettings::default() };
    let law = GainCurve::new(&settings);
    let out = |x: f64| x - law.reduction(x);
    let points = (0..=64).map(|i| {
        let x = LOW * (1.0 - f64::from(i) / 64.0);
        at(x, out(x))
    });
    p.line(points.collect(), Stroke::new(2.0, theme.teal));
    let (level, held) = context.live.compressor_point;
    if level > LOW && editor.is_on("comp_on") {
        let (plain, now) = (at(level, level), at(level, level - held));
        p.line_segment([plain, now], Stroke::new(1.2, theme.teal));
        p.line_segment([pos2(now.x, rect.bottom()), now], Stroke::new(1.0, theme.wash(theme.teal, 0.5)));
        p.circle_filled(now, 4.0, theme.teal);
        let text = text::number(-held);
        text::text(&p, rect.left_top() + vec2(5.0, 4.0), Align2::LEFT_TOP, &text, 13.0, theme.teal);
    }

    // The curve itself can be dragged: sideways the threshold, up and down the ratio.
    let response = ui.interact(rect, ui.scope_id().with("curve"), Sense::click_and_drag());
    let [threshold, ratio] = ["comp_threshold", "comp_ratio"].map(crate::editor::controls::index);
    if response.drag_started() {
        editor.begin(threshold);
        editor.begin(ratio);
    }
    if response.dragged() {
        let fine = if ui.input(|i| i.modifiers.shift) { 0.1 } else { 1.0 };
        let moved = response.drag_motion() * fine;
        let table = crate::params::all();
        for (index, share) in
            [(threshold, moved.x / rect.width() * 0.8), (ratio, moved.y / rect.height() * 0.6)]
        {
            if share != 0.0 {
                let param = &table[index];
                editor.set(index, param.at_position(param.position(editor.get(index)) + share));
            }
        }
    }
    if response.drag_stopped() {
        editor.end(threshold);
        editor.end(ratio);
    }
    focus_ring(ui, &response, theme);
    response.widget_info(|| WidgetInfo::labeled(egui::accesskit::Role::Image, true, "compressor curve"));
    response.on_hover_text(
        "Level in (across) and out (up), 12 dB a square; the point is the music now. Drag sideways for the threshold, down for the ratio.",
    );
}

//! The compressor panel: the static curve with the present operating point, and the rulers.

use super::grid::RulerGrid;
use crate::editor::buttons::TextButton;
use crate::editor::context::DrawContext;
use crate::editor::drawing;
use crate::editor::focus::{self, focus_ring};
use crate::editor::param_editor::ParamEditor;
use crate::editor::ruler::Ruler;
use crate::numbers::{number, signed};
use crate::settings::CompressorSettings;
use crate::stage::compressor::curve::GainCurve;
use egui::{Align2, Rect, Sense, Stroke, Ui, WidgetInfo, pos2, vec2};

/// Lowest level of the curve's chart, dBFS.
const LOWEST_DBFS: f64 = -48.0;

/// Draws the panel into `rect`.
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
    let mut grid = RulerGrid::new(upper, 1, 2);
    for (id, label) in [("comp_threshold", "threshold"), ("comp_ratio", "ratio")] {
        let cell = grid.next_cell();
        Ruler::new(id, label, theme.teal).show(ui, cell, theme, editor);
    }
    let lower = Rect::from_min_max(
        pos2(rect.left(), rect.top() + side + 8.0),
        pos2(rect.right(), rect.bottom() - foot),
    );
    let mut grid = RulerGrid::new(lower, 2, rows - 1);
    let auto_makeup = editor.is_on("comp_auto_makeup");
    let makeup = format!("{} dB", signed(context.steady.makeup_db, 1));
    for (id, label, short_label) in [
        ("comp_knee", "knee", None),
        ("comp_rms_window", "RMS window", Some("RMS")),
        ("comp_attack", "attack", None),
        ("comp_release", "release", None),
        ("comp_sidechain_low_cut", "side-chain low cut", Some("SC cut")),
        ("comp_stereo_link", "stereo link", Some("stereo")),
        ("comp_mix", "mix", None),
        ("comp_makeup", "make-up", None),
    ] {
        let cell = grid.next_cell();
        let automatic = (id == "comp_makeup" && auto_makeup).then_some(makeup.as_str());
        let ruler = Ruler::new(id, label, theme.teal).short_label(short_label).automatic(automatic);
        ruler.show(ui, cell, theme, editor);
    }
    let half = (rect.width() - 8.0) / 2.0;
    for (n, (id, text)) in
        [("comp_auto_release", "auto release"), ("comp_auto_makeup", "auto make-up")].into_iter().enumerate()
    {
        let left = rect.left() + n as f32 * (half + 8.0);
        let place = Rect::from_min_max(pos2(left, rect.bottom() - 23.0), pos2(left + half, rect.bottom()));
        let (name, help) = crate::params::find(id).map_or((text, ""), |p| (p.name, p.help));
        let button = TextButton::new(text, help).named(name).on(editor.is_on(id)).size(12.0);
        if button.show(ui, place, theme).clicked() {
            editor.toggle(id);
        }
    }
}

fn curve(ui: &mut Ui, rect: Rect, context: &DrawContext, editor: &mut ParamEditor) {
    let theme = &context.theme;
    let (threshold, ratio, knee) =
        (editor.value("comp_threshold"), editor.value("comp_ratio"), editor.value("comp_knee"));
    let at = |x: f64, y: f64| {
        let share = |v: f64| ((v - LOWEST_DBFS) / -LOWEST_DBFS).clamp(-0.1, 1.0) as f32;
        pos2(rect.left() + share(x) * rect.width(), rect.bottom() - share(y) * rect.height())
    };
    let p = ui.painter().with_clip_rect(rect.expand(1.0));
    for db in [-36.0, -24.0, -12.0] {
        p.vline(at(db, 0.0).x, rect.y_range(), Stroke::new(1.0, theme.grid));
        p.hline(rect.x_range(), at(0.0, db).y, Stroke::new(1.0, theme.grid));
    }
    p.rect_stroke(rect, 0.0, Stroke::new(1.0, theme.border), egui::StrokeKind::Inside);
    drawing::line(
        &p,
        vec![at(LOWEST_DBFS, LOWEST_DBFS), at(0.0, 0.0)],
        Stroke::new(1.0, theme.border),
        Some((2.0, 3.0)),
    );
    let settings = CompressorSettings { threshold, ratio, knee, ..CompressorSettings::default() };
    let gain_curve = GainCurve::new(&settings);
    let out = |x: f64| x - gain_curve.reduction(x);
    let points = (0..=64).map(|i| {
        let x = LOWEST_DBFS * (1.0 - f64::from(i) / 64.0);
        at(x, out(x))
    });
    p.line(points.collect(), Stroke::new(2.0, theme.teal));
    let (level, reduction) = context.live.compressor_point;
    if level > LOWEST_DBFS && editor.is_on("comp_on") {
        let (unity, now) = (at(level, level), at(level, level - reduction));
        p.line_segment([unity, now], Stroke::new(1.2, theme.teal));
        p.line_segment([pos2(now.x, rect.bottom()), now], Stroke::new(1.0, theme.tint(theme.teal, 0.5)));
        p.circle_filled(now, 4.0, theme.teal);
        let text = number(-reduction, 1);
        drawing::text(&p, rect.left_top() + vec2(5.0, 4.0), Align2::LEFT_TOP, &text, 13.0, theme.teal);
    }

    // Dragging the curve: horizontally the threshold, vertically the ratio.
    let response = ui.interact(rect, ui.scope_id().with("curve"), Sense::click_and_drag());
    let [threshold, ratio] = ["comp_threshold", "comp_ratio"].map(crate::editor::controls::index);
    if response.drag_started() {
        editor.begin(threshold);
        editor.begin(ratio);
    }
    if response.dragged() {
        let fine = if ui.input(|i| i.modifiers.shift) { 0.1 } else { 1.0 };
        let moved = focus::dragged_by(&response) * fine;
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
    response.widget_info(|| WidgetInfo {
        current_text_value: Some(point_text(level, reduction, editor.is_on("comp_on"))),
        ..WidgetInfo::labeled(egui::accesskit::Role::Image, true, "compressor curve")
    });
    response.on_hover_text(
        "Input level (horizontal) and output level (vertical), 12 dB per square; the dot is the present level. Drag horizontally for the threshold, downwards for the ratio.",
    );
}

/// The present operating point in words.
fn point_text(level: f64, reduction: f64, on: bool) -> String {
    match on && level > LOWEST_DBFS {
        true => format!("{} dBFS, reduced by {} dB", number(level, 1), number(reduction, 1)),
        false => "no reduction".to_owned(),
    }
}

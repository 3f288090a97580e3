//! The cursor: a vertical line at the pointer, and the values of every lane at that time.

use super::lanes::LaneDrawing;
use crate::live::LiveColumn;
use crate::numbers::{clock, number, signed};
use egui::{Align2, Color32, FontId, Pos2, Rect, Stroke, Ui, pos2, vec2};

/// Draws the line at `pointer` and a label with the values in each lane.
pub fn draw(ui: &Ui, lanes: &LaneDrawing, pointer: Pos2) {
    let theme = &lanes.context.theme;
    let area = lanes.at.area();
    let time = lanes.window.time_s(pointer.x);
    let p = ui.painter();
    p.vline(pointer.x, area.y_range(), Stroke::new(1.0, theme.text));
    let column = lanes.window.column_at(time, lanes.columns.len()).map(|n| lanes.columns[n]);
    let Some(column) = column.filter(|c| c.recorded) else { return };
    let value = |v: f32| number(f64::from(v), 1);
    let LiveColumn { input, output, compressor, limiter, clip, total, short_term, .. } = column;
    let total = (format!("total {}", value(total)), theme.text);
    let time_text = clock(lanes.context.history.song_time(time));
    values_label(
        ui,
        lanes,
        pointer.x,
        0,
        &[(format!("{time_text}   in {}   out {}", value(input), value(output)), theme.text)],
    );
    let compressor = (format!("compressor {}", value(compressor)), theme.teal);
    let limiter = (format!("limiter {}", value(limiter)), theme.red);
    let clip = (format!("soft clip {}", value(clip)), theme.text);
    values_label(ui, lanes, pointer.x, 1, &[total, compressor, limiter, clip]);
    values_label(ui, lanes, pointer.x, 2, &[(format!("short-term {} LUFS", value(short_term)), theme.ochre)]);
}

/// The value of the drive beside the pointer, while it is dragged.
pub fn drive(ui: &Ui, lanes: &LaneDrawing) {
    let Some(pointer) = ui.input(|i| i.pointer.latest_pos()) else { return };
    let drive = f64::from(lanes.editor.value("drive"));
    let text = format!("drive {} dB", signed(drive, 1));
    values_label(ui, lanes, pointer.x, 1, &[(text, lanes.context.theme.red)]);
}

fn values_label(ui: &Ui, lanes: &LaneDrawing, x: f32, lane: usize, words: &[(String, Color32)]) {
    let (theme, lane) = (&lanes.context.theme, lanes.at.lanes[lane]);
    let p = ui.painter();
    let font = FontId::proportional(12.0);
    let galleys: Vec<_> =
        words.iter().map(|(text, color)| p.layout_no_wrap(text.clone(), font.clone(), *color)).collect();
    let width: f32 = galleys.iter().map(|g| g.size().x + 10.0).sum::<f32>() + 4.0;
    let right = x + 8.0 + width < lane.right();
    let left = if right { x + 8.0 } else { x - 8.0 - width };
    let rect = Rect::from_min_size(pos2(left, lane.bottom() - 22.0), vec2(width, 18.0));
    p.rect(rect, 2.0, theme.background, Stroke::new(1.0, theme.border), egui::StrokeKind::Inside);
    let mut at = rect.left_center() + vec2(7.0, 0.0);
    for galley in galleys {
        let size = galley.size();
        let place = Align2::LEFT_CENTER.anchor_size(at, size);
        p.galley(place.min, galley, theme.text);
        at.x += size.x + 10.0;
    }
}

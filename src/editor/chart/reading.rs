//! Reading the chart: a hairline under the pointer with every lane's values at that moment.

use super::lanes::Drawing;
use crate::editor::text;
use crate::live::LiveColumn;
use egui::{Align2, Color32, FontId, Pos2, Rect, Stroke, Ui, pos2, vec2};

/// Draws the hairline at `pointer` and a slip of paper with values in each lane.
pub fn draw(ui: &Ui, drawing: &Drawing, pointer: Pos2) {
    let theme = &drawing.context.theme;
    let strip = drawing.at.paper();
    let time = drawing.window.time(pointer.x);
    let p = ui.painter();
    p.vline(pointer.x, strip.y_range(), Stroke::new(1.0, theme.ink));
    let column = drawing.window.column_at(time, drawing.columns.len()).map(|n| drawing.columns[n]);
    let Some(column) = column.filter(|c| c.there) else { return };
    let value = |v: f32| text::number(f64::from(v));
    let LiveColumn { before, after, compressor, limiter, short_term, .. } = column;
    let clock = text::clock(drawing.context.recording.song_time(time));
    slip(
        ui,
        drawing,
        pointer.x,
        0,
        &[(format!("{clock}   before {}   after {}", value(before), value(after)), theme.ink)],
    );
    let compressor = (format!("compressor {}", value(compressor)), theme.teal);
    let both = (format!("limiter {}", value(limiter)), theme.red);
    slip(ui, drawing, pointer.x, 1, &[compressor, both]);
    slip(ui, drawing, pointer.x, 2, &[(format!("3 s {} LUFS", value(short_term)), theme.ochre)]);
}

/// While the drive is dragged: its value beside the pointer.
pub fn drive(ui: &Ui, drawing: &Drawing) {
    let Some(pointer) = ui.input(|i| i.pointer.latest_pos()) else { return };
    let drive = f64::from(drawing.editor.value("drive"));
    let text = format!("drive {} dB", text::signed(drive));
    slip(ui, drawing, pointer.x, 1, &[(text, drawing.context.theme.red)]);
}

fn slip(ui: &Ui, drawing: &Drawing, x: f32, lane: usize, words: &[(String, Color32)]) {
    let (theme, lane) = (&drawing.context.theme, drawing.at.lanes[lane]);
    let p = ui.painter();
    let font = FontId::proportional(12.0);
    let galleys: Vec<_> =
        words.iter().map(|(text, color)| p.layout_no_wrap(text.clone(), font.clone(), *color)).collect();
    let width: f32 = galleys.iter().map(|g| g.size().x + 10.0).sum::<f32>() + 4.0;
    let right = x + 8.0 + width < lane.right();
    let left = if right { x + 8.0 } else { x - 8.0 - width };
    let rect = Rect::from_min_size(pos2(left, lane.bottom() - 22.0), vec2(width, 18.0));
    p.rect(rect, 2.0, theme.paper, Stroke::new(1.0, theme.edge), egui::StrokeKind::Inside);
    let mut at = rect.left_center() + vec2(7.0, 0.0);
    for galley in galleys {
        let size = galley.size();
        let place = Align2::LEFT_CENTER.anchor_size(at, size);
        p.galley(place.min, galley, theme.ink);
        at.x += size.x + 10.0;
    }
}

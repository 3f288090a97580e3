//! The layout of the EQ panel.

use super::band::BandParams;
use super::chart;
use super::nodes::{self, NodesState};
use super::reference::{self, ReferenceState};
use super::scale::EqScale;
use super::table;
use crate::editor::context::{DrawContext, ScreenRequests};
use crate::editor::param_editor::ParamEditor;
use crate::editor::window_state::WindowState;
use crate::settings::BANDS;
use egui::{Rect, Ui, pos2};

/// The state that the EQ panel keeps between frames.
#[derive(Debug, Default)]
pub struct EqState {
    nodes: NodesState,
    reference: ReferenceState,
}

/// Draws the panel into `rect`.
#[expect(clippy::too_many_arguments, reason = "the states that its controls change")]
pub(in crate::editor::stages) fn show(
    state: &mut EqState,
    window_state: &mut WindowState,
    solo: &mut Option<usize>,
    ui: &mut Ui,
    rect: Rect,
    context: &DrawContext,
    editor: &mut ParamEditor,
    requests: &mut ScreenRequests,
) {
    let is_tall = rect.height() > 300.0;
    let table_height = if is_tall { 104.0 } else { 100.0 };
    let bands: [BandParams; BANDS] = std::array::from_fn(BandParams::of);
    let bar = Rect::from_min_max(rect.min, pos2(rect.right(), rect.top() + 24.0));
    let graph =
        Rect::from_min_max(pos2(rect.left(), bar.bottom()), pos2(rect.right(), rect.bottom() - table_height));
    let under = Rect::from_min_max(pos2(rect.left(), graph.bottom() + 4.0), rect.max);
    let button = chart::bar(window_state, solo, ui, bar, context, editor, &bands);
    let changes = reference::Changes { window_state, requests, editor };
    reference::popup(&mut state.reference, &button, context, &bands, changes);
    let scale = EqScale { rect: graph, range_db: f64::from(window_state.eq_range_db) };
    chart::draw(ui, &scale, context, window_state.spectrum_slope);
    let painter = ui.painter().with_clip_rect(graph);
    reference::fitted_curve(&state.reference, &painter, &scale, context);
    nodes::show(&mut state.nodes, solo, ui, &scale, context, editor, &bands);
    table::show(solo, ui, under, context, editor, &bands);
}

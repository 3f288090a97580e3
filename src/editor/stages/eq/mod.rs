//! The EQ sheet: five numbered nodes on the running curve, the spectrum before and after behind
//! it, and under it the table of values.

mod nodes;
mod scale;
mod table;

use crate::editor::controls::{ParamEditor, index};
use crate::editor::screen::DrawContext;
use crate::editor::window_state::WindowState;
use crate::params;
use crate::settings::BANDS;
use egui::{Rect, Ui, pos2};

/// What the EQ sheet remembers between frames.
#[derive(Debug, Default)]
pub struct EqState {
    /// The node being dragged and its unrounded place: shares of both scales.
    dragged: Option<(usize, f32, f32)>,
}

/// Indices in the parameter table of one band.
#[derive(Clone, Copy, Debug)]
pub struct BandParams {
    pub on: usize,
    pub freq: usize,
    pub gain: usize,
    pub q: usize,
    pub channel: usize,
    /// Only the outer bands have a choice of kinds.
    pub kind: Option<usize>,
    pub slope: Option<usize>,
}

impl BandParams {
    /// BandParams `n`, 0 to 4.
    pub fn of(n: usize) -> Self {
        let id = |what: &str| index(&format!("eq{}_{what}", n + 1));
        let outer = n == 0 || n == BANDS - 1;
        Self {
            on: id("on"),
            freq: id("freq"),
            gain: id("gain"),
            q: id("q"),
            channel: id("channel"),
            kind: outer.then(|| id("kind")),
            slope: outer.then(|| id("slope")),
        }
    }

    /// The band's kind in words.
    pub fn kind_word(&self, editor: &ParamEditor) -> String {
        self.kind.map_or_else(|| "bell".to_owned(), |kind| params::all()[kind].text(editor.get(kind)))
    }

    /// A cut has no gain, but a slope.
    pub fn is_cut(&self, editor: &ParamEditor) -> bool {
        self.kind_word(editor).ends_with("cut")
    }
}

pub fn show(
    state: &mut EqState,
    window_state: &mut WindowState,
    solo: &mut Option<usize>,
    ui: &mut Ui,
    rect: Rect,
    context: &DrawContext,
    editor: &mut ParamEditor,
) {
    let roomy = rect.height() > 300.0;
    let table_height = if roomy { 104.0 } else { 88.0 };
    let bands: [BandParams; BANDS] = std::array::from_fn(BandParams::of);
    let bar = Rect::from_min_max(rect.min, pos2(rect.right(), rect.top() + 20.0));
    let graph =
        Rect::from_min_max(pos2(rect.left(), bar.bottom()), pos2(rect.right(), rect.bottom() - table_height));
    let under = Rect::from_min_max(pos2(rect.left(), graph.bottom() + 4.0), rect.max);
    scale::bar(window_state, solo, ui, bar, context, editor, &bands);
    let map = scale::EqScale { rect: graph, range: f64::from(window_state.eq_range_db) };
    scale::draw(ui, &map, context, window_state.tilt);
    nodes::show(state, solo, ui, &map, context, editor, &bands);
    table::show(solo, ui, under, context, editor, &bands);
}

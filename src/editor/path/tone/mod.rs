//! The tone sheet: five numbered nodes on the running curve, the spectrum before and after behind
//! it, and under it the table of values.

mod nodes;
mod sheet;
mod table;

use crate::editor::controls::{Desk, index};
use crate::editor::keep::Keep;
use crate::editor::screen::Sight;
use crate::params;
use crate::settings::BANDS;
use egui::{Rect, Ui, pos2};

/// What the tone sheet remembers between frames.
#[derive(Debug, Default)]
pub struct State {
    /// The node being dragged and its unrounded place: shares of both scales.
    dragged: Option<(usize, f32, f32)>,
}

/// Indices in the parameter table of one band.
#[derive(Clone, Copy, Debug)]
pub struct Band {
    pub on: usize,
    pub freq: usize,
    pub gain: usize,
    pub q: usize,
    pub channel: usize,
    /// Only the outer bands have a choice of kinds.
    pub kind: Option<usize>,
    pub slope: Option<usize>,
}

impl Band {
    /// Band `n`, 0 to 4.
    pub fn of(n: usize) -> Self {
        let id = |what: &str| index(&format!("tone{}_{what}", n + 1));
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
    pub fn kind_word(&self, desk: &Desk) -> String {
        self.kind.map_or_else(|| "bell".to_owned(), |kind| params::all()[kind].text(desk.get(kind)))
    }

    /// A cut has no gain, but a slope.
    pub fn is_cut(&self, desk: &Desk) -> bool {
        self.kind_word(desk).ends_with("cut")
    }
}

pub fn show(
    state: &mut State,
    keep: &mut Keep,
    hear: &mut Option<usize>,
    ui: &mut Ui,
    rect: Rect,
    sight: &Sight,
    desk: &mut Desk,
) {
    let roomy = rect.height() > 300.0;
    let table_height = if roomy { 104.0 } else { 88.0 };
    let bands: [Band; BANDS] = std::array::from_fn(Band::of);
    let bar = Rect::from_min_max(rect.min, pos2(rect.right(), rect.top() + 20.0));
    let graph =
        Rect::from_min_max(pos2(rect.left(), bar.bottom()), pos2(rect.right(), rect.bottom() - table_height));
    let under = Rect::from_min_max(pos2(rect.left(), graph.bottom() + 4.0), rect.max);
    sheet::bar(keep, hear, ui, bar, sight, desk, &bands);
    let map = sheet::Map { rect: graph, range: f64::from(keep.tone_range) };
    sheet::draw(ui, &map, sight, keep.tilt);
    nodes::show(state, hear, ui, &map, sight, desk, &bands);
    table::show(hear, ui, under, sight, desk, &bands);
}

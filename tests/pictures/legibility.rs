//! Legibility: text of sufficient size without overlaps, tooltips, pointers that follow automation, no
//! repaints while nothing changes.

use crate::rig::Rig;
use crate::scene;
use egui::accesskit::Role;
use egui::{Order, Rect, Shape, ViewportId};
use egui_kittest::kittest::{NodeT, Queryable};
use lintel::editor::MemoryControls;
use lintel::editor::window_state::WindowState;
use std::time::Duration;

/// A screen after 8 s of music.
pub fn with_music(width: f32, height: f32) -> Rig {
    let settings = scene::settings();
    let scene = scene::run(&settings, 8.0, 0.0);
    let memory = MemoryControls { settings, ..MemoryControls::default() };
    let window_state = WindowState { width, height, ..WindowState::default() };
    Rig::with(window_state, memory, scene.live, Box::new(scene::OwnedHistory(scene.history)), 1.0)
}

/// Every text of a frame: visible place, content, smallest size.
fn texts(output: &egui::FullOutput) -> Vec<(Rect, String, f32)> {
    fn walk(shape: &Shape, clip: Rect, out: &mut Vec<(Rect, String, f32)>) {
        match shape {
            Shape::Vec(shapes) => shapes.iter().for_each(|shape| walk(shape, clip, out)),
            Shape::Text(text) => {
                let sizes = text.galley.job.sections.iter().map(|section| section.format.font_id.size);
                let rect = text.visual_bounding_rect().intersect(clip);
                if rect.is_positive() {
                    out.push((rect, text.galley.text().to_owned(), sizes.fold(f32::INFINITY, f32::min)));
                }
            }
            _ => {}
        }
    }
    let mut out = Vec::new();
    for clipped in &output.shapes {
        walk(&clipped.shape, clipped.clip_rect, &mut out);
    }
    out
}

/// Asserts that every text is large enough, inside the window, and overlaps no other.
pub fn assert_legible(output: &egui::FullOutput, width: f32, height: f32) {
    let window = Rect::from_min_size(egui::Pos2::ZERO, egui::vec2(width, height));
    let texts = texts(output);
    assert!(texts.len() > 100, "{}", texts.len());
    for (n, (rect, text, size)) in texts.iter().enumerate() {
        assert!(*size >= 11.0, "\"{text}\" in {size} points");
        assert!(window.contains_rect(*rect), "\"{text}\" leaves {width} x {height}");
        for (other, words, _) in &texts[..n] {
            // Bold text is drawn twice.
            let collide = words != text && rect.shrink(1.0).intersects(other.shrink(1.0));
            assert!(!collide, "\"{text}\" and \"{words}\" collide at {width} x {height}: {rect:?} {other:?}");
        }
    }
}

#[test]
fn no_text_is_smaller_than_11_points_overlaps_another_or_leaves_the_window() {
    for (width, height) in [(900.0, 600.0), (1180.0, 760.0), (1920.0, 1080.0), (3840.0, 2160.0)] {
        assert_legible(with_music(width, height).0.output(), width, height);
    }
}

/// Notes may be cut with an ellipsis, their tooltip has the whole text; labels and values may not.
#[test]
fn no_label_and_no_value_is_cut() {
    fn cut(shape: &Shape, out: &mut Vec<(f32, String)>) {
        match shape {
            Shape::Vec(shapes) => shapes.iter().for_each(|shape| cut(shape, out)),
            Shape::Text(text) if text.galley.elided && text.galley.rows.len() == 1 => {
                out.push((text.pos.y, text.galley.text().to_owned()));
            }
            _ => {}
        }
    }
    for (width, height) in [(900.0, 600.0), (1180.0, 760.0), (1920.0, 1080.0), (3840.0, 2160.0)] {
        let rig = with_music(width, height);
        let mut texts = Vec::new();
        rig.0.output().shapes.iter().for_each(|clipped| cut(&clipped.shape, &mut texts));
        let notes_top = rig.rect("next note").top() - 10.0;
        texts.retain(|(y, _)| *y < notes_top);
        assert!(texts.is_empty(), "{width} x {height}: {texts:?}");
    }
}

#[test]
fn every_control_has_a_tooltip() {
    let mut rig = with_music(1180.0, 760.0);
    let places: Vec<(String, Rect)> = rig
        .0
        .root()
        .children_recursive()
        .filter(|node| matches!(node.accesskit_node().role(), Role::Slider | Role::Button | Role::Switch))
        .map(|node| (node.accesskit_node().label().unwrap_or_default(), node.rect()))
        .collect();
    assert!(places.len() > 60, "{}", places.len());
    for (name, rect) in places {
        // Disabled buttons have a tooltip as well.
        rig.hover(rect.center() + egui::vec2(0.0, 3.0));
        let tips = |m: &egui::Memory| {
            m.areas().visible_layer_ids().iter().any(|layer| layer.order == Order::Tooltip)
        };
        assert!(rig.0.ctx.memory(tips), "{name} has no tooltip");
        rig.hover(egui::pos2(2.0, 2.0));
    }
}

#[test]
fn automation_moves_the_pointers() {
    let mut rig = Rig::new();
    rig.0.state_mut().memory.settings.limiter.drive = 7.5;
    rig.0.run_steps(2);
    let node = rig.0.get_by_label("drive");
    assert_eq!(node.accesskit_node().numeric_value(), Some(7.5));
    assert_eq!(node.value().as_deref(), Some("+7.5 dB"));
    assert_eq!(rig.0.state().memory.ended_gestures, 0, "automation is not a gesture");
}

#[test]
fn no_repaint_is_requested_while_nothing_changes() {
    let mut rig = with_music(1180.0, 760.0);
    rig.wait(1.0);
    let delay = rig.0.output().viewport_output[&ViewportId::ROOT].repaint_delay;
    assert!(delay >= Duration::from_secs(3600), "a repaint is requested after {delay:?}");
}

/// A history of a steady tone with a transport jump at one time, or without.
struct Jumped(Option<f64>);

impl lintel::live::HistorySource for Jumped {
    fn seconds(&self) -> f64 {
        30.0
    }
    fn read(&self, first: i64, step_s: f64, columns: &mut [lintel::live::LiveColumn]) {
        for (n, column) in columns.iter_mut().enumerate() {
            let time = (first + n as i64) as f64 * step_s;
            let jump = self.0.is_some_and(|at| (time..time + step_s).contains(&at));
            *column = lintel::live::LiveColumn {
                input: -12.0,
                output: -10.0,
                short_term: -16.0,
                recorded: true,
                transport_jump: jump,
                ..lintel::live::LiveColumn::NONE
            };
        }
    }
}

#[test]
fn a_transport_jump_is_marked_at_its_time() {
    let drawn = |jump| {
        let rig = Rig::with(
            WindowState::default(),
            MemoryControls::default(),
            lintel::live::LiveReadout::default(),
            Box::new(Jumped(jump)),
            1.0,
        );
        (rig.rect("chart"), rig.0.output().shapes.clone())
    };
    let ((chart, plain), (_, marked)) = (drawn(None), drawn(Some(18.0)));
    let marks: Vec<Rect> = marked
        .iter()
        .filter(|shape| !plain.iter().any(|other| other.shape == shape.shape))
        .map(|shape| shape.shape.visual_bounding_rect())
        .collect();
    // A dashed line through all lanes, and an arrow at its bottom.
    assert!(marks.len() >= 2, "{marks:?}");
    let x = chart.left() + chart.width() * 18.0 / 30.0;
    for mark in &marks {
        assert!((mark.left() - x).abs() < 3.0 && mark.width() < 8.0, "{mark:?} {x}");
    }
    let all = marks.iter().fold(Rect::NOTHING, |all, mark| all.union(*mark));
    assert!(all.height() > chart.height() * 0.7);
}

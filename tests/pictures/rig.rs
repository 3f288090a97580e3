//! The screen in a test harness without a window: parameters in memory, pixels from the CPU.

use egui::{Key, Modifiers, Pos2, Rect, vec2};
use egui_kittest::kittest::{NodeT, Queryable};
use egui_kittest::{Harness, TestRenderer};
use lintel::editor::context::ScreenRequests;
use lintel::editor::raster::Raster;
use lintel::editor::window_state::WindowState;
use lintel::editor::{MemoryControls, Screen};
use lintel::live::{self, HistorySource, LiveReadout};
use lintel::params;
use lintel::stage::eq::EqCurve;

/// Everything that one frame is drawn from, and what came back.
pub struct ScreenState {
    pub screen: Screen,
    pub memory: MemoryControls,
    pub live: LiveReadout,
    pub history: Box<dyn HistorySource>,
    pub requests: Vec<ScreenRequests>,
}

impl ScreenState {
    pub fn value(&self, id: &str) -> f32 {
        params::find(id).expect("a parameter").get(&self.memory.settings)
    }
}

pub struct Rig(pub Harness<'static, ScreenState>);

impl Rig {
    /// A screen with default settings and no signal, 1180 × 760 points.
    pub fn new() -> Self {
        Self::with(
            WindowState::default(),
            MemoryControls::default(),
            LiveReadout::default(),
            Box::new(()),
            1.0,
        )
    }

    pub fn with(
        window_state: WindowState,
        memory: MemoryControls,
        live: LiveReadout,
        history: Box<dyn HistorySource>,
        pixels: f32,
    ) -> Self {
        let size = vec2(window_state.width, window_state.height);
        let screen = Screen::new(window_state, None);
        let state = ScreenState { screen, memory, live, history, requests: Vec::new() };
        let mut harness = Harness::builder()
            .with_size(size)
            .with_pixels_per_point(pixels)
            .with_step_dt(1.0 / 60.0)
            .renderer(Pixels::default())
            .build_ui_state(
                |ui, state: &mut ScreenState| {
                    let ScreenState { screen, memory, live, history, requests } = state;
                    live.response = live::response(&EqCurve::of(&memory.settings.eq, live.sample_rate));
                    let request = screen.show(ui, live, history.as_ref(), memory);
                    if request != ScreenRequests::default() {
                        requests.push(request);
                    }
                },
                state,
            );
        harness.run_steps(2);
        Self(harness)
    }

    pub fn value(&self, id: &str) -> f32 {
        self.0.state().value(id)
    }

    /// Place of the widget with this label.
    pub fn rect(&self, label: &str) -> Rect {
        self.0.get_by_label(label).rect()
    }

    pub fn focus(&mut self, label: &str) {
        self.0.get_by_label(label).focus();
        self.0.run_steps(2);
    }

    /// The label of the focused widget.
    pub fn focused(&self) -> Option<String> {
        let find = |node: &egui_kittest::Node<'_>| node.is_focused();
        let node = self.0.root().children_recursive().find(find);
        node.and_then(|node| node.accesskit_node().label())
    }

    pub fn click(&mut self, label: &str) {
        let at = self.rect(label).center();
        self.press(at, Modifiers::NONE);
        self.release(at, Modifiers::NONE);
        // Long enough that two clicks are not a double click.
        self.wait(0.5);
    }

    pub fn wait(&mut self, seconds: f32) {
        self.0.run_steps((seconds * 60.0).ceil() as usize);
    }

    pub fn key(&mut self, key: Key, modifiers: Modifiers) {
        self.0.key_press_modifiers(modifiers, key);
        self.0.run_steps(2);
    }

    pub fn text(&mut self, text: &str) {
        self.0.event(egui::Event::Text(text.to_owned()));
        self.0.run_steps(2);
    }

    fn button(&mut self, pos: Pos2, pressed: bool, modifiers: Modifiers) {
        self.0.event(egui::Event::PointerMoved(pos));
        self.0.step();
        let button = egui::PointerButton::Primary;
        self.0.event(egui::Event::PointerButton { pos, button, pressed, modifiers });
        self.0.step();
    }

    pub fn press(&mut self, at: Pos2, modifiers: Modifiers) {
        self.button(at, true, modifiers);
    }

    pub fn release(&mut self, at: Pos2, modifiers: Modifiers) {
        self.button(at, false, modifiers);
        self.0.run_steps(2);
    }

    /// Drags from a place by `by` points in ten steps.
    pub fn drag(&mut self, from: Pos2, by: egui::Vec2, modifiers: Modifiers) {
        self.0.event(egui::Event::ModifiersChanged(modifiers));
        self.press(from, modifiers);
        for n in 1..=10 {
            self.0.event(egui::Event::PointerMoved(from + by * (n as f32 / 10.0)));
            self.0.step();
        }
        self.release(from + by, modifiers);
        self.0.event(egui::Event::ModifiersChanged(Modifiers::NONE));
        self.0.step();
    }

    pub fn wheel(&mut self, label: &str, clicks: f32, modifiers: Modifiers) {
        let at = self.rect(label).center();
        self.0.event(egui::Event::ModifiersChanged(modifiers));
        self.0.event(egui::Event::PointerMoved(at));
        self.0.run_steps(2);
        self.0.event(egui::Event::MouseWheel {
            unit: egui::MouseWheelUnit::Line,
            delta: vec2(0.0, clicks),
            phase: egui::TouchPhase::Move,
            source: egui::MouseWheelSource::Unknown,
            modifiers,
        });
        self.0.run_steps(2);
        self.0.event(egui::Event::ModifiersChanged(Modifiers::NONE));
        self.0.step();
    }

    pub fn double_click(&mut self, label: &str) {
        let at = self.rect(label).center();
        for _ in 0..2 {
            self.press(at, Modifiers::NONE);
            self.release(at, Modifiers::NONE);
        }
    }

    /// Keeps the pointer at a place until a tooltip opens.
    pub fn hover(&mut self, at: Pos2) {
        self.0.event(egui::Event::PointerMoved(at));
        self.wait(1.0);
    }
}

/// [`Raster`] as the harness's renderer.
#[derive(Default)]
pub struct Pixels(Raster);

impl TestRenderer for Pixels {
    fn handle_delta(&mut self, delta: &mut egui::TexturesDelta) {
        self.0.take(delta);
    }

    fn render(&mut self, ctx: &egui::Context, output: &egui::FullOutput) -> Result<image::RgbaImage, String> {
        let scale = output.pixels_per_point;
        let size = (ctx.content_rect().size() * scale).round();
        let size = [size.x as usize, size.y as usize];
        let canvas = self.0.draw(&ctx.tessellate(output.shapes.clone(), scale), size, scale);
        let bytes = canvas.pixels.iter().flat_map(|pixel| pixel.to_array()).collect();
        image::RgbaImage::from_raw(size[0] as u32, size[1] as u32, bytes)
            .ok_or_else(|| "an empty picture".to_owned())
    }
}

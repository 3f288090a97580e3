mod scene;
use egui_kittest::{Harness, TestRenderer};
use lintel::editor::{Memory, Screen, keep::Keep, raster::Raster};

struct Soft(Raster);
impl TestRenderer for Soft {
    fn handle_delta(&mut self, delta: &mut egui::TexturesDelta) { self.0.take(delta); }
    fn render(&mut self, ctx: &egui::Context, output: &egui::FullOutput) -> Result<image::RgbaImage, String> {
        let ppp = output.pixels_per_point;
        let size = ctx.content_rect().size() * ppp;
        let size = [size.x.round() as usize, size.y.round() as usize];
        let image = self.0.draw(&ctx.tessellate(output.shapes.clone(), ppp), size, ppp);
        Ok(image::RgbaImage::from_raw(size[0] as u32, size[1] as u32, image.pixels.iter().flat_map(|p| p.to_array()).collect()).unwrap())
    }
}

#[test]
fn first() {
    for (name, w, h, night, ppp) in [("day", 1180.0, 760.0, false, 2.0), ("night", 1180.0, 760.0, true, 2.0), ("small", 900.0, 600.0, false, 2.0), ("large", 1920.0, 1080.0, false, 1.0)] {
        let mut screen = Screen::new(Keep { night, ..Keep::default() }, None);
        let mut memory = Memory::default();
        memory.settings.glue.on = true;
        memory.settings.ceiling.drive = 4.8;
        memory.settings.tone.bands[1].gain = -2.1; memory.settings.tone.bands[1].freq = 76.0;
        memory.settings.tone.bands[3].gain = 0.8; memory.settings.tone.bands[4].gain = 1.8;
        let mut live = scene::live();
        live.response = lintel::editor::live::response(&lintel::stage::tone::Curve::of(&memory.settings.tone, 48000.0));
        let paper = scene::Paper { seconds: 64.0 };
        let mut harness = Harness::builder().with_size(egui::vec2(w, h)).with_pixels_per_point(ppp).renderer(Soft(Raster::default())).build_ui(move |ui| { screen.show(ui, &live, &paper, &mut memory); });
        harness.run_steps(3);
        harness.render().unwrap().save(format!("/tmp/shot-{name}.png")).unwrap();
    }
}

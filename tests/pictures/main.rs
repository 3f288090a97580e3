//! The screen without a window: what hands do to it, and what it looks like.

mod hands;
mod rig;
mod scene;
mod words;

#[test]
fn first() {
    for (name, w, h, night, ppp) in [
        ("day", 1180.0, 760.0, false, 2.0),
        ("night", 1180.0, 760.0, true, 2.0),
        ("small", 900.0, 600.0, false, 2.0),
        ("large", 1920.0, 1080.0, false, 1.0),
    ] {
        let settings = scene::settings();
        let scene = scene::run(&settings, 24.0, 0.0);
        let memory = lintel::editor::Memory { settings, ..Default::default() };
        let keep = lintel::editor::keep::Keep {
            night,
            width: w,
            height: h,
            span: lintel::editor::keep::Span::Seconds10,
            ..Default::default()
        };
        let mut rig = rig::Rig::with(keep, memory, scene.live, Box::new(scene::Paper(scene.history)), ppp);
        rig.0.render().unwrap().save(format!("/tmp/shot-{name}.png")).unwrap();
    }
}

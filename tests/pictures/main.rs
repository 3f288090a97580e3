//! The screen without a window: what hands do to it, and what it looks like.

mod hands;
mod rig;
mod scene;
mod words;

#[test]
fn first() {
    for (name, w, h, night, ppp) in [("day", 1180.0, 760.0, false, 2.0), ("night", 1180.0, 760.0, true, 2.0), ("small", 900.0, 600.0, false, 2.0), ("large", 1920.0, 1080.0, false, 1.0)] {
        let mut memory = lintel::editor::Memory::default();
        memory.settings.glue.on = true;
        memory.settings.ceiling.drive = 4.8;
        memory.settings.tone.bands[1].gain = -2.1; memory.settings.tone.bands[1].freq = 76.0;
        memory.settings.tone.bands[3].gain = 0.8; memory.settings.tone.bands[4].gain = 1.8;
        let keep = lintel::editor::keep::Keep { night, width: w, height: h, ..Default::default() };
        let mut rig = rig::Rig::with(keep, memory, scene::live(), Box::new(scene::Paper { seconds: 64.0 }), ppp);
        rig.0.render().unwrap().save(format!("/tmp/shot-{name}.png")).unwrap();
    }
}

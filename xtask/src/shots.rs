//! `cargo xtask shots`: every state of the screen as a PNG, without a display. The demo mix runs
//! through the real chain into the real analysis; the pictures show what they measured.

use crate::Failure;
use egui::{Event, Pos2, RawInput, Rect, pos2, vec2};
use lintel::chain::Chain;
use lintel::editor::raster::Raster;
use lintel::editor::song::{self, SongView};
use lintel::editor::theme::Theme;
use lintel::editor::window_state::{Span, WindowState};
use lintel::editor::{MemoryControls, Screen};
use lintel::live::{self, LiveReadout, MeasuredHistory};
use lintel::meter::matching::LoudnessMatch;
use lintel::meter::{Analysis, History};
use lintel::player::{LoadedSong, Playhead};
use lintel::settings::{BandChannel, BandKind, Settings, StageOrder};
use lintel::stage::eq::EqCurve;
use lintel::tap_ring::Transport;
use std::path::Path;
use std::sync::{Arc, Mutex};
use testkit::quartet;

/// Where all of them go, and the two that the documents show.
const ALL: &str = "target/shots";
const SHOWN: &str = "docs/screen";

/// Seconds of the mix that most pictures have seen.
const SECONDS: f64 = 104.0;

/// One picture.
struct Shot {
    name: &'static str,
    window_state: WindowState,
    settings: Settings,
    /// Pixels per point.
    scale: f32,
    /// Where the pointer rests, shares of the window.
    pointer: Option<(f32, f32)>,
    /// Buttons pressed one after the other, shares of the window.
    clicks: Vec<(f32, f32)>,
    /// Gain of the mix before it comes in, dB.
    source: f32,
    seconds: f64,
    /// With the song's row under it, as in the window that needs no host.
    song: bool,
}

impl Shot {
    fn new(name: &'static str, settings: Settings) -> Self {
        let (window_state, source) = (WindowState::default(), 0.0);
        let (scale, pointer, clicks, seconds) = (2.0, None, Vec::new(), SECONDS);
        Self { name, window_state, settings, scale, pointer, clicks, source, seconds, song: false }
    }

    fn keep(mut self, change: impl FnOnce(&mut WindowState)) -> Self {
        change(&mut self.window_state);
        self
    }

    fn scale(mut self, scale: f32) -> Self {
        self.scale = scale;
        self
    }
}

/// A finished master, as most pictures show it.
fn usual() -> Settings {
    let mut s = Settings::default();
    s.input.trim = -3.0;
    let bands = &mut s.eq.bands;
    (bands[0].freq, bands[0].gain) = (70.0, 0.6);
    (bands[1].freq, bands[1].gain, bands[1].q) = (210.0, -1.6, 0.9);
    (bands[3].freq, bands[3].gain, bands[3].q) = (3400.0, 0.8, 0.8);
    (bands[4].freq, bands[4].gain) = (9000.0, 1.3);
    s.compressor.on = true;
    (s.compressor.threshold, s.compressor.ratio, s.compressor.knee, s.compressor.attack) =
        (-22.0, 1.7, 8.0, 40.0);
    s.limiter.drive = 8.0;
    s
}

/// The list of pictures.
fn shots() -> Vec<Shot> {
    let mut other = usual();
    other.order = StageOrder::CompressorFirst;
    other.eq.bands[0].kind = BandKind::LowCut;
    other.eq.bands[0].freq = 30.0;
    other.eq.bands[4].channel = BandChannel::Side;
    other.eq.bands[2].on = false;
    other.limiter.drive = 7.5;
    let mut large = usual();
    large.eq.bands[1].gain = -6.5;
    large.eq.bands[4].gain = 4.0;
    let mut pumping = usual();
    pumping.limiter.drive = 22.0;
    pumping.limiter.release = 30.0;
    let mut off = usual();
    (off.eq.on, off.compressor.on, off.limiter.removed_only, off.bypass) = (false, false, true, true);
    let hover = Shot { pointer: Some((0.45, 0.33)), ..Shot::new("hover", usual()) };
    let held = Shot { clicks: vec![(0.40, 0.30)], pointer: Some((0.62, 0.2)), ..Shot::new("held", usual()) };
    vec![
        Shot::new("day", usual()),
        Shot::new("night", usual()).keep(|k| k.night = true),
        Shot::new("slot-b", other).keep(|k| k.slot = 1),
        Shot::new("large-move", large).keep(|k| k.eq_range_db = 12),
        Shot::new("pumping", pumping).keep(|k| k.span = Span::Seconds10),
        Shot { source: 4.0, ..Shot::new("full-scale-source", Settings::default()) },
        Shot { seconds: 128.0, ..Shot::new("whole-song", usual()) }.keep(|k| k.span = Span::Song),
        Shot::new("ten-seconds", usual()).keep(|k| k.span = Span::Seconds10),
        Shot::new("scale-75", usual()).scale(0.75),
        Shot::new("scale-200", usual()).scale(2.0).keep(|k| (k.width, k.height) = (960.0, 640.0)),
        Shot::new("small", usual()).scale(1.0).keep(|k| (k.width, k.height) = (900.0, 600.0)),
        Shot::new("large", usual()).scale(1.0).keep(|k| (k.width, k.height) = (1920.0, 1080.0)),
        Shot::new("4k", usual()).scale(1.0).keep(|k| (k.width, k.height) = (3840.0, 2160.0)),
        Shot::new("stages-off", off),
        hover,
        held,
        Shot { clicks: vec![(0.13, 0.03)], ..Shot::new("starting-points", usual()) },
        Shot { pointer: Some((0.87, 0.60)), ..Shot::new("tip", usual()) },
        Shot { seconds: 0.0, ..Shot::new("nothing-yet", Settings::default()) },
        Shot { song: true, ..Shot::new("song", usual()) },
        Shot { song: true, clicks: vec![(0.89, 0.967)], ..Shot::new("song-export", usual()) }
            .keep(|k| k.night = true),
    ]
}

/// Draws all of them.
pub fn run() -> Result<(), Failure> {
    nice_plug_xtask::chdir_workspace_root().map_err(|err| format!("{err:#}"))?;
    std::fs::create_dir_all(ALL)?;
    std::fs::create_dir_all(SHOWN)?;
    let mix = quartet::mix(128.0);
    let file = Path::new(ALL).join("quartet.wav");
    let wide = [0, 1].map(|ch: usize| mix[ch].iter().map(|x| f64::from(*x)).collect::<Vec<f64>>());
    testkit::wave::save(&file, quartet::RATE as u32, [&wide[0], &wide[1]])?;
    let take = LoadedSong::open_whole(&file)?;
    for shot in shots() {
        let file = format!("{}.png", shot.name);
        let (pixels, [width, height]) = draw(&shot, &mix, &take);
        let mut folders = vec![ALL];
        if matches!(shot.name, "day" | "night") {
            folders.push(SHOWN);
        }
        for folder in folders {
            write(&Path::new(folder).join(&file), &pixels, width, height)?;
        }
        println!("{ALL}/{file}  {width} x {height}");
    }
    Ok(())
}

/// Runs the mix through the chain.
fn measure(shot: &Shot, mix: &[Vec<f32>; 2]) -> (LiveReadout, Arc<Mutex<History>>) {
    let mut chain = Chain::new(quartet::RATE);
    chain.set(&shot.settings);
    chain.jump();
    let mut analysis = Analysis::new(quartet::RATE as u32, 2);
    analysis.set_settings(&shot.settings);
    let mut matching = LoudnessMatch::new(quartet::RATE);
    let mut transport = Transport { playing: true, position: Some(0) };
    let gain = 10.0_f32.powf(shot.source / 20.0);
    let frames = ((shot.seconds * quartet::RATE) as usize).min(mix[0].len());
    for start in (0..frames).step_by(480) {
        let end = (start + 480).min(frames);
        let [mut left, mut right] = [0, 1].map(|ch: usize| {
            mix[ch][start..end].iter().map(|x| (x * gain).clamp(-1.0, 1.0)).collect::<Vec<f32>>()
        });
        chain.process(&mut [&mut left, &mut right], |tap| {
            analysis.feed(tap, transport);
            matching.feed(tap.before, tap.after);
            transport = transport.advanced(tap.len());
        });
    }
    let mut live = LiveReadout::default();
    live.take(&analysis.snapshot(), &shot.settings);
    live.response = live::response(&EqCurve::of(&shot.settings.eq, quartet::RATE));
    live.compressor_point = chain.compressor_point();
    live.makeup = chain.makeup_db();
    live.louder_by = matching.difference_db();
    (live, analysis.history())
}

fn draw(shot: &Shot, mix: &[Vec<f32>; 2], take: &LoadedSong) -> (Vec<u8>, [usize; 2]) {
    let (live, history) = measure(shot, mix);
    let recording = MeasuredHistory::new(&history);
    let mut screen = Screen::new(shot.window_state.clone(), None);
    let mut memory = MemoryControls { settings: shot.settings, ..MemoryControls::default() };
    let row = if shot.song { song::HEIGHT } else { 0.0 };
    let (width, height) = (shot.window_state.width, shot.window_state.height + row);
    let upper = Rect::from_min_size(Pos2::ZERO, vec2(width, shot.window_state.height));
    let lower = Rect::from_min_max(upper.left_bottom(), pos2(width, height));
    let lower = song::place(lower, upper);
    let mut state = song::SongState::default();
    let mut playhead = Playhead::new(take.format().frames, take.format().rate);
    let frame_at = |seconds: f64| (seconds * quartet::RATE) as u64;
    playhead.set_trim(frame_at(1.2)..frame_at(126.0));
    playhead.set_cycle(take.overview().loudest(10.0, playhead.trim()));
    let place = |(x, y): (f32, f32)| pos2(x * width, y * height);
    let ctx = egui::Context::default();
    let mut raster = Raster::default();
    let mut time = 0.0;
    let mut frame = |events: Vec<Event>| {
        time += 1.0 / 60.0;
        let mut input = RawInput {
            screen_rect: Some(Rect::from_min_size(Pos2::ZERO, vec2(width, height))),
            time: Some(time),
            events,
            ..RawInput::default()
        };
        let viewport = input.viewports.entry(egui::ViewportId::ROOT).or_default();
        viewport.native_pixels_per_point = Some(shot.scale);
        let mut output = ctx.run_ui(input, |ui| {
            screen.show_in(ui, upper, &live, &recording, &mut memory);
            if shot.song {
                let theme = Theme::of(shot.window_state.night);
                let editor = Rect::from_min_max(pos2(0.0, upper.bottom()), pos2(width, height));
                ui.painter().rect_filled(editor, 0.0, theme.editor);
                let heard = frame_at(shot.seconds);
                let target = live::target("");
                let (playing, own_ends, silent, export) = (true, true, None, None);
                let playhead = &playhead;
                let view = SongView { take, playhead, heard, playing, own_ends, silent, export, target };
                song::show(&mut state, ui, lower, &theme, &view);
            }
        });
        raster.take(&mut output.textures_delta);
        output
    };
    frame(Vec::new());
    for click in &shot.clicks {
        let pos = place(*click);
        frame(vec![Event::PointerMoved(pos)]);
        for pressed in [true, false] {
            let (button, modifiers) = (egui::PointerButton::Primary, egui::Modifiers::NONE);
            frame(vec![Event::PointerButton { pos, button, pressed, modifiers }]);
        }
    }
    if let Some(pointer) = shot.pointer {
        frame(vec![Event::PointerMoved(place(pointer))]);
    }
    // Long enough for a tip to open and a menu to unfold.
    let mut last = frame(Vec::new());
    for _ in 0..60 {
        last = frame(Vec::new());
    }
    let size = [(width * shot.scale).round() as usize, (height * shot.scale).round() as usize];
    let canvas = raster.draw(&ctx.tessellate(last.shapes, shot.scale), size, shot.scale);
    let bytes = canvas.pixels.iter().flat_map(|pixel| [pixel.r(), pixel.g(), pixel.b()]).collect();
    (bytes, size)
}

fn write(path: &Path, rgb: &[u8], width: usize, height: usize) -> Result<(), Failure> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, width as u32, height as u32);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_compression(png::Compression::Best);
    encoder.write_header()?.write_image_data(rgb)?;
    lintel::finish::write_whole(path, &bytes, lintel::finish::Overwrite::Allow)?;
    Ok(())
}

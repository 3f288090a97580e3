//! `cargo xtask shots`: every state of the screen as a PNG, without a display. The demo mix is processed
//! by the real chain and measured by the real analysis.

use crate::Failure;
use egui::{Event, Pos2, RawInput, Rect, pos2, vec2};
use lintel::chain::Chain;
use lintel::editor::context::Matching;
use lintel::editor::raster::Raster;
use lintel::editor::recent::RecentFiles;
use lintel::editor::record::{self, RecordState};
use lintel::editor::song::{self, SongView};
use lintel::editor::theme::Theme;
use lintel::editor::window_state::{TimeSpan, WindowState};
use lintel::editor::{MemoryControls, Screen};
use lintel::finish::{Encoding, Layout, OutputSpec, Overwrite, Writer};
use lintel::live::{self, LiveReadout, MeasuredHistory};
use lintel::meter::{Analysis, History};
use lintel::player::{LoadedSong, Playhead, Record};
use lintel::settings::{BandChannel, BandKind, Compare, Settings, StageOrder};
use lintel::stage::eq::EqCurve;
use lintel::tap_ring::Transport;
use std::path::Path;
use std::sync::{Arc, Mutex};

/// Folder of all pictures.
const FOLDER: &str = "target/shots";

/// Folder of those that the README shows.
const DOCS_FOLDER: &str = "docs/screen";

/// Folder of those that the guide shows.
const GUIDE_FOLDER: &str = "docs/guide";

/// Length of the mix in most pictures, s.
const MUSIC_S: f64 = 104.0;

/// One picture.
struct Shot {
    name: &'static str,
    window_state: WindowState,
    settings: Settings,
    /// Pixels per point.
    scale: f32,
    /// Place of the pointer, shares of the window.
    pointer: Option<(f32, f32)>,
    /// Places that are clicked in this order, shares of the window.
    clicks: Vec<(f32, f32)>,
    /// Gain of the mix before the chain, dB.
    input_gain_db: f32,
    seconds: f64,
    /// With the row of the song, as in the standalone window.
    song: bool,
    /// With the strip of songs above it.
    record: bool,
    /// A drag after the clicks, shares of the window.
    drag: Option<[(f32, f32); 2]>,
    /// File in the guide's folder, without the extension.
    guide: Option<&'static str>,
}

impl Shot {
    fn new(name: &'static str, settings: Settings) -> Self {
        let (window_state, input_gain_db) = (WindowState::default(), 0.0);
        let (scale, pointer, clicks, seconds) = (2.0, None, Vec::new(), MUSIC_S);
        let (song, record, drag, guide) = (false, false, None, None);
        Self {
            name,
            window_state,
            settings,
            scale,
            pointer,
            clicks,
            input_gain_db,
            seconds,
            song,
            record,
            drag,
            guide,
        }
    }

    /// Also a picture of the guide.
    fn guide(mut self, file: &'static str) -> Self {
        self.guide = Some(file);
        self
    }

    fn with_state(mut self, change: impl FnOnce(&mut WindowState)) -> Self {
        change(&mut self.window_state);
        self
    }

    fn scale(mut self, scale: f32) -> Self {
        self.scale = scale;
        self
    }
}

/// The settings of most pictures.
fn mastered() -> Settings {
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

/// All pictures.
fn shots() -> Vec<Shot> {
    let mut other = mastered();
    other.order = StageOrder::CompressorFirst;
    other.eq.bands[0].kind = BandKind::LowCut;
    other.eq.bands[0].freq = 30.0;
    other.eq.bands[4].channel = BandChannel::Side;
    other.eq.bands[2].on = false;
    other.limiter.drive = 7.5;
    let mut large = mastered();
    large.eq.bands[1].gain = -6.5;
    large.eq.bands[4].gain = 4.0;
    let mut pumping = mastered();
    pumping.limiter.drive = 22.0;
    (pumping.limiter.release, pumping.limiter.soft_clip) = (120.0, 0.0);
    let mut squeezed = Settings::default();
    squeezed.compressor.on = true;
    let mut before = mastered();
    before.compare = Compare::Before;
    let mut off = mastered();
    (off.eq.on, off.compressor.on, off.limiter.removed_only, off.bypass) = (false, false, true, true);
    let hover = Shot { pointer: Some((0.45, 0.33)), ..Shot::new("hover", mastered()) };
    let frozen =
        Shot { clicks: vec![(0.40, 0.30)], pointer: Some((0.62, 0.2)), ..Shot::new("frozen", mastered()) };
    vec![
        Shot::new("light", mastered()),
        Shot::new("dark", mastered()).with_state(|s| s.dark = true),
        Shot::new("slot-b", other).with_state(|s| s.slots.slot = 1),
        Shot::new("large-move", large).with_state(|s| s.eq_range_db = 12),
        Shot::new("pumping", pumping)
            .with_state(|s| s.span = TimeSpan::Seconds10)
            .scale(1.0)
            .guide("pumping"),
        Shot { input_gain_db: 4.0, ..Shot::new("full-scale-source", squeezed) }.scale(1.0).guide("input"),
        Shot {
            clicks: vec![(0.40, 0.30)],
            drag: Some([(0.50, 0.20), (0.66, 0.20)]),
            song: true,
            ..Shot::new("stretch", mastered())
        }
        .scale(1.0)
        .guide("stretch"),
        Shot::new("compare", before).scale(1.0).guide("compare"),
        Shot { seconds: 128.0, ..Shot::new("whole-song", mastered()) }
            .with_state(|s| s.span = TimeSpan::Song),
        Shot::new("ten-seconds", mastered()).with_state(|s| s.span = TimeSpan::Seconds10),
        Shot::new("scale-75", mastered()).scale(0.75),
        Shot::new("scale-200", mastered()).scale(2.0).with_state(|s| (s.width, s.height) = (960.0, 640.0)),
        Shot::new("small", mastered()).scale(1.0).with_state(|s| (s.width, s.height) = (900.0, 600.0)),
        Shot::new("large", mastered()).scale(1.0).with_state(|s| (s.width, s.height) = (1920.0, 1080.0)),
        Shot::new("4k", mastered()).scale(1.0).with_state(|s| (s.width, s.height) = (3840.0, 2160.0)),
        Shot::new("stages-off", off),
        hover,
        frozen,
        Shot { clicks: vec![(0.13, 0.03)], ..Shot::new("presets", mastered()) },
        Shot { pointer: Some((0.87, 0.60)), ..Shot::new("tip", mastered()) },
        Shot { seconds: 0.0, song: true, ..Shot::new("nothing-yet", Settings::default()) }
            .scale(1.0)
            .guide("start"),
        Shot { song: true, ..Shot::new("song", mastered()) },
        Shot { song: true, clicks: vec![(0.89, 0.967)], ..Shot::new("song-export", mastered()) }
            .with_state(|s| s.dark = true),
        Shot { song: true, clicks: vec![(0.89, 0.967)], ..Shot::new("export", mastered()) }
            .scale(1.0)
            .guide("export"),
        Shot { song: true, record: true, ..Shot::new("record", mastered()) }.scale(1.0).guide("record"),
    ]
}

/// Draws all pictures.
pub fn run() -> Result<(), Failure> {
    nice_plug_xtask::chdir_workspace_root().map_err(|err| format!("{err:#}"))?;
    std::fs::create_dir_all(FOLDER)?;
    std::fs::create_dir_all(DOCS_FOLDER)?;
    std::fs::create_dir_all(GUIDE_FOLDER)?;
    let mix = testkit::quartet::mix(128.0);
    let file = Path::new(FOLDER).join("quartet.wav");
    let rate = testkit::quartet::RATE as u32;
    let spec = OutputSpec::new(Layout::Wav, Encoding::Int(24), rate, 2);
    let mut writer = Writer::create(&file, spec, Overwrite::Allow, &[])?;
    let samples = [0, 1].map(|ch: usize| mix[ch].iter().map(|x| f64::from(*x)).collect::<Vec<f64>>());
    writer.write(&samples[0], &samples[1])?;
    writer.finish(None)?;
    let loaded = LoadedSong::open_whole(&file)?;
    for shot in shots() {
        let file = format!("{}.png", shot.name);
        let (pixels, [width, height]) = draw(&shot, &mix, &loaded);
        write(&Path::new(FOLDER).join(&file), &pixels, width, height)?;
        let docs = match shot.name {
            "light" | "dark" => Some(format!("{DOCS_FOLDER}/{file}")),
            "song" => Some(format!("{DOCS_FOLDER}/window.png")),
            _ => shot.guide.map(|name| format!("{GUIDE_FOLDER}/{name}.png")),
        };
        if let Some(path) = docs {
            write(Path::new(&path), &pixels, width, height)?;
        }
        println!("{FOLDER}/{file}  {width} x {height}");
    }
    Ok(())
}

/// Processes the mix with the chain.
fn measure(shot: &Shot, mix: &[Vec<f32>; 2]) -> (LiveReadout, Arc<Mutex<History>>) {
    let mut chain = Chain::new(testkit::quartet::RATE);
    chain.set(&shot.settings);
    chain.jump();
    let mut analysis = Analysis::new(testkit::quartet::RATE as u32, 2);
    analysis.set_settings(&shot.settings);
    let mut transport = Transport { playing: true, position: Some(0) };
    let gain = 10.0_f32.powf(shot.input_gain_db / 20.0);
    let frames = ((shot.seconds * testkit::quartet::RATE) as usize).min(mix[0].len());
    for start in (0..frames).step_by(480) {
        let end = (start + 480).min(frames);
        let [mut left, mut right] = [0, 1].map(|ch: usize| {
            mix[ch][start..end].iter().map(|x| (x * gain).clamp(-1.0, 1.0)).collect::<Vec<f32>>()
        });
        chain.process(&mut [&mut left, &mut right], |tap| {
            analysis.feed(tap, transport);
            transport = transport.advanced(tap.len());
        });
    }
    let mut live = LiveReadout::default();
    live.take(&analysis.snapshot(), &shot.settings);
    live.response = live::response(&EqCurve::of(&shot.settings.eq, testkit::quartet::RATE));
    live.compressor_point = chain.compressor_point();
    live.makeup_db = chain.makeup_db();
    live.louder_by_db = chain.louder_by_db();
    live.listening_db = chain.readout().listening_db;
    (live, analysis.history())
}

/// Four songs, all of them this file.
fn record_of(file: &Path) -> Record {
    let titles = ["River stones", "Ebb", "Lamp on the landing stage", "Wet oars"];
    let files = vec![file.to_owned(); titles.len()];
    let (mut record, _) = Record::of_files(&files, &Settings::default());
    for (song, title) in record.songs_mut().iter_mut().zip(titles) {
        song.table.title = Some(title.to_owned());
    }
    record.show(1);
    record
}

fn draw(shot: &Shot, mix: &[Vec<f32>; 2], loaded: &LoadedSong) -> (Vec<u8>, [usize; 2]) {
    let (mut live, history) = measure(shot, mix);
    // As in the window: headroom is that of the whole file.
    if let Some(peaks) = loaded.peaks().filter(|_| shot.song) {
        live.headroom = -peaks.true_db;
    }
    let history = MeasuredHistory::new(&history);
    let mut screen = Screen::new(shot.window_state.clone(), None);
    let mut memory = MemoryControls { settings: shot.settings, ..MemoryControls::default() };
    let row = if shot.song { song::HEIGHT_PT } else { 0.0 };
    let strip = if shot.record { record::HEIGHT_PT } else { 0.0 };
    let (width, height) = (shot.window_state.width, shot.window_state.height + strip + row);
    let upper = Rect::from_min_size(Pos2::ZERO, vec2(width, shot.window_state.height));
    let strip = Rect::from_min_size(upper.left_bottom(), vec2(width, strip));
    let lower = Rect::from_min_max(strip.left_bottom(), pos2(width, height));
    let (strip, lower) = (song::place(strip, upper).with_max_y(strip.bottom()), song::place(lower, upper));
    let mut songs = RecordState::new(record_of(loaded.path()));
    let mut state = song::SongState::default();
    let recent = RecentFiles::default();
    (screen.loops, screen.dialogs) = (shot.song, shot.song);
    screen.matching = if shot.song { Matching::Ready } else { Matching::Unavailable };
    let mut playhead = Playhead::new(loaded.format().frames, loaded.format().rate);
    let frame_at = |seconds: f64| (seconds * testkit::quartet::RATE) as u64;
    playhead.set_bounds(frame_at(1.2)..frame_at(126.0));
    if shot.seconds > 0.0 {
        playhead.set_loop(loaded.overview().loudest(10.0, playhead.bounds()));
    }
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
            screen.show_in(ui, upper, &live, &history, &mut memory);
            if shot.song {
                let theme = Theme::of(shot.window_state.dark);
                let editor = Rect::from_min_max(pos2(0.0, upper.bottom()), pos2(width, height));
                ui.painter().rect_filled(editor, 0.0, theme.window);
                let audible_frame = frame_at(shot.seconds).max(playhead.bounds().start);
                let target = live::target("");
                let (starts_softly, user_bounds) = (false, true);
                let playing = shot.seconds > 0.0;
                let (silent, export, preview) = (None, None, None);
                let playhead = &playhead;
                let view = SongView {
                    song: loaded,
                    playhead,
                    audible_frame,
                    playing,
                    starts_softly,
                    user_bounds,
                    silent,
                    export,
                    found_gain: None,
                    target_match: None,
                    preview,
                    encoded_figures: None,
                    recent: &recent,
                    in_record: shot.record,
                    said: None,
                    dialogs: true,
                    target,
                };
                song::show(&mut state, ui, lower, &theme, &view);
                if shot.record {
                    record::show(&mut songs, ui, strip, &theme, &recent, true);
                }
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
    if let Some([from, to]) = shot.drag.map(|drag| drag.map(place)) {
        let (button, modifiers) = (egui::PointerButton::Primary, egui::Modifiers::NONE);
        frame(vec![Event::PointerMoved(from)]);
        frame(vec![Event::PointerButton { pos: from, button, pressed: true, modifiers }]);
        for n in 1..=10 {
            frame(vec![Event::PointerMoved(from + (to - from) * (n as f32 / 10.0))]);
        }
        frame(vec![Event::PointerButton { pos: to, button, pressed: false, modifiers }]);
        frame(vec![Event::PointerGone]);
    }
    if let Some(pointer) = shot.pointer {
        frame(vec![Event::PointerMoved(place(pointer))]);
    }
    // Long enough for a tooltip and a menu to open.
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

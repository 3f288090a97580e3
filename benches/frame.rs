//! Price of one frame of the screen, without a graphics card: laying out, drawing and tessellating
//! while the publication runs, against the 4 ms that 60 frames a second leave comfortably. Then ten
//! minutes of frames, to see that nothing grows.
//!
//! `cargo bench --no-default-features --features screen --bench frame`

use egui::{Pos2, RawInput, Rect, vec2};
use lintel::editor::window_state::{TimeSpan, WindowState};
use lintel::editor::{MemoryControls, Screen};
use lintel::live::{CURVE_POINTS, LiveReadout, MeasuredHistory};
use lintel::meter::{Analysis, History, HistoryColumn};
use lintel::settings::Settings;
use std::alloc::{GlobalAlloc, Layout, System};
use std::sync::Mutex;
use std::sync::atomic::{AtomicIsize, Ordering};
use std::time::Instant;

/// Bytes that are set aside at this moment.
static LIVE: AtomicIsize = AtomicIsize::new(0);

struct Counting;

// SAFETY: every call is passed on to the system's allocator unchanged.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        LIVE.fetch_add(layout.size() as isize, Ordering::Relaxed);
        // SAFETY: the caller's contract is the same.
        unsafe { System.alloc(layout) }
    }
    unsafe fn dealloc(&self, ptr: *mut u8, layout: Layout) {
        LIVE.fetch_sub(layout.size() as isize, Ordering::Relaxed);
        // SAFETY: the caller's contract is the same.
        unsafe { System.dealloc(ptr, layout) }
    }
}

#[global_allocator]
static ALLOCATOR: Counting = Counting;

/// Budget of a frame, ms.
const BUDGET: f64 = 4.0;

struct Bench {
    ctx: egui::Context,
    screen: Screen,
    memory: MemoryControls,
    live: LiveReadout,
    history: Mutex<History>,
    size: egui::Vec2,
    frames: u64,
}

impl Bench {
    fn new(width: f32, height: f32, span: TimeSpan) -> Self {
        let mut settings = Settings::default();
        settings.compressor.on = true;
        settings.limiter.drive = 6.0;
        let mut live = LiveReadout::default();
        live.take(&Analysis::new(48_000, 2).snapshot(), &settings);
        live.response = [vec![0.5; CURVE_POINTS], vec![0.5; CURVE_POINTS]];
        let window_state = WindowState { span, width, height, ..WindowState::default() };
        let mut bench = Self {
            ctx: egui::Context::default(),
            screen: Screen::new(window_state, None),
            memory: MemoryControls { settings, ..MemoryControls::default() },
            live,
            history: Mutex::new(History::new(48_000)),
            size: vec2(width, height),
            frames: 0,
        };
        (0..60 * 150).for_each(|_| bench.play());
        bench
    }

    /// A sixtieth of a second of music: one to two columns of about 11 ms.
    fn play(&mut self) {
        self.frames += 1;
        let mut history = self.history.lock().unwrap();
        let wanted = self.frames * 800 / history.width();
        while history.count() < wanted {
            let n = history.count() as f32;
            let level = 0.2 + 0.6 * (n * 0.37).sin().abs();
            let depth = 3.0 * (n * 0.11).sin().abs();
            let frames = history.width() as u32;
            history.push(HistoryColumn {
                before: [-level, level],
                after: [-level, level],
                true_peak: level,
                compressor: [depth * 0.5, depth * 0.3],
                limiter: [depth, depth * 0.5],
                short_term: [-18.0, -14.0 + (n * 0.01).sin()],
                frames,
                ..HistoryColumn::EMPTY
            });
        }
        drop(history);
        let x = (self.frames as f64 * 0.05).sin();
        self.live.output.momentary = -13.0 + x;
        self.live.output.short_term = -13.5 + x;
        self.live.compressor_point = (-14.0 + 4.0 * x, 1.0);
    }

    /// Builds one frame; gives the time it took in seconds.
    fn frame(&mut self) -> f64 {
        self.play();
        let input = RawInput {
            screen_rect: Some(Rect::from_min_size(Pos2::ZERO, self.size)),
            time: Some(self.frames as f64 / 60.0),
            ..RawInput::default()
        };
        let start = Instant::now();
        let recording = MeasuredHistory::new(&self.history);
        let (screen, live, memory) = (&mut self.screen, &self.live, &mut self.memory);
        let mut output = self.ctx.run_ui(input, |ui| {
            screen.show(ui, live, &recording, memory);
        });
        std::hint::black_box(self.ctx.tessellate(std::mem::take(&mut output.shapes), 1.0));
        let seconds = start.elapsed().as_secs_f64();
        output.textures_delta.clear();
        seconds
    }
}

fn main() {
    println!("one frame, ms of one core (budget {BUDGET} ms)");
    for (name, width, height) in
        [("900 x 600", 900.0, 600.0), ("1180 x 760", 1180.0, 760.0), ("3840 x 2160", 3840.0, 2160.0)]
    {
        for span in TimeSpan::ALL {
            let mut bench = Bench::new(width, height, span);
            (0..30).for_each(|_| _ = bench.frame());
            let mut times: Vec<f64> = (0..300).map(|_| bench.frame() * 1000.0).collect();
            times.sort_by(f64::total_cmp);
            let (half, most) = (times[150], times[296]);
            println!(
                "{name:>12}  {:<10}  median {half:5.2}  99 % {most:5.2}  of budget {:4.0} %",
                span.label(),
                100.0 * most / BUDGET
            );
        }
    }
    let mut bench = Bench::new(1180.0, 760.0, TimeSpan::Seconds30);
    let mut held = Vec::new();
    for _minute in 0..10 {
        (0..3600).for_each(|_| _ = bench.frame());
        held.push(LIVE.load(Ordering::Relaxed));
    }
    // The recording's rings are whole from the start on.
    println!("ten minutes at 60 frames/s: bytes held after each minute");
    println!("{held:?}");
    println!("growth from minute 2 to minute 10: {} bytes", held[9] - held[1]);
}

//! Price of one frame of the screen, without a graphics card: laying out, drawing and tessellating
//! while music plays through chain and analysis (which are not counted), with everything on that the screen can
//! show. Then ten minutes of frames, to see that nothing grows.
//!
//! Counted is the processor time of the thread, where the system tells it (Linux): what other programs take of the
//! core in the middle of a frame is not the screen's, and was what the slowest frames consisted of. The time by the
//! clock, with that, stands behind it.
//!
//! `cargo bench --no-default-features --features screen --bench frame`

use egui::{Pos2, RawInput, Rect, vec2};
use lintel::chain::Chain;
use lintel::editor::window_state::{TimeSpan, WindowState};
use lintel::editor::{MemoryControls, Screen};
use lintel::live::{
    CURVE_POINTS, LiveReadout, MeasuredHistory, ReferenceFigures, ReferenceLoad, ReferenceReadout, SHARES,
    ToneReadout,
};
use lintel::meter::{Analysis, History};
use lintel::settings::Settings;
use lintel::tap_ring::Transport;
use std::alloc::{GlobalAlloc, Layout, System};
use std::sync::atomic::{AtomicIsize, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Instant;
use testkit::quartet;

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

/// Length of the passage, s.
const PASSAGE_S: f64 = 20.0;
/// Name of the reference.
const REFERENCE: &str = "boathouse.wav";

/// Processor time of this thread so far, s; by the clock where the system does not tell it.
fn thread_seconds(since: Instant) -> f64 {
    #[cfg(target_os = "linux")]
    {
        let mut time = libc::timespec { tv_sec: 0, tv_nsec: 0 };
        // SAFETY: the call writes one `timespec`, which it is given.
        if unsafe { libc::clock_gettime(libc::CLOCK_THREAD_CPUTIME_ID, &raw mut time) } == 0 {
            return time.tv_sec as f64 + time.tv_nsec as f64 * 1e-9;
        }
    }
    since.elapsed().as_secs_f64()
}

/// Budget of a frame, ms: 2 up to 1180 x 760 points, 4 at 3840 x 2160 (own goals).
fn budget(width: f32) -> f64 {
    if width > 1180.0 { 4.0 } else { 2.0 }
}

struct Bench {
    ctx: egui::Context,
    screen: Screen,
    memory: MemoryControls,
    live: LiveReadout,
    chain: Chain,
    analysis: Analysis,
    history: Arc<Mutex<History>>,
    music: [Vec<f32>; 2],
    transport: Transport,
    size: egui::Vec2,
    frames: u64,
}

impl Bench {
    /// Every stage on, both spectra with their average, a reference with its fitted curve, and a passage that is
    /// played again and again, so that the pass before it is drawn too.
    fn new(music: &[Vec<f32>; 2], width: f32, height: f32, span: TimeSpan) -> Self {
        let mut settings = Settings::default();
        settings.compressor.on = true;
        settings.limiter.drive = 6.0;
        settings.eq.bands[1].gain = -1.5;
        let rate = quartet::RATE as u32;
        let (mut chain, mut analysis) = (Chain::new(f64::from(rate)), Analysis::new(rate, 2));
        chain.set(&settings);
        analysis.set_settings(&settings);
        let window_state =
            WindowState { span, width, height, reference: REFERENCE.into(), ..WindowState::default() };
        let history = analysis.history();
        let mut bench = Self {
            ctx: egui::Context::default(),
            screen: Screen::new(window_state, None),
            memory: MemoryControls { settings, ..MemoryControls::default() },
            live: LiveReadout::default(),
            chain,
            analysis,
            history,
            music: music.clone(),
            transport: Transport { playing: true, position: Some(0) },
            size: vec2(width, height),
            frames: 0,
        };
        (0..60 * 150).for_each(|_| bench.play());
        let bands = bench.analysis.snapshot().spectrum_after.mean.to_vec();
        let figures = ReferenceFigures {
            integrated: -12.0,
            range: 5.0,
            plr: 11.0,
            true_peak: -1.0,
            seconds: 180.0,
            bands,
        };
        let tone = ToneReadout {
            sentence: "A broad difference of tone.".into(),
            fit: Some(settings.eq.bands),
            difference_db: 2.0,
            left_db: [1.0; SHARES.len()],
        };
        let load = ReferenceLoad::Ready(figures);
        bench.live.reference = Arc::new(ReferenceReadout { path: REFERENCE.into(), load, tone: Some(tone) });
        bench
    }

    /// A sixtieth of a second of music through chain and analysis, and the figures on the screen.
    fn play(&mut self) {
        let frames = quartet::RATE as usize / 60;
        let at = self.frames as usize * frames % (self.music[0].len() - frames);
        self.frames += 1;
        if at < frames {
            self.transport.position = Some(0);
        }
        let [mut left, mut right] = [0, 1].map(|ch| self.music[ch][at..at + frames].to_vec());
        let Self { chain, analysis, transport, .. } = self;
        chain.process(&mut [&mut left, &mut right], |tap| {
            analysis.feed(tap, *transport);
            *transport = transport.advanced(tap.len());
        });
        let reference = self.live.reference.clone();
        self.live.take(&self.analysis.snapshot(), &self.memory.settings);
        (self.live.reference, self.live.compressor_point) = (reference, self.chain.compressor_point());
        self.live.response = [vec![0.5; CURVE_POINTS], vec![0.5; CURVE_POINTS]];
    }

    /// Builds one frame; gives the time it took of the processor and by the clock, s.
    fn frame(&mut self) -> [f64; 2] {
        self.play();
        let input = RawInput {
            screen_rect: Some(Rect::from_min_size(Pos2::ZERO, self.size)),
            time: Some(self.frames as f64 / 60.0),
            ..RawInput::default()
        };
        let start = Instant::now();
        let before = thread_seconds(start);
        let recording = MeasuredHistory::new(&self.history);
        let (screen, live, memory) = (&mut self.screen, &self.live, &mut self.memory);
        let mut output = self.ctx.run_ui(input, |ui| {
            screen.show(ui, live, &recording, memory);
        });
        std::hint::black_box(self.ctx.tessellate(std::mem::take(&mut output.shapes), 1.0));
        let seconds = [thread_seconds(start) - before, start.elapsed().as_secs_f64()];
        output.textures_delta.clear();
        seconds
    }
}

/// `-- NAME` measures only the sizes and spans whose line holds NAME.
fn main() {
    let wanted: Vec<String> = std::env::args().skip(1).filter(|arg| !arg.starts_with("--")).collect();
    let music = quartet::mix(PASSAGE_S).map(|lane| lane.to_vec());
    println!("one frame, ms of one core (budget 2 ms, 4 ms at 3840 x 2160)");
    for (name, width, height) in
        [("900 x 600", 900.0, 600.0), ("1180 x 760", 1180.0, 760.0), ("3840 x 2160", 3840.0, 2160.0)]
    {
        for span in TimeSpan::ALL {
            let line = format!("{name:>12}  {:<10}", span.label());
            if !wanted.iter().all(|word| line.contains(word)) {
                continue;
            }
            let mut bench = Bench::new(&music, width, height, span);
            (0..30).for_each(|_| _ = bench.frame());
            let frames: Vec<[f64; 2]> = (0..300).map(|_| bench.frame().map(|s| s * 1000.0)).collect();
            // Of 300 frames.
            let [[half, most], [_, most_by_clock]] = [0, 1].map(|which| {
                let mut times: Vec<f64> = frames.iter().map(|frame| frame[which]).collect();
                times.sort_by(f64::total_cmp);
                [times[150], times[296]]
            });
            println!(
                "{line}  median {half:5.2}  99 % {most:5.2}  of budget {:4.0} %  by the clock 99 % {most_by_clock:5.2}",
                100.0 * most / budget(width)
            );
        }
    }
    if !wanted.is_empty() {
        return;
    }
    let mut bench = Bench::new(&music, 1180.0, 760.0, TimeSpan::Seconds30);
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

//! Test music: notes of a marimba and a hand drum, processed by the real chain and measured by the real
//! analysis. All figures in the pictures are measured.

use lintel::chain::Chain;
use lintel::live::{HistorySource, LiveColumn, LiveReadout, MeasuredHistory};
use lintel::meter::{Analysis, History, Snapshot, Stretch};
use lintel::settings::Settings;
use lintel::tap_ring::Transport;
use std::f32::consts::TAU;
use std::sync::{Arc, Mutex};
use testkit::Random;

/// Sample rate, Hz.
const RATE: f64 = 48_000.0;

/// Marimba notes and a drum, `seconds` long with a peak level of `peak` dBFS; always the same.
fn music(seconds: f64, peak: f32) -> Vec<[f32; 2]> {
    let frames = (seconds * RATE) as usize;
    let mut out = vec![[0.0_f32; 2]; frames];
    let mut generator = Random::new(7);
    let mut random = || generator.unit() as f32;
    let notes = [220.0_f32, 261.6, 329.6, 392.0, 440.0, 523.3];
    let mut at = 4_800.0_f32;
    while (at as usize) < frames {
        let (pitch, strength, side) = (notes[(random() * 6.0) as usize], 0.4 + 0.6 * random(), random());
        let drum = random() < 0.3;
        for i in 0..30_000.min(frames - at as usize) {
            let t = i as f32 / RATE as f32;
            let bar = (TAU * pitch * t).sin() * (-t / 0.16).exp()
                + 0.3 * (TAU * 3.93 * pitch * t).sin() * (-t / 0.03).exp();
            let drum_tone = if drum { 1.4 * (TAU * 68.0 * t).sin() * (-t / 0.09).exp() } else { 0.0 };
            let noise = 0.12 * (random() - 0.5) * (-t / 0.02).exp();
            let x = strength * (bar + drum_tone + noise);
            out[at as usize + i][0] += x * (0.5 + 0.5 * side);
            out[at as usize + i][1] += x * (1.0 - 0.5 * side);
        }
        at += 6_000.0 + 12_000.0 * random();
    }
    let highest = out.iter().flatten().fold(0.0_f32, |m, x| m.max(x.abs()));
    let gain = 10.0_f32.powf(peak / 20.0) / highest;
    out.iter_mut().flatten().for_each(|x| *x *= gain);
    out
}

/// The result of a run.
pub struct Scene {
    pub live: LiveReadout,
    pub history: Arc<Mutex<History>>,
}

/// The music after a chain with these settings.
pub fn processed(settings: &Settings, seconds: f64, peak: f32) -> Vec<[f32; 2]> {
    let mut chain = Chain::new(RATE);
    chain.set(settings);
    chain.jump();
    let music = music(seconds, peak);
    let [mut left, mut right] = [0, 1].map(|ch| music.iter().map(|frame| frame[ch]).collect::<Vec<_>>());
    chain.process(&mut [&mut left, &mut right], |_| ());
    left.into_iter().zip(right).map(|(left, right)| [left, right]).collect()
}

/// Processes `seconds` of music with a peak level of `peak` dBFS with these settings.
pub fn run(settings: &Settings, seconds: f64, peak: f32) -> Scene {
    run_measured(settings, seconds, peak).0
}

/// The same, with what the analysis measured last.
pub fn run_measured(settings: &Settings, seconds: f64, peak: f32) -> (Scene, Snapshot) {
    measured_passes(&[*settings], seconds, peak, None)
}

/// The same music once for each of these settings, as a loop plays it.
pub fn passes(all: &[Settings], seconds: f64, peak: f32) -> Scene {
    measured_passes(all, seconds, peak, None).0
}

/// The music twice, as a loop of a song of `song_s` seconds.
pub fn looped(settings: &Settings, seconds: f64, song_s: f64) -> Scene {
    measured_passes(&[*settings; 2], seconds, 0.0, Some(song_s)).0
}

fn measured_passes(all: &[Settings], seconds: f64, peak: f32, song_s: Option<f64>) -> (Scene, Snapshot) {
    let mut chain = Chain::new(RATE);
    chain.set(&all[0]);
    chain.jump();
    let mut analysis = Analysis::new(RATE as u32, 2);
    if let Some(song_s) = song_s {
        analysis.set_song_frames((song_s * RATE) as u64);
    }
    let music = music(seconds, peak);
    for settings in all {
        chain.set(settings);
        analysis.set_settings(settings);
        let mut transport = Transport { playing: true, position: Some(0) };
        for block in music.chunks(512) {
            let [mut left, mut right]: [Vec<f32>; 2] =
                [0, 1].map(|ch| block.iter().map(|frame| frame[ch]).collect());
            chain.process(&mut [&mut left, &mut right], |tap| {
                analysis.feed(tap, transport);
                transport = transport.advanced(tap.len());
            });
        }
    }
    let mut live = LiveReadout::default();
    let snapshot = analysis.snapshot();
    live.take(&snapshot, &all[all.len() - 1]);
    live.compressor_point = chain.compressor_point();
    live.makeup_db = chain.makeup_db();
    live.louder_by_db = chain.louder_by_db();
    live.listening_db = chain.readout().listening_db;
    (Scene { live, history: analysis.history() }, snapshot)
}

/// A [`HistorySource`] that owns its history.
pub struct OwnedHistory(pub Arc<Mutex<History>>);

impl HistorySource for OwnedHistory {
    fn seconds(&self) -> f64 {
        MeasuredHistory::new(&self.0).seconds()
    }
    fn read(&self, first: i64, step_s: f64, columns: &mut [LiveColumn]) {
        MeasuredHistory::new(&self.0).read(first, step_s, columns);
    }
    fn read_earlier(&self, first: i64, step_s: f64, columns: &mut [LiveColumn]) -> bool {
        MeasuredHistory::new(&self.0).read_earlier(first, step_s, columns)
    }
    fn stretch(&self, from_s: f64, to_s: f64) -> Option<Stretch> {
        MeasuredHistory::new(&self.0).stretch(from_s, to_s)
    }
    fn song_time(&self, seconds: f64) -> f64 {
        MeasuredHistory::new(&self.0).song_time(seconds)
    }
}

/// The settings of most pictures.
pub fn settings() -> Settings {
    let mut settings = Settings::default();
    settings.input.trim = -3.0;
    settings.eq.bands[1].freq = 180.0;
    settings.eq.bands[1].gain = -1.8;
    settings.eq.bands[3].gain = 0.8;
    settings.eq.bands[4].gain = 1.4;
    settings.compressor.on = true;
    settings.compressor.threshold = -20.0;
    settings.limiter.drive = 6.5;
    settings
}

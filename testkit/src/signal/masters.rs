//! Eight short masters for measuring what encoders do to peaks: each stresses something else, and each went
//! through the limiter at a ceiling of −1 dBTP. Fixed seeds.

use crate::Random;
use crate::quartet::{self, pieces::Kind};
use lintel::chain::Chain;
use lintel::meter::{LoudnessMeter, MonoAs};
use lintel::settings::Settings;
use std::f64::consts::TAU;
use std::thread;

/// A master in memory.
pub struct MasterPiece {
    /// What it stresses.
    pub name: &'static str,
    /// Sample rate, Hz.
    pub rate: u32,
    /// One or two channels, full scale ±1.
    pub planes: Vec<Vec<f32>>,
}

/// Rate of the pieces that are not the quartet's, Hz.
const RATE: u32 = 48_000;
/// −1 dBFS.
const CEILING: f32 = 0.891_251;
/// Where the excerpts of the further kinds begin: behind the empty room, s.
const EXCERPT_FROM_S: f64 = 1.0;
/// Length of the demo's mix and where its excerpt begins: everybody plays, s.
const MIX_S: f64 = 30.0;
const MIX_FROM_S: f64 = 12.0;

/// Eight masters of `seconds` (at most 10) at −1 dBTP. Each is driven to the loudness of a delivered master of
/// its kind (common practice, no source), or only brought to the ceiling where it is louder without any drive.
pub fn masters(seconds: f64) -> Vec<MasterPiece> {
    let played = |name, planes: [Vec<f32>; 2], from_s: f64| {
        let from = (from_s * quartet::RATE) as usize;
        let to = from + (seconds * quartet::RATE) as usize;
        MasterPiece {
            name,
            rate: quartet::RATE as u32,
            planes: planes.map(|lane| lane[from..to].to_vec()).to_vec(),
        }
    };
    let made = |name, planes| MasterPiece { name, rate: RATE, planes };
    let mix = thread::scope(|scope| {
        let kinds = [Kind::Bright, Kind::Bass, Kind::Sparse, Kind::Voice];
        let kinds = kinds.map(|kind| scope.spawn(move || kind.mix()));
        let mix = quartet::mix(MIX_S);
        (mix, kinds.map(|thread| thread.join().expect("a piece is made")))
    });
    let (mix, [bright, bass, sparse, voice]) = mix;
    let mut wide = played("wide", mix.clone(), MIX_FROM_S);
    widen(&mut wide.planes);
    let mut mono = played("mono", bass, EXCERPT_FROM_S);
    mono.planes.truncate(1);
    let pieces = [
        (played("transient", bright, EXCERPT_FROM_S), -14.0),
        (played("dense", mix, MIX_FROM_S), -9.0),
        (made("tonal", held_tones(seconds)), -12.0),
        (played("quiet", sparse, EXCERPT_FROM_S), -18.0),
        (wide, -11.0),
        (mono, -12.0),
        (played("speech-like", voice, EXCERPT_FROM_S), -14.0),
        (made("noise", noise(seconds)), -12.0),
    ];
    thread::scope(|scope| {
        let threads = pieces.map(|(piece, loudness)| scope.spawn(move || finished(piece, loudness)));
        threads.into_iter().map(|thread| thread.join().expect("a master is made")).collect()
    })
}

/// Twice the side signal.
fn widen(planes: &mut [Vec<f32>]) {
    let [left, right] = planes else { return };
    for (left, right) in left.iter_mut().zip(right) {
        let (mid, side) = (0.5 * (*left + *right), *left - *right);
        (*left, *right) = (mid + side, mid - side);
    }
}

/// A piece with its peak at the ceiling, driven until it is as loud as asked, LUFS.
fn finished(mut piece: MasterPiece, loudness: f64) -> MasterPiece {
    let peak = piece.planes.iter().flatten().fold(0.0_f32, |peak, x| peak.max(x.abs()));
    piece.planes.iter_mut().flatten().for_each(|x| *x *= CEILING / peak);
    // The loudness grows with the drive: nine halvings of the range leave 0.05 dB.
    let (mut low, mut high) = (0.0, 24.0);
    for _ in 0..9 {
        let middle = 0.5 * (low + high);
        let louder = loudness_of(&piece, &driven(&piece, middle)) > loudness;
        if louder { high = middle } else { low = middle }
    }
    let planes = driven(&piece, low);
    MasterPiece { planes, ..piece }
}

fn loudness_of(piece: &MasterPiece, planes: &[Vec<f32>]) -> f64 {
    let mut meter = LoudnessMeter::with_layout(piece.rate, MonoAs::Stereo.roles(planes.len()));
    meter.feed(&planes.iter().map(Vec::as_slice).collect::<Vec<_>>());
    meter.integrated()
}

/// A piece behind the limiter.
fn driven(piece: &MasterPiece, drive_db: f64) -> Vec<Vec<f32>> {
    let mut settings = Settings::default();
    settings.limiter.drive = drive_db as f32;
    let mut chain = Chain::new(f64::from(piece.rate));
    chain.set(&settings);
    chain.reset();
    let latency = chain.latency();
    let mut lanes = [&piece.planes[0], &piece.planes[piece.planes.len() - 1]].map(Clone::clone);
    lanes.iter_mut().for_each(|lane| lane.resize(lane.len() + latency, 0.0));
    let [left, right] = &mut lanes;
    chain.process(&mut [left, right], |_| {});
    lanes.iter().take(piece.planes.len()).map(|lane| lane[latency..].to_vec()).collect()
}

/// Chords of held tones with partials that beat.
fn held_tones(seconds: f64) -> Vec<Vec<f32>> {
    let chords = [[146.8, 220.0, 349.2], [130.8, 196.0, 329.6], [116.5, 233.1, 293.7]];
    let lane = |detune: f64| {
        let frame = |n: usize| {
            let t = n as f64 / f64::from(RATE);
            let edge = (t.fract().min(1.0 - t.fract()) * 20.0).min(1.0);
            let chord = chords[t as usize % chords.len()];
            let partial = |f: f64, k: i32| (TAU * f * detune * f64::from(k) * t).sin() / f64::from(k);
            let sum: f64 = chord.iter().map(|&f| (1..9).map(|k| partial(f, k)).sum::<f64>()).sum();
            (0.28 * edge * sum) as f32
        };
        (0..(seconds * f64::from(RATE)) as usize).map(frame).collect()
    };
    vec![lane(1.0), lane(1.003)]
}

/// Noise with about 3 dB less per octave, by three one-pole low-passes over white noise; a different one in each
/// channel.
fn noise(seconds: f64) -> Vec<Vec<f32>> {
    let lane = |seed: u64| {
        let mut random = Random::new(seed);
        let mut poles = [0.0f64; 3];
        let frame = |_| {
            let white = random.signed();
            for (pole, keep) in poles.iter_mut().zip([0.99, 0.9, 0.5]) {
                *pole = keep * *pole + (1.0 - keep) * white;
            }
            (2.0 * poles[0] + 0.9 * poles[1] + 0.5 * poles[2] + 0.15 * white) as f32
        };
        (0..(seconds * f64::from(RATE)) as usize).map(frame).collect()
    };
    vec![lane(71), lane(72)]
}

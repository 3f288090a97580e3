//! The demo mix: a marimba quartet that records itself in a boathouse. A length in seconds in, two
//! channels of 24-bit samples out (as f32, full scale = ±1.0), the same on every machine.
//!
//! Everything is computed with IEEE arithmetic and `libm` (the platform's sine may differ in the last
//! bit) from one fixed seed. The result is what a simple bounce gives: two seconds of the empty room,
//! soft and loud passages, a long ring, normalised a little too hot, so that the very loudest hits
//! have flat tops.

mod instruments;
pub mod pieces;
mod room;
mod score;
mod voice;

use crate::Random;
use libm::{exp2, rint, tanh};
use score::{Note, Voice};

/// Sample rate in Hz.
pub const RATE: f64 = 44_100.0;
/// Full scale of a 24-bit sample.
const FULL: f64 = 8_388_608.0;
/// 20 · log10 2.
const DB_PER_OCTAVE: f64 = 6.020_599_913;
const SEED: u64 = 0x4C69_6E74_656C;

/// Shortest and longest mix, seconds.
pub const LENGTHS: std::ops::RangeInclusive<f64> = 8.0..=180.0;

/// The tracks of the session and where each stands: across, away from the pair, height in metres.
/// The marimba is two and a half metres wide: three tracks along it.
const PLACES: [[f64; 3]; TRACKS] = [
    [-1.35, 1.9, 0.9],
    [-0.35, 1.8, 0.9],
    [0.75, 1.9, 0.9],
    [0.25, 2.6, 0.8],
    [2.0, 2.0, 1.2],
    [-2.1, 2.3, 0.7],
    [0.0, 1.0, 1.6],
];
const TRACKS: usize = 7;
const BASS: usize = 3;
const SHAKER: usize = 4;
const DRUM: usize = 5;
const VOICE: usize = 6;

/// How a piece is recorded.
struct Setup {
    /// Gain of each track.
    levels: [f64; TRACKS],
    /// Gain of the room's ring.
    ring: f64,
    /// Drive into the soft saturation of the bus, dB over the peak's level 1; 0 = none.
    saturation_db: f64,
    /// How far the loudest peak would pass full scale if it could, dB.
    over_full_scale_db: f64,
}

/// The demo's mix: a bounce a little too hot.
const DEMO: Setup = Setup {
    levels: [1.0, 1.0, 1.0, 1.15, 1.0, 1.0, 0.0],
    ring: 0.028,
    saturation_db: 0.0,
    over_full_scale_db: 1.4,
};

/// Makes the demo's mix: left and right, `seconds` long.
pub fn mix(seconds: f64) -> [Vec<f32>; 2] {
    let seconds = seconds.clamp(*LENGTHS.start(), *LENGTHS.end());
    let (lead, bars) = plan(seconds);
    let mut random = Random::new(SEED);
    let notes = score::play(bars, &mut random);
    record(seconds, lead, &notes, &DEMO, &mut random)
}

/// Plays notes in the room, `lead` seconds after its start, and records them.
fn record(seconds: f64, lead: f64, notes: &[Note], setup: &Setup, random: &mut Random) -> [Vec<f32>; 2] {
    let frames = (seconds * RATE) as usize;
    let mut tracks = vec![vec![0.0; frames]; TRACKS];
    for note in notes {
        strike(&mut tracks, lead, note, random);
    }
    instruments::boom(&mut tracks[BASS], 75.0, 8.0, 4.5);

    let mut out = [vec![0.0; frames], vec![0.0; frames]];
    let mut send = vec![0.0; frames];
    for ((track, place), level) in tracks.iter_mut().zip(PLACES).zip(setup.levels) {
        if level == 0.0 {
            continue;
        }
        for (sample, send) in track.iter_mut().zip(&mut send) {
            *sample *= level;
            *send += *sample;
        }
        room::record(&mut out, track, place);
    }
    room::ring(&mut out, &send, setup.ring);
    room::microphones(&mut out);
    if setup.saturation_db > 0.0 {
        scale(&mut out, exp2(setup.saturation_db / DB_PER_OCTAVE));
        out.iter_mut().flatten().for_each(|x| *x = tanh(*x));
    }
    scale(&mut out, exp2(setup.over_full_scale_db / DB_PER_OCTAVE));
    room::floor_noise(&mut out, random);
    out.map(|channel| channel.iter().map(|&x| to_24_bit(x)).collect())
}

/// Brings the peak to a level.
fn scale(out: &mut [Vec<f64>; 2], level: f64) {
    let peak = out.iter().flatten().fold(0.0_f64, |peak, x| peak.max(x.abs()));
    let gain = level / peak;
    out.iter_mut().flatten().for_each(|x| *x *= gain);
}

/// Seconds of empty room before the first bar, and bars that leave room for the ring. A short mix has
/// a shorter lead-in and ring, but it has them.
fn plan(seconds: f64) -> (f64, usize) {
    let lead = if seconds < 20.0 { 1.2 } else { 2.0 };
    let ring = if seconds < 20.0 { 3.2 } else { 7.0 };
    (lead, ((seconds - lead - ring) / score::BAR).max(1.0) as usize)
}

/// Second at which the first sound reaches the nearer microphone: what a search for the beginning has
/// to find.
pub fn first_sound(seconds: f64) -> f64 {
    let (lead, bars) = plan(seconds);
    let notes = score::play(bars, &mut Random::new(SEED));
    let arrival = |note: &Note| lead + note.time + room::travel(PLACES[track_of(note.voice)]);
    notes.iter().map(arrival).fold(f64::MAX, f64::min)
}

/// The track that a note is played on.
fn track_of(voice: Voice) -> usize {
    match voice {
        Voice::Marimba { pitch: 0..=59 } => 0,
        Voice::Marimba { pitch: 60..=71 } => 1,
        Voice::Marimba { .. } => 2,
        Voice::Bass { .. } => BASS,
        Voice::Shaker => SHAKER,
        Voice::Drum(_) => DRUM,
        Voice::Sung { .. } => VOICE,
    }
}

fn strike(tracks: &mut [Vec<f64>], lead: f64, note: &Note, random: &mut Random) {
    let (time, strength) = (lead + note.time, note.strength);
    let track = &mut tracks[track_of(note.voice)];
    match note.voice {
        Voice::Marimba { pitch } => instruments::marimba(track, time, hertz(pitch), strength, random),
        Voice::Bass { pitch, length } => {
            instruments::bass(track, time, hertz(pitch), length, strength, random);
        }
        Voice::Shaker => instruments::shaker(track, time, strength, random),
        Voice::Drum(hand) => instruments::drum(track, time, hand, strength, random),
        Voice::Sung { pitch, length, vowel } => {
            voice::sing(track, [time, length], hertz(pitch), strength, vowel.into(), random);
        }
    }
}

/// Equal temperament, A4 (69) = 440 Hz.
fn hertz(pitch: u8) -> f64 {
    440.0 * exp2((f64::from(pitch) - 69.0) / 12.0)
}

/// The nearest 24-bit value, held at full scale. An f32 holds all of them exactly.
fn to_24_bit(x: f64) -> f32 {
    (rint(x * FULL).clamp(-FULL, FULL - 1.0) / FULL) as f32
}

#[cfg(test)]
mod tests {
    use super::*;

    fn peak(signal: &[f32]) -> f32 {
        signal.iter().fold(0.0, |peak, x| peak.max(x.abs()))
    }

    /// What the demo promises about its source: empty room first, full scale at the loudest, a few
    /// flat tops and not many, a ring that has nearly died at the end.
    #[test]
    fn a_short_mix_is_a_hot_bounce_with_room_at_both_ends() {
        let [left, right] = mix(12.0);
        let second = RATE as usize;
        assert_eq!(left.len(), 12 * second);
        let lead = peak(&left[..second]).max(peak(&right[..second]));
        assert!(lead > 0.0 && lead < 0.001, "the lead-in is the room alone: {lead}");
        let mean = left.iter().map(|x| f64::from(*x)).sum::<f64>() / left.len() as f64;
        assert!(mean.abs() < 1e-4, "constant offset {mean}");
        let end = peak(&left[left.len() - second / 2..]);
        assert!(end < 0.03, "the ring has died: {end}");
        let full = ((FULL - 1.0) / FULL) as f32;
        let flat = [&left, &right]
            .iter()
            .flat_map(|channel| channel.windows(3))
            .filter(|w| w.iter().all(|x| *x >= full || *x <= -full))
            .count();
        assert!((1..400).contains(&flat), "flat tops: {flat}");
    }

    /// Above the room's noise nothing is heard before the first note arrives, and soon after it is.
    #[test]
    fn the_first_sound_comes_when_the_score_says() {
        let [left, right] = mix(12.0);
        let loud = |x: &f32| x.abs() > 0.002;
        let at = left.iter().position(loud).into_iter().chain(right.iter().position(loud)).min();
        let late = at.unwrap() as f64 / RATE - first_sound(12.0);
        // A finger is heard on the bass 4 ms before its string.
        assert!((-0.004..0.003).contains(&late), "{late} s late");
    }

    #[test]
    fn every_sample_is_a_24_bit_one_and_the_seed_decides() {
        let (first, second) = (mix(8.0), mix(8.0));
        assert!(first == second);
        assert!(first.iter().flatten().all(|x| (f64::from(*x) * FULL).fract() == 0.0));
    }
}

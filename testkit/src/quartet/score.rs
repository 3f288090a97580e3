//! What the quartet plays: a list of notes from a number of bars. Times in seconds from the first
//! beat, pitches as MIDI note numbers, strengths 0 … 1.

use super::instruments::Hand;
use crate::Random;

/// Seconds in a sixteenth: 100 beats a minute.
pub const SIXTEENTH: f64 = 0.15;
/// Seconds in a bar of four beats.
pub const BAR: f64 = 16.0 * SIXTEENTH;

/// One stroke.
pub struct Note {
    pub time: f64,
    pub strength: f64,
    pub voice: Voice,
}

/// Who plays it, and what.
#[derive(Clone, Copy)]
pub enum Voice {
    Marimba {
        pitch: u8,
    },
    /// Damped after `length` seconds.
    Bass {
        pitch: u8,
        length: f64,
    },
    Shaker,
    Drum(Hand),
    /// Held for `length` seconds; `vowel` counts round.
    Sung {
        pitch: u8,
        length: f64,
        vowel: u8,
    },
}

/// What a bar asks of the players.
#[derive(Clone, Copy)]
struct Part {
    /// Strength of the marimba's left hand; the others follow it.
    loud: f64,
    melody: Melody,
    bass: bool,
    shaker: bool,
    drum: bool,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Melody {
    Rest,
    Single,
    Octaves,
    /// No pattern: the chord is rolled.
    Roll,
}

const fn part(loud: f64, melody: Melody, bass: bool, shaker: bool, drum: bool) -> Part {
    Part { loud, melody, bass, shaker, drum }
}

/// Alone and soft; with the bass; all four; a breath; all they have.
const ALONE: Part = part(0.32, Melody::Rest, false, false, false);
const JOINED: Part = part(0.36, Melody::Rest, true, true, false);
const WALKING: Part = part(0.46, Melody::Single, true, true, false);
const TOGETHER: Part = part(0.68, Melody::Octaves, true, true, true);
const BREATH: Part = part(0.30, Melody::Roll, true, false, false);
const ALL: Part = part(0.88, Melody::Octaves, true, true, true);

/// Five notes of the chord from low to high, and the bass under them: eight bars in D, then again.
const CHORDS: [([u8; 5], u8); 8] = [
    ([50, 57, 60, 64, 65], 38),
    ([55, 59, 62, 64, 69], 43),
    ([50, 57, 60, 64, 65], 38),
    ([53, 57, 58, 62, 65], 34),
    ([53, 57, 60, 65, 67], 41),
    ([52, 55, 60, 62, 67], 36),
    ([55, 58, 62, 65, 69], 43),
    ([52, 57, 61, 64, 67], 33),
];

/// The right hand over each chord: sixteenth in the bar, pitch, and how many sixteenths it is rolled
/// (0: one stroke).
const TUNE: [&[(u8, u8, u8)]; 8] = [
    &[(0, 77, 0), (3, 76, 0), (6, 74, 0), (10, 69, 0), (13, 72, 0)],
    &[(0, 71, 6), (6, 74, 0), (10, 79, 0), (13, 76, 0)],
    &[(0, 77, 0), (3, 79, 0), (6, 81, 0), (10, 76, 0), (12, 77, 0), (14, 74, 0)],
    &[(0, 74, 8), (10, 70, 0), (13, 72, 0)],
    &[(0, 81, 0), (3, 79, 0), (6, 77, 0), (10, 79, 0), (13, 77, 0)],
    &[(0, 76, 6), (6, 74, 0), (10, 72, 0), (13, 74, 0)],
    &[(0, 82, 0), (3, 81, 0), (6, 77, 0), (10, 74, 0), (12, 77, 0), (14, 79, 0)],
    &[(0, 76, 10), (12, 73, 0), (14, 76, 0)],
];

/// The left hand walks through the chord: 3 + 3 + 4 + 3 + 3.
const WALK: [usize; 16] = [0, 2, 4, 1, 3, 2, 0, 3, 4, 2, 1, 4, 3, 0, 2, 3];
const ACCENTS: [usize; 5] = [0, 3, 6, 10, 13];

/// The bar's place in the piece. A short piece keeps one soft bar and goes to the loudest at once.
fn plan(bar: usize, bars: usize) -> Part {
    if bars < 8 {
        return if bar == 0 { JOINED } else { ALL };
    }
    match 18 * bar / bars {
        0..=1 => ALONE,
        2..=3 => JOINED,
        4..=6 => WALKING,
        7..=10 => TOGETHER,
        11..=12 => BREATH,
        _ => ALL,
    }
}

/// The piece: `bars` bars and, after them, one last chord, rolled up and let ring.
pub fn play(bars: usize, random: &mut Random) -> Vec<Note> {
    let mut notes = Vec::new();
    for bar in 0..bars {
        let part = plan(bar, bars);
        let (chord, low) = CHORDS[bar % CHORDS.len()];
        let start = bar as f64 * BAR;
        if part.melody == Melody::Roll {
            roll(&mut notes, start, BAR * 0.97, &chord[1..4], [0.22, 0.55], random);
        } else {
            left_hand(&mut notes, start, &chord, part.loud);
        }
        right_hand(&mut notes, start, TUNE[bar % TUNE.len()], part, random);
        if part.bass {
            bass(&mut notes, start, low, part.loud);
        }
        if part.shaker {
            shaker(&mut notes, start, part.loud);
        }
        if part.drum {
            drum(&mut notes, start, part.loud, bar);
        }
    }
    ending(&mut notes, bars as f64 * BAR, random);
    // Hands: some milliseconds early or late, some transients a little stronger.
    for note in &mut notes {
        note.time += 0.005 * random.signed();
        note.strength = (note.strength * (1.0 + 0.10 * random.signed())).min(1.0);
    }
    notes
}

fn left_hand(notes: &mut Vec<Note>, start: f64, chord: &[u8; 5], loud: f64) {
    for (step, &k) in WALK.iter().enumerate() {
        let accent = if ACCENTS.contains(&step) { 1.0 } else { 0.62 };
        notes.push(Note {
            time: start + step as f64 * SIXTEENTH,
            strength: loud * accent * 0.8,
            voice: Voice::Marimba { pitch: chord[k] },
        });
    }
}

fn right_hand(notes: &mut Vec<Note>, start: f64, tune: &[(u8, u8, u8)], part: Part, random: &mut Random) {
    let octaves = match part.melody {
        Melody::Rest | Melody::Roll => return,
        Melody::Single => 1,
        Melody::Octaves => 2,
    };
    for &(step, pitch, rolled) in tune {
        let time = start + f64::from(step) * SIXTEENTH;
        if rolled > 0 {
            let length = f64::from(rolled) * SIXTEENTH;
            let strength = [part.loud * 0.55, part.loud * 0.85];
            roll(notes, time, length, &[pitch, pitch - 12][..octaves], strength, random);
        } else {
            for octave in 0..octaves as u8 {
                let strength = (part.loud * 1.15).min(1.0);
                let voice = Voice::Marimba { pitch: pitch - 12 * octave };
                notes.push(Note { time, strength, voice });
            }
        }
    }
}

/// Alternating transients on the given pitches, about fourteen a second, from one strength to another.
fn roll(
    notes: &mut Vec<Note>,
    start: f64,
    length: f64,
    pitches: &[u8],
    strength: [f64; 2],
    random: &mut Random,
) {
    let transients = (length * 14.0) as usize;
    for i in 0..transients {
        let x = i as f64 / transients as f64;
        notes.push(Note {
            time: start + length * (x + 0.012 * random.signed()),
            strength: (strength[0] + (strength[1] - strength[0]) * x) * 0.7,
            voice: Voice::Marimba { pitch: pitches[i % pitches.len()] },
        });
    }
}

fn bass(notes: &mut Vec<Note>, start: f64, low: u8, loud: f64) {
    // The root, the root again before the third beat, the fifth, a step up.
    for (step, up, length, weight) in
        [(0, 0, 5.6, 1.0), (6, 0, 3.6, 0.75), (10, 7, 2.8, 0.8), (13, 12, 2.6, 0.6)]
    {
        notes.push(Note {
            time: start + f64::from(step) * SIXTEENTH,
            strength: (0.25 + 0.75 * loud) * weight,
            voice: Voice::Bass { pitch: low + up, length: length * SIXTEENTH },
        });
    }
}

fn shaker(notes: &mut Vec<Note>, start: f64, loud: f64) {
    for step in 0..16 {
        let weight = [1.0, 0.35, 0.6, 0.4][step % 4];
        notes.push(Note {
            time: start + step as f64 * SIXTEENTH,
            strength: (0.15 + 0.65 * loud) * weight,
            voice: Voice::Shaker,
        });
    }
}

fn drum(notes: &mut Vec<Note>, start: f64, loud: f64, bar: usize) {
    let transients: &[(u8, Hand, f64)] = if bar % 4 == 3 {
        &[
            (0, Hand::Middle, 1.0),
            (4, Hand::Edge, 0.7),
            (6, Hand::Middle, 0.7),
            (10, Hand::Edge, 0.8),
            (12, Hand::Edge, 0.6),
            (13, Hand::Edge, 0.7),
            (14, Hand::Edge, 0.85),
            (15, Hand::Edge, 1.0),
        ]
    } else {
        &[
            (0, Hand::Middle, 1.0),
            (4, Hand::Edge, 0.75),
            (7, Hand::Edge, 0.35),
            (8, Hand::Middle, 0.55),
            (10, Hand::Middle, 0.85),
            (12, Hand::Edge, 0.9),
            (15, Hand::Edge, 0.4),
        ]
    };
    for &(step, hand, weight) in transients {
        notes.push(Note {
            time: start + f64::from(step) * SIXTEENTH,
            strength: (loud * 1.12).min(1.0) * weight,
            voice: Voice::Drum(hand),
        });
    }
}

/// A roll that grows for four beats, then one stroke by everybody.
fn ending(notes: &mut Vec<Note>, start: f64, random: &mut Random) {
    roll(notes, start, 4.0 * SIXTEENTH, &[62, 69, 66, 74], [0.3, 0.9], random);
    let time = start + 4.0 * SIXTEENTH;
    for pitch in [50, 57, 62, 66, 69, 74, 78] {
        notes.push(Note { time, strength: 0.66, voice: Voice::Marimba { pitch } });
    }
    notes.push(Note { time, strength: 0.8, voice: Voice::Bass { pitch: 38, length: 6.0 } });
    notes.push(Note { time, strength: 0.7, voice: Voice::Drum(Hand::Middle) });
    notes.push(Note { time, strength: 0.5, voice: Voice::Shaker });
}

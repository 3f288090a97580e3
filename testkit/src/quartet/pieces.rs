//! More kinds of piece from the same boathouse, for measuring: each stresses something else.
//!
//! All are recorded and normalised like the demo's mix, but to full scale exactly: no flat tops, so
//! that what a limiter does is all that changes.

use super::instruments::Hand;
use super::score::{Note, Voice};
use super::{Setup, record};
use crate::Random;

/// A kind of piece.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Everybody plays all the time, close to the microphones, on a bus with soft saturation.
    Dense,
    /// One hummed line over a few soft notes.
    Voice,
    /// Single notes and hits with rests between them.
    Sparse,
    /// Shaker, the edge of the drum and the shortest bars: energy above 5 kHz.
    Bright,
    /// Long low notes of the bass with the middle of the drum.
    Bass,
}

/// All kinds.
pub const KINDS: [Kind; 5] = [Kind::Dense, Kind::Voice, Kind::Sparse, Kind::Bright, Kind::Bass];

/// Length of each piece, and of the empty room in front, s.
const SECONDS: f64 = 24.0;
const LEAD_S: f64 = 0.3;

/// Roots and chords (five notes, low to high) that all pieces walk through.
const CHORDS: [(u8, [u8; 5]); 4] = [
    (38, [50, 57, 62, 65, 69]),
    (34, [50, 53, 58, 62, 65]),
    (41, [53, 57, 60, 65, 69]),
    (36, [52, 55, 60, 64, 67]),
];

impl Kind {
    /// A file's name, without ending.
    pub fn name(self) -> &'static str {
        match self {
            Self::Dense => "boathouse-dense",
            Self::Voice => "boathouse-voice",
            Self::Sparse => "boathouse-sparse",
            Self::Bright => "boathouse-bright",
            Self::Bass => "boathouse-bass",
        }
    }

    /// Makes the piece: left and right, 24 s, 24-bit samples at [`super::RATE`], peak at full scale.
    pub fn mix(self) -> [Vec<f32>; 2] {
        let mut random = Random::new(0x626F_6174 + self as u64);
        let notes = self.notes(&mut random);
        record(SECONDS, LEAD_S, &notes, &self.setup(), &mut random)
    }

    fn setup(self) -> Setup {
        // Marimba (three tracks), bass, shaker, drum, voice.
        let (levels, ring, saturation_db) = match self {
            Self::Dense => ([0.9, 0.9, 0.9, 1.2, 1.5, 1.1, 0.0], 0.012, 12.0),
            Self::Voice => ([0.3, 0.3, 0.3, 0.3, 0.2, 0.3, 1.6], 0.028, 0.0),
            Self::Sparse => ([1.0, 1.0, 1.0, 1.0, 1.0, 0.8, 0.0], 0.034, 0.0),
            Self::Bright => ([0.5, 0.6, 0.9, 0.4, 5.0, 0.9, 0.0], 0.020, 3.0),
            Self::Bass => ([0.3, 0.3, 0.3, 2.2, 0.6, 1.2, 0.0], 0.016, 3.0),
        };
        Setup { levels, ring, saturation_db, over_full_scale_db: 0.0 }
    }

    fn notes(self, random: &mut Random) -> Vec<Note> {
        let mut notes = Vec::new();
        let beats_per_minute = match self {
            Self::Dense => 126.0,
            Self::Voice | Self::Sparse => 72.0,
            Self::Bright => 112.0,
            Self::Bass => 92.0,
        };
        let sixteenth = 15.0 / beats_per_minute;
        let bars = ((SECONDS - LEAD_S - 1.2) / (16.0 * sixteenth)) as usize;
        for bar in 0..bars {
            let (low, chord) = CHORDS[bar % CHORDS.len()];
            for step in 0..16 {
                let time = (bar * 16 + step) as f64 * sixteenth;
                let mut add = |strength: f64, voice: Voice| notes.push(Note { time, strength, voice });
                match self {
                    Self::Dense => dense(step, low, &chord, sixteenth, &mut add),
                    Self::Voice => voice(bar, step, low, &chord, sixteenth, &mut add),
                    Self::Sparse => sparse(bar, step, low, &chord, &mut add),
                    Self::Bright => bright(step, low, &chord, sixteenth, &mut add),
                    Self::Bass => bass(bar, step, low, sixteenth, &mut add),
                }
            }
        }
        // Hands: some milliseconds early or late, some hits a little stronger.
        for note in &mut notes {
            note.time = (note.time + 0.003 * random.signed()).max(0.0);
            note.strength = (note.strength * (1.0 + 0.10 * random.signed())).min(1.0);
        }
        notes
    }
}

type Add<'a> = dyn FnMut(f64, Voice) + 'a;

/// The drum on every beat, its edge on two and four, everything else in eighths and sixteenths.
fn dense(step: usize, low: u8, chord: &[u8; 5], sixteenth: f64, add: &mut Add) {
    if step.is_multiple_of(4) {
        add(1.0, Voice::Drum(Hand::Middle));
    }
    if step % 8 == 4 {
        add(0.95, Voice::Drum(Hand::Edge));
    }
    add([0.9, 0.5, 0.8, 0.5][step % 4], Voice::Shaker);
    if step.is_multiple_of(2) {
        let up = [0, 0, 12, 0, 7, 0, 12, 7][step / 2];
        add(0.9, Voice::Bass { pitch: low + up, length: 1.9 * sixteenth });
    }
    add(0.7, Voice::Marimba { pitch: chord[[0, 2, 4, 1, 3, 2, 0, 3][step % 8]] });
    if step.is_multiple_of(2) {
        add(0.7, Voice::Marimba { pitch: chord[[4, 3, 2, 4, 1, 3, 4, 2][step / 2]] + 12 });
    }
    if step % 4 == 2 {
        chord[1..4].iter().for_each(|&pitch| add(0.6, Voice::Marimba { pitch: pitch + 12 }));
    }
}

/// A line of two to four notes a bar, the bass and a chord under it, soft.
fn voice(bar: usize, step: usize, low: u8, chord: &[u8; 5], sixteenth: f64, add: &mut Add) {
    /// Step, note of the chord, length in sixteenths.
    const LINES: [&[(usize, usize, f64)]; 4] = [
        &[(0, 2, 5.5), (6, 3, 3.5), (10, 4, 5.5)],
        &[(0, 3, 7.5), (8, 2, 3.5), (12, 1, 3.5)],
        &[(0, 4, 3.5), (4, 3, 3.5), (8, 2, 7.5)],
        &[(0, 2, 11.5), (12, 3, 3.5)],
    ];
    for (n, &(_, note, length)) in LINES[bar % 4].iter().enumerate().filter(|(_, note)| note.0 == step) {
        let strength = [0.75, 0.9, 0.65][n % 3];
        add(strength, Voice::Sung { pitch: chord[note], length: length * sixteenth, vowel: (bar + n) as u8 });
    }
    if step == 0 {
        add(0.5, Voice::Bass { pitch: low, length: 12.0 * sixteenth });
    }
    if step % 8 == 4 {
        chord[..3].iter().for_each(|&pitch| add(0.3, Voice::Marimba { pitch }));
    }
}

/// A note or two a bar, now and then a hit on the drum.
fn sparse(bar: usize, step: usize, low: u8, chord: &[u8; 5], add: &mut Add) {
    match (bar % 4, step) {
        (0, 0) | (2, 8) => add(0.8, Voice::Marimba { pitch: chord[4] + 12 }),
        (0, 10) => add(0.4, Voice::Marimba { pitch: chord[2] }),
        (1, 0) => add(0.7, Voice::Drum(Hand::Middle)),
        (1, 6) | (3, 0) => add(0.6, Voice::Marimba { pitch: chord[0] }),
        (2, 0) => add(0.7, Voice::Bass { pitch: low, length: 2.0 }),
        (3, 12) => add(0.9, Voice::Drum(Hand::Edge)),
        (3, 4) => add(0.3, Voice::Shaker),
        _ => {}
    }
}

/// Shaker throughout, the edge of the drum, the marimba two octaves up.
fn bright(step: usize, low: u8, chord: &[u8; 5], sixteenth: f64, add: &mut Add) {
    add([1.0, 0.6, 0.85, 0.6][step % 4], Voice::Shaker);
    if [0, 3, 6, 10, 12, 14].contains(&step) {
        add([0.9, 0.7][step % 2], Voice::Drum(Hand::Edge));
    }
    if step % 2 == 1 || step.is_multiple_of(8) {
        add(0.9, Voice::Marimba { pitch: chord[[4, 2, 3, 1, 4, 3, 2, 0][step / 2]] + 24 });
    }
    if step == 0 || step == 10 {
        add(0.5, Voice::Bass { pitch: low, length: 3.0 * sixteenth });
    }
}

/// Long low notes, the drum's middle, a little time kept above.
fn bass(bar: usize, step: usize, low: u8, sixteenth: f64, add: &mut Add) {
    // Not below the open lowest string of an upright bass, E1 (28).
    let root = (low - 12).max(28);
    for (at, up, length) in
        [(0, 0, 5.5), (6, 12, 1.8), (8, 0, 3.6), (12, if bar.is_multiple_of(2) { 7 } else { 10 }, 3.6)]
    {
        if at == step {
            add(0.95, Voice::Bass { pitch: root + up, length: length * sixteenth });
        }
    }
    if [0, 7, 10].contains(&step) {
        add([1.0, 0.7][step % 2], Voice::Drum(Hand::Middle));
    }
    if step % 8 == 4 {
        add(0.6, Voice::Drum(Hand::Edge));
    }
    if step.is_multiple_of(2) {
        add(0.5, Voice::Shaker);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Mean square of what a one-pole high-pass at `hz` leaves, over that of the whole, dB.
    fn above(lane: &[f32], hz: f64) -> f64 {
        let keep = libm::exp(-std::f64::consts::TAU * hz / super::super::RATE);
        let (mut low, mut high, mut all) = (0.0, 0.0, 0.0);
        for &x in lane {
            let x = f64::from(x);
            low = keep * low + (1.0 - keep) * x;
            high += (x - low) * (x - low);
            all += x * x;
        }
        10.0 * (high / all).log10()
    }

    /// Peak over root mean square, dB.
    fn crest(lanes: &[Vec<f32>; 2]) -> f64 {
        let (peak, sum) = lanes.iter().flatten().fold((0.0_f64, 0.0), |(peak, sum), &x| {
            let x = f64::from(x);
            (peak.max(x.abs()), sum + x * x)
        });
        20.0 * (peak / (sum / (2 * lanes[0].len()) as f64).sqrt()).log10()
    }

    /// What each is made for, beside the others; full scale, and no flat tops.
    #[test]
    fn each_piece_is_what_its_name_says() {
        let pieces = KINDS.map(|kind| (kind, kind.mix()));
        let of = |kind: Kind| &pieces.iter().find(|piece| piece.0 == kind).unwrap().1;
        for (kind, lanes) in &pieces {
            let peak = lanes.iter().flatten().fold(0.0_f32, |peak, x| peak.max(x.abs()));
            assert!((0.99..=1.0).contains(&peak), "{kind:?}: {peak}");
            let flat = lanes.iter().flat_map(|x| x.windows(2)).filter(|w| w[0] == w[1] && w[0].abs() > 0.99);
            assert_eq!(flat.count(), 0, "{kind:?}");
        }
        for kind in [Kind::Voice, Kind::Sparse, Kind::Bright] {
            assert!(crest(of(kind)) > crest(of(Kind::Dense)) + 1.0, "{kind:?}: {}", crest(of(kind)));
        }
        for kind in [Kind::Dense, Kind::Voice, Kind::Sparse, Kind::Bass] {
            let (bright, other) = (above(&of(Kind::Bright)[0], 5000.0), above(&of(kind)[0], 5000.0));
            assert!(bright > other + 6.0, "{kind:?}: {other}, bright: {bright}");
            if kind != Kind::Bass {
                let (bass, other) = (above(&of(Kind::Bass)[0], 200.0), above(&of(kind)[0], 200.0));
                assert!(bass < other - 1.0, "{kind:?}: {other}, bass: {bass}");
            }
        }
    }
}

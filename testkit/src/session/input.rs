//! Input of every kind, music among it: f32 samples, full scale = ±1.0.

use super::Dice;
use crate::Random;

/// What one stretch of the input is made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    Silence,
    Music,
    Loud,
    Dc,
    Square,
    Clicks,
    Denormal,
    NotANumber,
    Infinite,
    Huge,
    Everything,
}

const KINDS: [Kind; 14] = [
    Kind::Silence,
    Kind::Silence,
    Kind::Music,
    Kind::Music,
    Kind::Music,
    Kind::Loud,
    Kind::Dc,
    Kind::Square,
    Kind::Clicks,
    Kind::Denormal,
    Kind::NotANumber,
    Kind::Infinite,
    Kind::Huge,
    Kind::Everything,
];

/// A source of input that changes its kind now and then.
#[derive(Clone, Debug)]
pub struct Input {
    kind: Kind,
    phase: f32,
    step: f32,
    random: Random,
}

impl Default for Input {
    fn default() -> Self {
        Self::new()
    }
}

impl Input {
    pub fn new() -> Self {
        Self { kind: Kind::Music, phase: 0.0, step: 0.03, random: Random::new(1) }
    }

    /// Goes on with another kind.
    pub fn change(&mut self, dice: &mut impl Dice) {
        self.kind = KINDS[dice.below(KINDS.len())];
        self.step = 0.001 + dice.share() * dice.share() * 2.0;
        self.random = Random::new(dice.below(1 << 30) as u64);
    }

    /// The next sample.
    pub fn sample(&mut self) -> f32 {
        let draw = (self.random.bits() >> 40) as u32;
        let noise = draw as f32 / (1 << 23) as f32 - 1.0;
        self.phase = (self.phase + self.step) % std::f32::consts::TAU;
        let wave = self.phase.sin();
        match self.kind {
            Kind::Silence => 0.0,
            Kind::Music => 0.7 * wave + 0.05 * noise,
            Kind::Loud => 8.0 * noise,
            Kind::Dc => 0.9,
            Kind::Square => wave.signum(),
            Kind::Clicks => {
                if draw.is_multiple_of(701) {
                    1000.0 * noise
                } else {
                    0.0
                }
            }
            Kind::Denormal => 1e-40 * noise,
            Kind::NotANumber => {
                if draw.is_multiple_of(3) {
                    f32::NAN
                } else {
                    0.3 * wave
                }
            }
            Kind::Infinite => {
                if draw.is_multiple_of(5) {
                    f32::INFINITY.copysign(noise)
                } else {
                    0.3 * wave
                }
            }
            Kind::Huge => {
                if draw.is_multiple_of(2) {
                    1e30_f32.copysign(noise)
                } else {
                    f32::MAX * noise
                }
            }
            Kind::Everything => [
                f32::NAN,
                -f32::NAN,
                f32::INFINITY,
                f32::NEG_INFINITY,
                1e30,
                f32::MIN,
                f32::MIN_POSITIVE / 2.0,
                -0.0,
                1.0,
                noise,
            ][draw as usize % 10],
        }
    }
}

/// What the chain takes such a sample for: nothing where it is no number, ±1000 (+60 dBFS) where it is
/// more than any sound. Written down here once more, from the chain's promise.
pub fn taken_for(x: f32) -> f32 {
    if x.is_finite() { x.clamp(-1000.0, 1000.0) } else { 0.0 }
}

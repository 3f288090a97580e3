//! Word length: the last step of the chain. Rounds the output to words of 24, 20 or 16 bits with dither,
//! for a host that writes or sends words and would cut the samples off.
//!
//! Off by default: most hosts take floating-point samples and dither once, in their own export. With it on,
//! no sample is above the ceiling of its moment or above the largest word, so without the limiter
//! whatever is over full scale is clipped. A file that Lintel writes is rounded by its writer instead,
//! with the same [`Quantiser`].

use crate::dsp::quantiser::Quantiser;
use crate::dsp::{Block, CHANNELS};
use crate::settings::{OutputSettings, WordLength};

/// Seed of the dither: the same samples give the same words after each reset.
const SEED: u64 = 0x776F_7264;

/// Rounds the chain's output to words.
#[derive(Clone, Debug)]
pub struct WordRounding {
    sample_rate: f64,
    wanted: OutputSettings,
    current: OutputSettings,
    quantiser: Quantiser,
}

impl WordRounding {
    /// Off, at `sample_rate` Hz.
    pub fn new(sample_rate: f64) -> Self {
        let settings = OutputSettings::default();
        let quantiser = quantiser(&settings, sample_rate);
        Self { sample_rate, wanted: settings, current: settings, quantiser }
    }

    /// New targets.
    pub fn set(&mut self, settings: &OutputSettings) {
        self.wanted = *settings;
    }

    /// To the targets at once.
    pub fn jump(&mut self) {
        self.tick();
    }

    /// Begins the dither anew.
    pub fn reset(&mut self) {
        self.quantiser = quantiser(&self.current, self.sample_rate);
    }

    /// Control tick. A new word length acts at once: what changes is the noise.
    #[inline]
    pub fn tick(&mut self) {
        if self.wanted != self.current {
            self.current = self.wanted;
            self.reset();
        }
    }

    /// Samples pass as they are.
    pub fn is_off(&self) -> bool {
        self.current.word_length == WordLength::Off
    }

    /// Rounds in place. `ceiling` is linear, one value for each frame; none is full scale.
    #[inline]
    pub fn process(&mut self, block: &mut Block, ceiling: Option<&[f32]>) {
        if self.is_off() {
            return;
        }
        for i in 0..block.len {
            self.quantiser.set_ceiling(ceiling.map_or(1.0, |ceiling| f64::from(ceiling[i])));
            for ch in 0..CHANNELS {
                block.ch[ch][i] = self.quantiser.rounded(ch, block.ch[ch][i]);
            }
        }
    }
}

fn quantiser(settings: &OutputSettings, sample_rate: f64) -> Quantiser {
    let bits = settings.word_length.bits().unwrap_or(24);
    Quantiser::new(bits, 1.0, SEED).with_noise_shaping(settings.noise_shaping, sample_rate)
}

//! Five EQ bands: two channels in and out, moves in Hz, dB and Q.
//!
//! | file | what it holds |
//! | --- | --- |
//! | `prototype` | the analogue curves that are asked for |
//! | `fit`, `design` | from a curve to the coefficients of a section |
//! | `section` | one section that runs, and why it cannot become unstable |
//! | `shape` | which sections a kind and slope of band are made of |
//! | `glide` | frequency, gain and Q on their way |
//! | `band` | a band: sections, fades, middle and sides |
//! | `listen` | one band heard alone |
//! | `curve` | the magnitude of what runs, for the screen |

mod band;
mod curve;
pub mod design;
mod fit;
mod glide;
mod prototype;
pub mod section;
mod shape;
mod solo;

pub use curve::EqCurve;

use crate::dsp::{Block, CHUNK};
use crate::settings::{BANDS, BandSettings, EqSettings};
use band::Band;
use multiversion::multiversion;
use section::{EqSection, SectionState, run_chain};
use shape::SECTIONS;
use solo::BandSolo;

/// Sections that are interleaved at most; more of them would not fit into the registers.
const GROUP: usize = 5;

/// [`Eq::process_steady`] for the widest registers that the processor has; the same bits in all.
#[multiversion(targets("x86_64+avx2"))]
fn steady(eq: &mut Eq, block: &mut Block) {
    eq.process_steady(block);
}

/// The EQ stage. [`EqSettings::on`] is not looked at: the chain fades the whole stage.
#[derive(Clone, Debug)]
pub struct Eq {
    sample_rate: f64,
    settings: [BandSettings; BANDS],
    bands: [Band; BANDS],
    listen: BandSolo,
}

impl Eq {
    /// The default bands, flat, at `sample_rate` Hz.
    pub fn new(sample_rate: f64) -> Self {
        let settings = EqSettings::default().bands;
        Self {
            sample_rate,
            settings,
            bands: settings.each_ref().map(|band| Band::new(band, sample_rate)),
            listen: BandSolo::new(&settings, sample_rate),
        }
    }

    /// New targets; they are under way from the next control tick.
    pub fn set(&mut self, settings: &EqSettings) {
        self.settings = settings.bands;
        for (band, settings) in self.bands.iter_mut().zip(&settings.bands) {
            band.set(settings);
        }
    }

    /// Hears the region of one band (0 to 4) alone, taken from the stage's input; `None` ends it.
    /// A monitoring state: no setting holds it.
    pub fn solo(&mut self, band: Option<usize>) {
        self.listen.solo(band);
    }

    /// To the targets at once.
    pub fn jump(&mut self) {
        self.bands.iter_mut().for_each(Band::jump);
        self.listen.jump();
    }

    /// Forgets all signal.
    pub fn reset(&mut self) {
        self.bands.iter_mut().for_each(Band::reset);
        self.listen.reset();
    }

    /// Control tick, before the frame at position 0 of each chunk.
    pub fn tick(&mut self) {
        self.bands.iter_mut().for_each(Band::tick);
        self.listen.tick(&self.settings);
    }

    /// Works in place; with every band flat or off the block is not touched.
    pub fn process(&mut self, block: &mut Block) {
        let listening = !self.listen.is_idle();
        if !listening && self.bands.iter().all(Band::is_idle) {
            return;
        }
        if !listening && self.is_steady() {
            return steady(self, block);
        }
        let mut frames = [[0.0; 2]; CHUNK];
        for (i, frame) in frames.iter_mut().enumerate() {
            *frame = [block.ch[0][i], block.ch[1][i]];
        }
        let input = frames;
        let (frames, start) = (&mut frames[..block.len], block.start);
        for band in &mut self.bands {
            band.process(frames, start);
        }
        if listening {
            self.listen.process(&input[..block.len], frames, start);
        }
        for (i, frame) in frames.iter().enumerate() {
            block.ch[0][i] = frame[0];
            block.ch[1][i] = frame[1];
        }
    }

    /// Nothing moves and nothing is faded.
    fn is_steady(&self) -> bool {
        self.bands.iter().all(|band| band.is_idle() || band.is_steady())
    }

    /// All bands at once, while each is steady or idle: the common case. Gives the very samples
    /// that one band after the other would.
    #[inline(always)]
    fn process_steady(&mut self, block: &mut Block) {
        const MOST: usize = BANDS * SECTIONS;
        let mut steps = [EqSection::THROUGH.step(); MOST];
        let mut states = [SectionState::default(); MOST];
        let mut count = 0;
        for (step, state) in self.bands.iter_mut().filter(|band| !band.is_idle()).flat_map(Band::sections) {
            (steps[count], states[count]) = (*step, *state);
            count += 1;
        }
        let mut done = 0;
        while done < count {
            let (steps, states) = (&steps[done..], &mut states[done..]);
            let group = (count - done).min(GROUP);
            let (ch, len) = (&mut block.ch, block.len);
            match group {
                1 => run_chain::<1>(steps, states, ch, len),
                2 => run_chain::<2>(steps, states, ch, len),
                3 => run_chain::<3>(steps, states, ch, len),
                4 => run_chain::<4>(steps, states, ch, len),
                _ => run_chain::<GROUP>(steps, states, ch, len),
            }
            done += group;
        }
        let sections = self.bands.iter_mut().filter(|band| !band.is_idle()).flat_map(Band::sections);
        for ((_, state), done) in sections.zip(states) {
            *state = done;
        }
    }

    /// A copy of the coefficients that run at the end of the present chunk.
    pub fn curve(&self) -> EqCurve {
        EqCurve { sample_rate: self.sample_rate, bands: self.bands.each_ref().map(Band::curve) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// All bands at once, in both versions, against one band after the other.
    #[test]
    fn neither_together_nor_wider_changes_a_bit() {
        let mut settings = EqSettings::default();
        let mut random = testkit::Random::new(1);
        for bands in 1..=BANDS {
            for (n, band) in settings.bands.iter_mut().enumerate() {
                band.on = true;
                band.gain = if n < bands { 1.5 - n as f32 } else { 0.0 };
            }
            let mut wide = Eq::new(48_000.0);
            wide.set(&settings);
            wide.jump();
            let (mut plain, mut single) = (wide.clone(), wide.clone());
            for len in (1..=CHUNK).cycle().take(200) {
                let mut block = Block { len, ..Block::new() };
                block.ch = std::array::from_fn(|_| std::array::from_fn(|_| random.signed()));
                let mut other = block.clone();
                let mut frames: [[f64; 2]; CHUNK] = std::array::from_fn(|i| [block.ch[0][i], block.ch[1][i]]);
                assert!(wide.is_steady());
                wide.process(&mut block);
                plain.process_steady(&mut other);
                single.bands.iter_mut().for_each(|band| band.process(&mut frames[..len], 0));
                for i in 0..len {
                    let want = frames[i].map(f64::to_bits);
                    assert_eq!([block.ch[0][i], block.ch[1][i]].map(f64::to_bits), want);
                    assert_eq!([other.ch[0][i], other.ch[1][i]].map(f64::to_bits), want);
                }
            }
        }
    }
}

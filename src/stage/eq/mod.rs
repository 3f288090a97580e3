//! EQ: five bands, two channels in place; frequencies in Hz, gains in dB, cookbook Q.
//!
//! | file | what it holds |
//! | --- | --- |
//! | `prototype` | the analogue curves to follow |
//! | `fit`, `design` | from a curve to the coefficients of a section |
//! | `section` | one running section, and why it cannot become unstable |
//! | `shape` | the sections of each kind and slope |
//! | `glide` | smoothing of frequency, gain and Q |
//! | `band` | a band: sections, fades, mid and side |
//! | `solo` | band solo |
//! | `curve` | magnitude of the running coefficients, for the screen |

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
use crate::settings::{BANDS, BandChannel, BandSettings, EqSettings};
use band::EqBand;
use multiversion::multiversion;
use section::{
    ChunkCoefficients, FrameCoefficients, SectionPlace, SectionState, process_cascade,
    process_moving_cascade, process_rotated,
};
use shape::SECTIONS;
use solo::BandSolo;

/// Most sections interleaved in one loop; more would not fit into the vector registers.
const GROUP: usize = 5;

/// [`Eq::process_steady_scalar`] compiled for the widest vector registers of the processor; every
/// version gives the same bits.
#[multiversion(targets("x86_64+avx2"))]
fn process_steady(eq: &mut Eq, block: &mut Block) {
    eq.process_steady_scalar(block);
}

/// [`Eq::process_moving_scalar`] in the same way.
#[multiversion(targets("x86_64+avx2"))]
fn process_moving(eq: &mut Eq, block: &mut Block) {
    eq.process_moving_scalar(block);
}

/// [`Eq::fill_chunk_scalar`] in the same way.
#[multiversion(targets("x86_64+avx2"))]
fn fill_chunk(eq: &mut Eq) {
    eq.fill_chunk_scalar();
}

/// Most sections of all bands.
const MOST: usize = BANDS * SECTIONS;

/// The running sections of all bands in their order, while none moves or fades.
#[derive(Clone, Debug)]
struct SteadyCascade {
    coefficients: [FrameCoefficients; MOST],
    places: [SectionPlace; MOST],
    count: usize,
}

impl SteadyCascade {
    const NONE: Self = Self {
        coefficients: [FrameCoefficients::NONE; MOST],
        places: [SectionPlace { channel: BandChannel::Stereo, is_first: true, is_last: true }; MOST],
        count: 0,
    };

    fn fill(&mut self, bands: &[EqBand; BANDS]) {
        self.count = 0;
        for (coefficients, place) in bands.iter().filter(|band| !band.is_idle()).flat_map(EqBand::sections) {
            (self.coefficients[self.count], self.places[self.count]) = (*coefficients, place);
            self.count += 1;
        }
    }
}

/// The EQ stage. Ignores [`EqSettings::on`]: the chain fades the whole stage.
#[derive(Clone, Debug)]
pub struct Eq {
    sample_rate: f64,
    settings: [BandSettings; BANDS],
    bands: [EqBand; BANDS],
    solo: BandSolo,
    curve_changes: u64,
    /// No coefficient moves in the present chunk, and no band is fading.
    is_steady: bool,
    steady: SteadyCascade,
    /// While a stereo band moves and nothing fades: the running sections' coefficients in every frame of the
    /// chunk, and their number.
    moving: [ChunkCoefficients; MOST],
    moving_count: usize,
}

impl Eq {
    /// The default bands, flat, at `sample_rate` Hz.
    pub fn new(sample_rate: f64) -> Self {
        let settings = EqSettings::default().bands;
        let mut eq = Self {
            sample_rate,
            settings,
            bands: settings.each_ref().map(|band| EqBand::new(band, sample_rate)),
            solo: BandSolo::new(&settings, sample_rate),
            curve_changes: 0,
            is_steady: false,
            steady: SteadyCascade::NONE,
            moving: [ChunkCoefficients::NONE; MOST],
            moving_count: 0,
        };
        eq.bands_changed();
        eq
    }

    /// New targets, reached smoothly from the next control tick on.
    pub fn set(&mut self, settings: &EqSettings) {
        self.curve_changes += u64::from(self.settings != settings.bands);
        self.settings = settings.bands;
        for (band, settings) in self.bands.iter_mut().zip(&settings.bands) {
            band.set(settings);
        }
    }

    /// Solos one band (0 to 4): plays its frequency region of the stage's input; `None` ends it.
    /// Monitoring: not a setting.
    pub fn solo(&mut self, band: Option<usize>) {
        self.solo.solo(band);
    }

    /// Jumps to the targets.
    pub fn jump(&mut self) {
        self.curve_changes += 1;
        self.bands.iter_mut().for_each(EqBand::jump);
        self.solo.jump();
        self.bands_changed();
    }

    /// Follows from what the bands do in the present chunk.
    fn bands_changed(&mut self) {
        self.is_steady = self.bands.iter().all(|band| band.is_idle() || band.is_steady());
        if self.is_steady {
            self.steady.fill(&self.bands);
        }
    }

    /// Clears all signal.
    pub fn reset(&mut self) {
        self.bands.iter_mut().for_each(EqBand::reset);
        self.solo.reset();
    }

    /// Control tick, before the frame at position 0 of each chunk.
    #[inline]
    pub fn tick(&mut self) {
        let is_at_rest = self.is_at_rest();
        self.curve_changes += u64::from(!is_at_rest);
        self.bands.iter_mut().for_each(EqBand::tick);
        self.solo.tick(&self.settings);
        self.moving_count = 0;
        if is_at_rest {
            return;
        }
        self.bands_changed();
        if !self.is_steady && self.bands.iter().all(|band| band.is_idle() || band.is_whole_stereo()) {
            fill_chunk(self);
        }
    }

    /// Silence passes as it is: into filters without a past.
    #[inline]
    pub fn passes_silence(&self) -> bool {
        self.solo.is_idle() && self.bands.iter().all(EqBand::is_clear)
    }

    #[inline(always)]
    fn fill_chunk_scalar(&mut self) {
        let mut count = 0;
        for band in self.bands.iter().filter(|band| !band.is_idle()) {
            count += band.fill_chunk(&mut self.moving[count..]);
        }
        self.moving_count = count;
    }

    /// Processes in place; with every band flat or off the block is not changed.
    #[inline]
    pub fn process(&mut self, block: &mut Block) {
        let soloed = !self.solo.is_idle();
        if !soloed && self.is_steady && self.steady.count == 0 {
            return;
        }
        if !soloed && block.is_silent() && self.passes_silence() {
            return;
        }
        if !soloed && self.is_steady {
            return process_steady(self, block);
        }
        if !soloed && self.moving_count > 0 {
            return process_moving(self, block);
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
        if soloed {
            self.solo.process(&input[..block.len], frames, start);
        }
        for (i, frame) in frames.iter().enumerate() {
            block.ch[0][i] = frame[0];
            block.ch[1][i] = frame[1];
        }
    }

    /// All bands in one loop, while each is steady or idle: the common case. Gives the same bits as
    /// one band after the other.
    #[inline(always)]
    fn process_steady_scalar(&mut self, block: &mut Block) {
        let mut states = self.gather_states();
        let SteadyCascade { coefficients, places, count } = &self.steady;
        let count = *count;
        let mut done = 0;
        while done < count {
            let (coefficients, states) = (&coefficients[done..], &mut states[done..]);
            let places = &places[done..count];
            let mut group = (count - done).min(GROUP);
            let (ch, len) = (&mut block.ch, block.len);
            if places[..group].iter().all(|place| place.channel == BandChannel::Stereo) {
                match group {
                    1 => process_cascade::<1>(coefficients, states, ch, len),
                    2 => process_cascade::<2>(coefficients, states, ch, len),
                    3 => process_cascade::<3>(coefficients, states, ch, len),
                    4 => process_cascade::<4>(coefficients, states, ch, len),
                    _ => process_cascade::<GROUP>(coefficients, states, ch, len),
                }
            } else {
                // A band stays whole.
                group -= usize::from(!places[group - 1].is_last);
                match group {
                    1 => process_rotated::<1>(coefficients, places, states, ch, len),
                    2 => process_rotated::<2>(coefficients, places, states, ch, len),
                    3 => process_rotated::<3>(coefficients, places, states, ch, len),
                    4 => process_rotated::<4>(coefficients, places, states, ch, len),
                    _ => process_rotated::<GROUP>(coefficients, places, states, ch, len),
                }
            }
            done += group;
        }
        self.scatter_states(&states);
    }

    /// The same while bands move: with the coefficients of each frame.
    #[inline(always)]
    fn process_moving_scalar(&mut self, block: &mut Block) {
        let mut states = self.gather_states();
        let mut done = 0;
        while done < self.moving_count {
            let (coefficients, states) = (&self.moving[done..], &mut states[done..]);
            let group = (self.moving_count - done).min(GROUP);
            let (ch, start, len) = (&mut block.ch, block.start, block.len);
            match group {
                1 => process_moving_cascade::<1>(coefficients, states, ch, start, len),
                2 => process_moving_cascade::<2>(coefficients, states, ch, start, len),
                3 => process_moving_cascade::<3>(coefficients, states, ch, start, len),
                4 => process_moving_cascade::<4>(coefficients, states, ch, start, len),
                _ => process_moving_cascade::<GROUP>(coefficients, states, ch, start, len),
            }
            done += group;
        }
        self.scatter_states(&states);
    }

    /// States of the running sections in their order.
    #[inline(always)]
    fn gather_states(&mut self) -> [SectionState; MOST] {
        let mut states = [SectionState::default(); MOST];
        let mut count = 0;
        for band in self.bands.iter_mut().filter(|band| !band.is_idle()) {
            for state in band.states() {
                states[count] = *state;
                count += 1;
            }
        }
        states
    }

    /// Gives them back.
    #[inline(always)]
    fn scatter_states(&mut self, states: &[SectionState; MOST]) {
        let mut count = 0;
        for band in self.bands.iter_mut().filter(|band| !band.is_idle()) {
            for state in band.states() {
                *state = states[count];
                count += 1;
            }
        }
    }

    /// Every band has reached its targets.
    #[inline]
    pub fn is_at_rest(&self) -> bool {
        self.bands.iter().all(EqBand::is_at_rest)
    }

    /// Counts the changes of [`Self::curve`].
    pub fn curve_changes(&self) -> u64 {
        self.curve_changes
    }

    /// The coefficients at the end of the present chunk.
    pub fn curve(&self) -> EqCurve {
        EqCurve { sample_rate: self.sample_rate, bands: self.bands.each_ref().map(EqBand::curve) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::{BandKind, Slope};

    /// All bands in one loop, vector and scalar version, against one band after the other.
    #[test]
    fn interleaving_and_vector_code_change_no_bit() {
        let mut settings = EqSettings::default();
        let mut random = testkit::Random::new(1);
        for (bands, is_rotated) in (1..=BANDS).flat_map(|bands| [(bands, false), (bands, true)]) {
            for (n, band) in settings.bands.iter_mut().enumerate() {
                band.on = true;
                band.gain = if n < bands { 1.5 - n as f32 } else { 0.0 };
                let channels = [BandChannel::Mid, BandChannel::Side, BandChannel::Stereo];
                band.channel = if is_rotated { channels[(n + bands) % 3] } else { BandChannel::Stereo };
                // Two sections; the last of a group may be the first of a band.
                let is_steep = is_rotated && n >= 3 && n < bands;
                band.kind = if is_steep { BandKind::HighCut } else { band.kind };
                band.slope = Slope::Db24;
            }
            let mut vector = Eq::new(48_000.0);
            vector.set(&settings);
            vector.jump();
            let (mut scalar, mut single) = (vector.clone(), vector.clone());
            for len in (1..=CHUNK).cycle().take(200) {
                let mut block = Block { len, ..Block::new() };
                block.ch = std::array::from_fn(|_| std::array::from_fn(|_| random.signed()));
                let mut other = block.clone();
                let mut frames: [[f64; 2]; CHUNK] = std::array::from_fn(|i| [block.ch[0][i], block.ch[1][i]]);
                assert!(vector.is_steady);
                vector.process(&mut block);
                scalar.process_steady_scalar(&mut other);
                single.bands.iter_mut().for_each(|band| band.process(&mut frames[..len], 0));
                for i in 0..len {
                    let want = frames[i].map(f64::to_bits);
                    assert_eq!([block.ch[0][i], block.ch[1][i]].map(f64::to_bits), want);
                    assert_eq!([other.ch[0][i], other.ch[1][i]].map(f64::to_bits), want);
                }
            }
        }
    }

    /// The same while bands move.
    #[test]
    fn moving_bands_in_one_loop_change_no_bit() {
        let mut settings = EqSettings::default();
        settings.bands.iter_mut().for_each(|band| band.on = true);
        (settings.bands[0].kind, settings.bands[0].slope) = (BandKind::LowCut, Slope::Db24);
        let mut vector = Eq::new(48_000.0);
        vector.set(&settings);
        vector.jump();
        let (mut scalar, mut single) = (vector.clone(), vector.clone());
        let mut random = testkit::Random::new(2);
        for chunk in 0..300 {
            let band = &mut settings.bands[1 + chunk / 7 % 4];
            band.gain = 6.0 * random.signed() as f32;
            band.freq *= 1.0 + 0.1 * random.signed() as f32;
            for eq in [&mut vector, &mut scalar, &mut single] {
                eq.set(&settings);
                eq.tick();
            }
            scalar.fill_chunk_scalar();
            assert!(vector.moving_count >= 3, "{chunk}");
            for (start, len) in [(0, 7), (7, CHUNK - 7)] {
                let mut block = Block { start, len, ..Block::new() };
                block.ch = std::array::from_fn(|_| std::array::from_fn(|_| random.signed()));
                let mut other = block.clone();
                let mut frames: [[f64; 2]; CHUNK] = std::array::from_fn(|i| [block.ch[0][i], block.ch[1][i]]);
                vector.process(&mut block);
                scalar.process_moving_scalar(&mut other);
                single.bands.iter_mut().for_each(|band| band.process(&mut frames[..len], start));
                for i in 0..len {
                    let want = frames[i].map(f64::to_bits);
                    assert_eq!([block.ch[0][i], block.ch[1][i]].map(f64::to_bits), want, "{chunk}");
                    assert_eq!([other.ch[0][i], other.ch[1][i]].map(f64::to_bits), want, "{chunk}");
                }
            }
        }
    }

    /// The silent path against the work, through a pause in which every filter has rung out, and after it.
    #[test]
    fn a_pause_passes_without_work_and_leaves_no_bit_behind() {
        let mut settings = EqSettings::default();
        for (n, band) in settings.bands.iter_mut().enumerate() {
            band.gain = [6.0, -4.0, 3.0, -12.0, 2.0][n];
        }
        settings.bands[1].channel = BandChannel::Side;
        let mut quick = Eq::new(8_000.0);
        quick.set(&settings);
        quick.jump();
        let mut whole = quick.clone();
        let mut random = testkit::Random::new(1);
        let mut passed = 0;
        for chunk in 0..3_000 {
            let level = if (100..2_900).contains(&chunk) { 0.0 } else { 0.7 };
            let ch = std::array::from_fn(|_| std::array::from_fn(|_| level * random.signed() + 0.0));
            let mut block = Block { ch, start: 0, len: CHUNK };
            let mut other = block.clone();
            quick.tick();
            whole.tick();
            passed += usize::from(quick.bands.iter().all(EqBand::is_clear));
            quick.process(&mut block);
            whole.process_steady_scalar(&mut other);
            assert_eq!(block.ch.map(|ch| ch.map(f64::to_bits)), other.ch.map(|ch| ch.map(f64::to_bits)));
        }
        assert!((1_000..2_900).contains(&passed), "{passed}");
    }
}

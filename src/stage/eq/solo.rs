//! Band solo: plays the frequency region of one band instead of the processed signal.
//!
//! A bell is soloed through a band-pass of its frequency and Q, a low shelf and a low cut through a
//! low-pass, a high shelf and a high cut through a high-pass; a band on mid or side is heard in that
//! part alone. Solo is monitoring: it follows the bands' settings but is not one of them, and it
//! starts silent after a reset.

use super::band::eased;
use super::design;
use super::glide::BandGlide;
use super::section::{EqSection, SectionState};
use super::shape::BandShape;
use crate::dsp::CHUNK;
use crate::dsp::smooth::Fade;
use crate::settings::{BANDS, BandChannel, BandKind, BandSettings};

/// Seconds for a fade in or out.
const FADE_S: f64 = 0.01;

/// Plays a band's region instead of the processed signal.
#[derive(Clone, Debug)]
pub(crate) struct BandSolo {
    sample_rate: f64,
    /// The band to solo, as last set.
    wanted: Option<usize>,
    /// The soloed band; changes only while the region is silent.
    band: usize,
    shape: BandShape,
    glide: BandGlide,
    /// 0 = the processed signal, 1 = the region.
    over: Fade,
    /// Level of the region: silent between two bands.
    level: Fade,
    from: EqSection,
    to: EqSection,
    state: SectionState,
}

impl BandSolo {
    pub fn new(bands: &[BandSettings; BANDS], sample_rate: f64) -> Self {
        Self {
            sample_rate,
            wanted: None,
            band: 0,
            shape: BandShape::of(&bands[0]),
            glide: BandGlide::new(&bands[0], sample_rate),
            over: Fade::new(false, FADE_S, sample_rate),
            level: Fade::new(false, FADE_S, sample_rate),
            from: EqSection::FLAT,
            to: EqSection::FLAT,
            state: SectionState::default(),
        }
    }

    /// The band to solo; a number without a band is `None`.
    pub fn solo(&mut self, band: Option<usize>) {
        self.wanted = band.filter(|&band| band < BANDS);
    }

    pub fn jump(&mut self) {
        self.over.set(self.wanted.is_some());
        self.over.jump();
        self.level.set(false);
        self.level.jump();
    }

    pub fn reset(&mut self) {
        self.state = SectionState::default();
    }

    #[inline]
    pub fn tick(&mut self, bands: &[BandSettings; BANDS]) {
        self.over.set(self.wanted.is_some());
        self.over.tick();
        if self.over.is_dry() {
            self.level.set(false);
            self.level.jump();
            return;
        }
        let wanted = self.wanted.unwrap_or(self.band);
        let same = wanted == self.band && BandShape::of(&bands[wanted]) == self.shape;
        self.from = self.to;
        if self.level.is_dry() {
            self.band = wanted;
            self.shape = BandShape::of(&bands[wanted]);
            self.glide.set(&bands[wanted]);
            self.glide.jump();
            self.to = self.region();
            self.from = self.to;
            self.state = SectionState::default();
            self.level.set(true);
        } else {
            self.level.set(same);
            if same {
                self.glide.set(&bands[wanted]);
                if self.glide.tick() {
                    self.to = self.region();
                }
            }
        }
        self.level.tick();
        self.state.flush();
    }

    fn region(&self) -> EqSection {
        let (freq, _, q) = self.glide.end();
        let freq = freq.min(design::MAX_FREQUENCY_SHARE * self.sample_rate);
        let flat = std::f64::consts::FRAC_1_SQRT_2;
        match self.shape.kind {
            BandKind::Bell => design::band_pass(self.sample_rate, freq, q),
            BandKind::LowShelf | BandKind::LowCut => design::low_pass(self.sample_rate, freq, flat),
            BandKind::HighShelf | BandKind::HighCut => design::high_pass(self.sample_rate, freq, flat),
        }
    }

    #[inline]
    pub fn is_idle(&self) -> bool {
        self.over.is_dry()
    }

    /// Cross-fades the processed `frames` to the region of `input`.
    pub fn process(&mut self, input: &[[f64; 2]], frames: &mut [[f64; 2]], start: usize) {
        let mut region = [[0.0; 2]; CHUNK];
        let region = &mut region[..frames.len()];
        for (region, &[left, right]) in region.iter_mut().zip(input) {
            let (mid, side) = (0.5 * (left + right), 0.5 * (left - right));
            *region = match self.shape.channel {
                BandChannel::Stereo => [left, right],
                BandChannel::Mid => [mid, mid],
                BandChannel::Side => [side, -side],
            };
        }
        let positions: [f64; CHUNK] = std::array::from_fn(|i| (start + i + 1) as f64 / CHUNK as f64);
        if self.from == self.to {
            self.state.process(&self.to, region);
        } else {
            self.state.process_moving(&self.from, &self.to, region, &positions);
        }
        for (i, (frame, region)) in frames.iter_mut().zip(region).enumerate() {
            let (over, level) = (eased(self.over.at(start + i)), eased(self.level.at(start + i)));
            for (out, solo) in frame.iter_mut().zip(region) {
                *out += over * (level * *solo - *out);
            }
        }
    }
}

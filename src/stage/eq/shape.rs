//! The switches of a band (kind, slope, channel) and the filter sections that they ask for.

use super::design::{self, FitAxis};
use super::section::EqSection;
use crate::settings::{BandChannel, BandKind, BandSettings, Slope};

/// Sections that the steepest band needs.
pub(crate) const SECTIONS: usize = 2;

/// The switches of a band; changing one changes the filter's structure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct BandShape {
    pub kind: BandKind,
    pub slope: Slope,
    pub channel: BandChannel,
}

impl BandShape {
    pub fn of(band: &BandSettings) -> Self {
        Self { kind: band.kind, slope: band.slope, channel: band.channel }
    }

    /// Running sections; the rest of the array is flat.
    pub fn count(self) -> usize {
        match (self.kind, self.slope) {
            (BandKind::LowCut | BandKind::HighCut, Slope::Db18 | Slope::Db24) => 2,
            _ => 1,
        }
    }

    /// The sections for `freq` Hz, `gain` dB and `q`.
    ///
    /// A cut is a Butterworth cascade for q = 1/√2; another q scales that of its sharpest section
    /// in proportion, and does nothing at 6 dB/oct, which has none. Section Qs 1 (third order) and
    /// 0.5412, 1.3066 (fourth): 1/(2 cos φ) of the Butterworth pole angles.
    /// `axis` is kept from call to call: see [`FitAxis`].
    pub fn sections(
        self,
        axis: &mut FitAxis,
        sample_rate: f64,
        freq: f64,
        gain: f64,
        q: f64,
    ) -> [EqSection; SECTIONS] {
        let freq = freq.clamp(1.0, design::MAX_FREQUENCY_SHARE * sample_rate);
        let one = |section| [section, EqSection::FLAT];
        let low = match self.kind {
            BandKind::Bell => return one(axis.bell(sample_rate, freq, gain, q)),
            BandKind::LowShelf => return one(axis.low_shelf(sample_rate, freq, gain, q)),
            BandKind::HighShelf => return one(axis.high_shelf(sample_rate, freq, gain, q)),
            BandKind::LowCut => true,
            BandKind::HighCut => false,
        };
        let first = if low { design::high_pass_6 } else { design::low_pass_6 };
        let second = if low { design::high_pass } else { design::low_pass };
        let sharp = q * std::f64::consts::SQRT_2;
        match self.slope {
            Slope::Db6 => one(first(sample_rate, freq)),
            Slope::Db12 => one(second(sample_rate, freq, q)),
            Slope::Db18 => [first(sample_rate, freq), second(sample_rate, freq, sharp)],
            Slope::Db24 => {
                let soft = 0.5 / (std::f64::consts::PI / 8.0).cos();
                let peak = 0.5 / (3.0 * std::f64::consts::PI / 8.0).cos();
                [second(sample_rate, freq, soft), second(sample_rate, freq, sharp * peak)]
            }
        }
    }
}

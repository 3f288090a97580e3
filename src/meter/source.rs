//! Source check: chunks of the untouched input in; headroom, clipping, DC, channels, lead-in and bit
//! depth out, with figures and times.

use super::flat_tops::{FlatTopSearch, FlatTops};
use super::levels::LevelSums;
use crate::dsp::{CHANNELS, CHUNK, db};
use multiversion::multiversion;

/// Sample peak from which a mix counts as being at full scale, dBFS.
pub const FULL_SCALE_DBFS: f64 = -0.1;
/// Below this no sample is, linear: spares a logarithm a chunk.
const NEAR_FULL_SCALE: f32 = 0.98;
/// Headroom that is good to have before mastering, dB. Common practice, no source.
pub const HEADROOM_DB: f64 = 6.0;
/// Peak from which the music has begun, linear: −50 dBFS.
const ONSET_PEAK: f32 = 0.003_162;
/// A channel whose root mean square lies below this is silent, dBFS.
const SILENT_DBFS: f64 = -80.0;
/// Seconds before the stereo image is judged.
const IMAGE_AFTER_S: f64 = 3.0;
/// Correlation from which the channels count as out of phase. Common practice, no source.
pub const OUT_OF_PHASE_CORRELATION: f64 = -0.3;

/// How the channels are related.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum StereoImage {
    /// Too short or too quiet to say.
    #[default]
    Unknown,
    /// Two different channels.
    Stereo,
    /// The layout has one channel.
    Mono,
    /// Only the right channel has signal.
    LeftSilent,
    /// Only the left channel has signal.
    RightSilent,
    /// Two channels, bit for bit the same.
    Identical,
    /// The channels are correlated negatively.
    OutOfPhase,
}

/// What comes before the music.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub enum LeadIn {
    /// No music yet, or less than 100 ms before it.
    #[default]
    Unknown,
    /// All zeros for so many seconds.
    DigitalSilence {
        /// Length, s.
        seconds: f64,
    },
    /// Noise: root mean square of the quietest 100 ms, dBFS.
    Noise {
        /// Length, s.
        seconds: f64,
        /// Level of the quietest 100 ms, dBFS.
        floor_db: f64,
    },
}

/// The smallest step that holds every sample so far.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum BitDepth {
    /// Only zeros so far.
    #[default]
    Unknown,
    /// Every sample is a whole number of steps of so many bits, 1 to 24.
    Fixed(u8),
    /// Finer than 24 bits: floating point.
    Float,
}

/// Result of the check.
#[derive(Clone, Debug, PartialEq)]
pub struct SourceReport {
    /// Seconds checked.
    pub seconds: f64,
    /// Highest sample, dBFS.
    pub peak_db: f64,
    /// Second at which full scale was first reached.
    pub full_scale_at: Option<f64>,
    /// Distance of the true peak from full scale, dB; negative above it.
    pub headroom_db: f64,
    /// Trim that would leave [`HEADROOM_DB`], dB, in half steps, never above 0.
    pub trim_db: f64,
    /// Number of flat tops in both channels.
    pub flat_tops: u64,
    /// Samples in the longest flat top.
    pub flat_top_longest: usize,
    /// Height of the highest flat top, dBFS.
    pub flat_top_db: f64,
    /// Seconds of the first flat tops.
    pub flat_top_at: Vec<f64>,
    /// Mean value per channel, share of full scale.
    pub dc: [f64; CHANNELS],
    /// How the channels are related.
    pub image: StereoImage,
    /// Correlation of the channels.
    pub correlation: Option<f64>,
    /// What comes before the music.
    pub lead_in: LeadIn,
    /// Word length that the samples use.
    pub bits: BitDepth,
}

impl Default for SourceReport {
    /// Nothing checked.
    fn default() -> Self {
        SourceCheck::new(1, CHANNELS).source(&LevelSums::EMPTY)
    }
}

/// The checker.
#[derive(Clone, Debug)]
pub struct SourceCheck {
    sample_rate: f64,
    channels: usize,
    tops: [FlatTopSearch; CHANNELS],
    /// Frame of the first sample at full scale.
    full_scale_at: Option<u64>,
    /// Every chunk so far had equal channels.
    identical: bool,
    /// Steps of 2⁻²³ in use, as the bits of all samples or-ed; none once a finer one was seen.
    used: Option<u32>,
    lead_in: LeadInWatch,
    /// Frames seen.
    frames: u64,
}

/// Watches the time before the music.
#[derive(Clone, Copy, Debug, Default)]
struct LeadInWatch {
    /// Frame of the onset.
    onset: Option<u64>,
    /// Sum of squares and frames of the 100 ms under way.
    square: f64,
    frames: u64,
    /// Lowest mean square of complete 100 ms.
    quietest: Option<f64>,
}

/// The highest peaks of a file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FilePeaks {
    /// Highest sample, dBFS; −∞ for silence.
    pub sample_db: f64,
    /// Highest true peak, dBTP; −∞ for silence.
    pub true_db: f64,
}

impl SourceReport {
    /// With the highest peaks of the whole file.
    #[must_use]
    pub fn with_peaks(mut self, peaks: &FilePeaks) -> Self {
        self.peak_db = self.peak_db.max(peaks.sample_db);
        let headroom = -peaks.true_db;
        if headroom.is_finite() && headroom < self.headroom_db {
            (self.headroom_db, self.trim_db) = (headroom, trim_for(headroom));
        }
        self
    }
}

impl SourceCheck {
    /// For a sample rate in Hz and 1 or 2 channels.
    pub fn new(sample_rate: u32, channels: usize) -> Self {
        Self {
            sample_rate: f64::from(sample_rate),
            channels,
            tops: [FlatTopSearch::new(), FlatTopSearch::new()],
            full_scale_at: None,
            identical: true,
            used: Some(0),
            lead_in: LeadInWatch::default(),
            frames: 0,
        }
    }

    /// Looks at a chunk, which is `silent` if all its samples are zeros, and its sums.
    pub fn add(&mut self, chunk: &[[f32; CHUNK]; CHANNELS], sums: &LevelSums, silent: bool) {
        for (c, samples) in chunk.iter().enumerate().take(self.channels) {
            self.tops[c].add(samples, sums.min[c], sums.max[c], self.frames);
            if let Some(used) = self.used.filter(|_| !silent) {
                self.used = steps(samples).map(|bits| used | bits);
            }
        }
        let [low, high] = sums.extremes();
        let peak = high.max(-low);
        if self.full_scale_at.is_none()
            && peak > NEAR_FULL_SCALE
            && db::from_gain(f64::from(peak)) >= FULL_SCALE_DBFS
        {
            let at = (0..CHUNK).position(|i| chunk[0][i].abs().max(chunk[1][i].abs()) >= peak);
            self.full_scale_at = Some(self.frames + at.unwrap_or(0) as u64);
        }
        self.identical = self.identical && (silent || chunk[0] == chunk[1]);
        self.lead_in.add(sums, peak, self.frames, (0.1 * self.sample_rate) as u64);
        self.frames += CHUNK as u64;
    }

    /// The result; `total` are the sums over all that was looked at.
    pub fn source(&self, total: &LevelSums) -> SourceReport {
        let mut tops = FlatTops::default();
        self.tops[..self.channels].iter().for_each(|search| tops.merge(&search.found()));
        let seconds = self.frames as f64 / self.sample_rate;
        let true_peak = total.true_peak_db();
        let headroom = -true_peak[0].max(true_peak[1]);
        let peak = total.peak_db();
        SourceReport {
            seconds,
            peak_db: peak[0].max(peak[1]),
            full_scale_at: self.full_scale_at.map(|n| n as f64 / self.sample_rate),
            headroom_db: headroom,
            trim_db: if headroom.is_finite() { trim_for(headroom) } else { 0.0 },
            flat_tops: tops.count,
            flat_top_longest: tops.longest,
            flat_top_db: db::from_gain(f64::from(if tops.count > 0 { tops.level } else { 0.0 })),
            flat_top_at: tops.places.iter().map(|&n| n as f64 / self.sample_rate).collect(),
            dc: total.dc(),
            image: self.image(seconds, total),
            correlation: total.correlation(),
            lead_in: self.lead_in.result(self.sample_rate),
            bits: match self.used {
                None => BitDepth::Float,
                Some(0) => BitDepth::Unknown,
                Some(used) => BitDepth::Fixed(24 - used.trailing_zeros().min(23) as u8),
            },
        }
    }

    fn image(&self, seconds: f64, total: &LevelSums) -> StereoImage {
        let rms = total.rms_db();
        let loudest = rms[0].max(rms[1]);
        if self.channels == 1 {
            return StereoImage::Mono;
        }
        if seconds < IMAGE_AFTER_S || loudest < SILENT_DBFS + 20.0 {
            return StereoImage::Unknown;
        }
        match total.correlation() {
            _ if rms[0] < SILENT_DBFS => StereoImage::LeftSilent,
            _ if rms[1] < SILENT_DBFS => StereoImage::RightSilent,
            _ if self.identical => StereoImage::Identical,
            Some(r) if r <= OUT_OF_PHASE_CORRELATION => StereoImage::OutOfPhase,
            _ => StereoImage::Stereo,
        }
    }
}

/// Trim in half steps of a dB that leaves [`HEADROOM_DB`], never above 0.
fn trim_for(headroom: f64) -> f64 {
    (((headroom - HEADROOM_DB) * 2.0).round() / 2.0).min(0.0)
}

/// The samples as whole steps of 2⁻²³, their bits or-ed; `None` when one lies between steps. For the widest registers
/// that the processor has; the same bits in all.
#[multiversion(targets("x86_64+avx2"))]
fn steps(samples: &[f32; CHUNK]) -> Option<u32> {
    plain_steps(samples)
}

#[inline(always)]
fn plain_steps(samples: &[f32; CHUNK]) -> Option<u32> {
    // Adding this number rounds a double to a step of 2⁻²³ and leaves the count of steps, in two's
    // complement, in its low bits.
    const ROUND: f64 = 1.5 * (1u64 << 29) as f64;
    const LANES: usize = 4;
    let (mut bits, mut off) = ([0u64; LANES], [0u64; LANES]);
    for group in samples.as_chunks::<LANES>().0 {
        for (k, &x) in group.iter().enumerate() {
            let x = f64::from(x);
            let y = x + ROUND;
            bits[k] |= y.to_bits();
            off[k] |= (y - ROUND - x).to_bits() << 1;
        }
    }
    let off = off.into_iter().fold(0, |all, one| all | one);
    (off == 0).then(|| bits.into_iter().fold(0, |all, one| all | one) as u32)
}

impl LeadInWatch {
    fn add(&mut self, sums: &LevelSums, peak: f32, frame: u64, window: u64) {
        if self.onset.is_some() {
            return;
        }
        if peak >= ONSET_PEAK {
            self.onset = Some(frame);
            return;
        }
        self.square += sums.square[0].max(sums.square[1]);
        self.frames += sums.frames;
        if self.frames >= window {
            let mean = self.square / self.frames as f64;
            self.quietest = Some(self.quietest.map_or(mean, |quietest| quietest.min(mean)));
            (self.square, self.frames) = (0.0, 0);
        }
    }

    fn result(&self, sample_rate: f64) -> LeadIn {
        let (Some(onset), Some(quietest)) = (self.onset, self.quietest) else { return LeadIn::Unknown };
        let seconds = onset as f64 / sample_rate;
        if quietest == 0.0 {
            return LeadIn::DigitalSilence { seconds };
        }
        LeadIn::Noise { seconds, floor_db: db::from_power(quietest) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Checks 4 s at 48 kHz.
    fn check(wave: impl Fn(usize) -> [f64; 2]) -> SourceReport {
        let mut check = SourceCheck::new(48_000, 2);
        let mut total = LevelSums::EMPTY;
        let mut peaks = [super::super::TruePeak::new(), super::super::TruePeak::new()];
        for n in 0..4 * 48_000 / CHUNK {
            let chunk = [0, 1].map(|c| std::array::from_fn(|i| wave(n * CHUNK + i)[c] as f32));
            let mut sums = LevelSums::of(&chunk);
            sums.true_peak = [0, 1].map(|c| peaks[c].feed(&chunk[c]));
            check.add(&chunk, &sums, false);
            total.merge(&sums);
        }
        check.source(&total)
    }

    fn sine(n: usize, f: f64) -> f64 {
        (std::f64::consts::TAU * f * n as f64 / 48_000.0).sin()
    }

    #[test]
    fn a_bounce_at_full_scale_tells_its_headroom_and_the_trim() {
        let source = check(|n| [0.995 * sine(n, 997.0), 0.3 * sine(n, 1511.0)]);
        assert!((source.peak_db + 0.044).abs() < 0.001);
        assert!(source.full_scale_at.is_some_and(|at| at < 0.01));
        assert!((source.headroom_db - 0.04).abs() < 0.03, "{}", source.headroom_db);
        assert_eq!(source.trim_db, -6.0);
        assert_eq!(source.flat_tops, 0);
        let roomy = check(|n| [0.45 * sine(n, 997.0); 2]);
        assert_eq!((roomy.full_scale_at, roomy.trim_db), (None, 0.0));
    }

    /// The version for this processor against the one for every processor.
    #[test]
    fn wider_registers_change_no_bit() {
        let mut random = testkit::Random::new(11);
        for case in 0..500 {
            let step = [1.0, 2f64.powi(-15), 2f64.powi(-23), 2f64.powi(-24)][case % 4];
            let x: [f32; CHUNK] = std::array::from_fn(|_| ((random.signed() / step).round() * step) as f32);
            assert_eq!(steps(&x), plain_steps(&x));
            assert_eq!(steps(&x).is_some(), case % 4 != 3);
        }
    }

    #[test]
    fn bit_depth_is_what_the_samples_use() {
        let quantise = |bits: i32| {
            let steps = 2f64.powi(bits - 1);
            move |n| [(0.5 * sine(n, 997.0) * steps).round() / steps; 2]
        };
        for bits in [8, 16, 20, 24] {
            assert_eq!(check(quantise(bits)).bits, BitDepth::Fixed(bits as u8));
        }
        assert_eq!(check(|n| [0.37 * sine(n, 997.0); 2]).bits, BitDepth::Float);
        assert_eq!(check(|_| [0.0; 2]).bits, BitDepth::Unknown);
        // −1.0 is a sample of every depth.
        assert_eq!(check(|n| [if n % 7 == 0 { -1.0 } else { 0.5 }; 2]).bits, BitDepth::Fixed(2));
    }

    #[test]
    fn the_image_is_named() {
        let (a, b) = (|n| 0.4 * sine(n, 220.0), |n| 0.3 * sine(n, 331.0));
        assert_eq!(check(|n| [a(n), a(n)]).image, StereoImage::Identical);
        assert_eq!(check(|n| [a(n), b(n)]).image, StereoImage::Stereo);
        assert_eq!(check(|n| [a(n), 0.0]).image, StereoImage::RightSilent);
        assert_eq!(check(|n| [1e-6 * b(n), a(n)]).image, StereoImage::LeftSilent);
        assert_eq!(check(|n| [a(n), 0.2 * b(n) - a(n)]).image, StereoImage::OutOfPhase);
        assert_eq!(check(|_| [0.0; 2]).image, StereoImage::Unknown);
    }

    #[test]
    fn the_lead_in_tells_its_noise_floor() {
        let music = |n: usize| if n < 48_000 { 0.0 } else { 0.5 * sine(n, 440.0) };
        let LeadIn::DigitalSilence { seconds } = check(|n| [music(n); 2]).lead_in else { panic!() };
        assert!((seconds - 1.0).abs() < 0.002);
        // A square wave of ±0.001 has a root mean square of −60 dBFS.
        let hiss = |n: usize| if (n / 3).is_multiple_of(2) { 0.001 } else { -0.001 };
        let LeadIn::Noise { floor_db, .. } = check(|n| [music(n) + hiss(n); 2]).lead_in else { panic!() };
        assert!((floor_db + 60.0).abs() < 0.05, "{floor_db}");
    }
}

//! Spectrum of a stereo signal: chunks in, power in bands a sixth of an octave wide out, dB re a
//! full-scale sine.
//!
//! Welch's method (IEEE Trans. Audio Electroacoust. 15, 1967; from memory): Hann windows of about
//! 170 ms, half overlapped, the power of both channels averaged so that opposite phases do not
//! cancel.

use std::ops::Range;
use std::sync::Arc;

use multiversion::multiversion;
use rustfft::num_complex::Complex;
use rustfft::{Fft, FftPlanner};

use crate::dsp::{CHANNELS, CHUNK, db, minmax};

/// Number of bands.
pub const BANDS: usize = 121;
/// Bands per octave; each is twice as wide as their distance.
const BANDS_PER_OCTAVE: f64 = 12.0;
/// Centre of the lowest band, Hz. The highest is ten octaves above.
const LOWEST_HZ: f64 = 20.0;
/// Seconds in which the moving average covers 63 % of a step.
const GLIDE_S: f64 = 0.8;
/// Power below which the moving average is none (−300 dB), before it becomes subnormal, which is slow.
const NOTHING: f32 = 1e-30;

/// Centre frequency of a band, Hz: 20 Hz to 20.48 kHz.
pub fn frequency(band: usize) -> f64 {
    LOWEST_HZ * (band as f64 / BANDS_PER_OCTAVE).exp2()
}

/// Levels of the bands, dB re a full-scale sine.
#[derive(Clone, Debug, PartialEq)]
pub struct SpectrumBands {
    /// Moving average.
    pub now: [f32; BANDS],
    /// Average over the measurement.
    pub mean: [f32; BANDS],
}

/// The analyser of one stereo signal.
///
/// n real samples are transformed as n/2 complex ones, even samples as real parts, odd ones as imaginary
/// parts; what belongs to bins k and n/2 − k is then told apart (Numerical Recipes, 12.3; from memory).
#[derive(Clone)]
pub struct Spectrum {
    fft: Arc<dyn Fft<f32>>,
    window: Box<[f32]>,
    /// The last frames, per channel; `len` of them are filled.
    frames: [Box<[f32]>; CHANNELS],
    len: usize,
    /// Frames of silence since the last other one, in whole chunks.
    silence: usize,
    buffers: Buffers,
    /// Power per bin of the last transform, per channel; in the order of [`place`], as all of them.
    power: [Box<[f32]>; CHANNELS],
    /// Power per bin: moving average, and sum over the measurement.
    now: Box<[f32]>,
    sum: Box<[f64]>,
    /// The bins of each band.
    bands: Box<[BandBins]>,
    /// The moving average is not yet 0 everywhere.
    fades: bool,
    /// Transforms in `sum`.
    count: u64,
    /// Share that one transform adds to the moving average.
    share: f32,
    /// Factor on |X|² that makes a full-scale sine's bins add up to 1.
    scale: f64,
}

/// What one transform needs.
#[derive(Clone)]
struct Buffers {
    windowed: Box<[Complex<f32>]>,
    transformed: Box<[Complex<f32>]>,
    scratch: Box<[Complex<f32>]>,
    /// ½ e^(−2πi k/n) for k from 1 to n/4 − 1.
    half_turns: [Box<[f32]>; 2],
}

impl Buffers {
    fn new(n: usize, fft: &dyn Fft<f32>) -> Self {
        let angle = |k: usize| -std::f64::consts::TAU / n as f64 * k as f64;
        let half = |of: fn(f64) -> f64| (1..n / 4).map(|k| of(angle(k)) as f32 * 0.5).collect();
        Self {
            windowed: vec![Complex::default(); n / 2].into(),
            transformed: vec![Complex::default(); n / 2].into(),
            scratch: vec![Complex::default(); fft.get_outofplace_scratch_len()].into(),
            half_turns: [half(f64::cos), half(f64::sin)],
        }
    }

    /// The power of one channel, bin by bin in the order of [`place`].
    fn transform(&mut self, frames: &[f32], window: &[f32], fft: &dyn Fft<f32>, to: &mut [f32]) {
        weigh(frames, window, &mut self.windowed);
        fft.process_outofplace_with_scratch(&mut self.windowed, &mut self.transformed, &mut self.scratch);
        let [re, im] = &self.half_turns;
        power(&self.transformed, re, im, to);
    }
}

/// Place of a bin: those up to a quarter of the rate (bin `quarter`) in their order, those above from the top
/// down, the last one last. So the two that are told apart lie at equal distances.
fn place(bin: usize, quarter: usize) -> usize {
    if bin <= quarter || bin == 2 * quarter { bin } else { 3 * quarter - bin }
}

/// Power of each bin in the order of [`place`], the mean of a stereo signal's share, from the complex
/// transform. For the widest registers that the processor has; the same bits in all.
#[multiversion(targets("x86_64+avx2"))]
fn power(transformed: &[Complex<f32>], re: &[f32], im: &[f32], power: &mut [f32]) {
    power_plain(transformed, re, im, power);
}

#[inline(always)]
fn power_plain(transformed: &[Complex<f32>], re: &[f32], im: &[f32], power: &mut [f32]) {
    let of = |re: f32, im: f32| (re * re + im * im) / CHANNELS as f32;
    let (half, quarter) = (transformed.len(), transformed.len() / 2);
    let (first, middle) = (transformed[0], transformed[quarter]);
    power[0] = of(first.re + first.im, 0.0);
    power[quarter] = of(middle.re, middle.im);
    power[half] = of(first.re - first.im, 0.0);
    let (low, high) = power.split_at_mut(quarter + 1);
    let n = quarter - 1;
    let (low, high) = (&mut low[1..1 + n], &mut high[..n]);
    let (up, down) = (&transformed[1..1 + n], &transformed[quarter + 1..quarter + 1 + n]);
    let (re, im) = (&re[..n], &im[..n]);
    for k in 0..n {
        let (a, b) = (up[k], down[n - 1 - k]);
        let (sum, diff) = (a + b, a - b);
        let real = sum.im * re[k] + diff.re * im[k];
        let imag = sum.im * im[k] - diff.re * re[k];
        let (half_sum, half_diff) = (0.5 * sum.re, 0.5 * diff.im);
        low[k] = of(half_sum + real, half_diff + imag);
        high[k] = of(half_sum - real, imag - half_diff);
    }
}

/// The bins of one band. Bin i covers i − ½ … i + ½; of the first and the last, a band has a share.
#[derive(Clone)]
struct BandBins {
    /// Places of the first and the last, with their shares; the last is left out where it is the first.
    edges: [(usize, f64); 2],
    /// Places of those between them, up to the quarter of the rate and above it.
    whole: [Range<usize>; 2],
}

impl BandBins {
    /// The bins from `low` to `high`, counted in bins, of a spectrum that has them up to bin 2 `quarter`.
    fn new(low: f64, high: f64, quarter: usize) -> Self {
        let (first, last) = ((low + 0.5) as usize, ((high + 0.5) as usize).min(2 * quarter));
        let share = |bin: usize| {
            (high.min(bin as f64 + 0.5) - low.max(bin as f64 - 0.5)).max(0.0)
                * f64::from(u8::from(bin <= last))
        };
        let edge = |bin: usize, share: f64| (place(bin.min(2 * quarter), quarter), share);
        let edges = [edge(first, share(first)), edge(last, if last > first { share(last) } else { 0.0 })];
        // Above the quarter, the places run down as the bins run up.
        let (from, to) = ((first + 1).min(last), last);
        let (low_to, high_from) = (to.min(quarter + 1), from.max(quarter + 1));
        let above = if high_from < to { 3 * quarter + 1 - to..3 * quarter + 1 - high_from } else { 0..0 };
        Self { edges, whole: [from..low_to.max(from), above] }
    }

    /// The power of the band, from that of each bin.
    fn sum<T: Copy>(&self, power: &[T], wide: impl Fn(T) -> f64 + Copy) -> f64 {
        let edges: f64 = self.edges.iter().map(|&(place, share)| wide(power[place]) * share).sum();
        self.whole.iter().fold(edges, |sum, places| sum + sum_of(&power[places.clone()], wide))
    }
}

/// The sum of a slice, in eight partial sums, which the compiler keeps in vector registers.
fn sum_of<T: Copy>(values: &[T], wide: impl Fn(T) -> f64) -> f64 {
    let (eights, rest) = values.as_chunks::<8>();
    let mut sums = [0.0; 8];
    for eight in eights {
        for (sum, value) in sums.iter_mut().zip(eight) {
            *sum += wide(*value);
        }
    }
    sums.iter().sum::<f64>() + rest.iter().map(|value| wide(*value)).sum::<f64>()
}

impl Spectrum {
    /// For a sample rate in Hz.
    pub fn new(sample_rate: u32) -> Self {
        let rate = f64::from(sample_rate);
        // A power of two near 170 ms.
        let n = ((0.17 * rate).log2().round().exp2() as usize).max(4 * CHUNK);
        let fft = FftPlanner::new().plan_fft_forward(n / 2);
        let window: Box<[f32]> = (0..n)
            .map(|i| (0.5 - 0.5 * (std::f64::consts::TAU * i as f64 / n as f64).cos()) as f32)
            .collect();
        // Sine of amplitude 1: Σ over its bins of |X|² = n Σ w² / 4 (one side).
        let energy: f64 = window.iter().map(|&w| f64::from(w) * f64::from(w)).sum();
        let (bins, step, edge) = (n / 2 + 1, rate / n as f64, (1.0 / BANDS_PER_OCTAVE).exp2());
        let band = |band: usize| {
            let centre = frequency(band) / step;
            BandBins::new(centre / edge, centre * edge, n / 4)
        };
        Self {
            buffers: Buffers::new(n, &*fft),
            fft,
            window,
            frames: [vec![0.0; n].into(), vec![0.0; n].into()],
            len: 0,
            silence: n,
            power: [vec![0.0; bins].into(), vec![0.0; bins].into()],
            fades: false,
            now: vec![0.0; bins].into(),
            sum: vec![0.0; bins].into(),
            bands: (0..BANDS).map(band).collect(),
            count: 0,
            share: 1.0 - (-(n as f64 / 2.0) / (GLIDE_S * rate)).exp() as f32,
            scale: 4.0 / (n as f64 * energy),
        }
    }

    /// Adds a chunk, `silent` if all its samples are known to be zeros; transforms count for the mean when the
    /// measurement is `running`.
    pub fn add(&mut self, chunk: &[[f32; CHUNK]; CHANNELS], silent: bool, running: bool) {
        self.silence = if silent { self.silence.saturating_add(CHUNK) } else { 0 };
        let n = self.window.len();
        // After two windows of silence there are only zeros.
        let is_empty = self.silence > 2 * n;
        if !is_empty {
            for (frames, samples) in self.frames.iter_mut().zip(chunk) {
                frames[self.len..self.len + CHUNK].copy_from_slice(samples);
            }
        }
        self.len += CHUNK;
        if self.len == n {
            self.transform(running);
            if !is_empty {
                self.frames.iter_mut().for_each(|frames| frames.copy_within(n / 2.., 0));
            }
            self.len = n / 2;
        }
    }

    fn transform(&mut self, running: bool) {
        self.count += u64::from(running);
        // The transform of silence is 0.
        if self.silence >= self.window.len() {
            if self.fades {
                self.fades = fade(&mut self.now, 1.0 - self.share);
            }
            return;
        }
        self.fades = true;
        for (frames, power) in self.frames.iter().zip(&mut self.power) {
            self.buffers.transform(frames, &self.window, &*self.fft, power);
        }
        let [left, right] = &self.power;
        let sum = if running { &mut self.sum[..] } else { &mut [] };
        add_power([left, right], self.share, &mut self.now, sum);
    }

    /// The bands now.
    pub fn bands(&self) -> SpectrumBands {
        let level = |power: &dyn Fn(&BandBins) -> f64, scale: f64| {
            std::array::from_fn(|band| db::from_power(power(&self.bands[band]) * scale) as f32)
        };
        SpectrumBands {
            now: level(&|bins| bins.sum(&self.now, f64::from), self.scale),
            mean: level(&|bins| bins.sum(&self.sum, |x| x), self.scale / self.count.max(1) as f64),
        }
    }

    /// Resets the mean.
    pub fn restart(&mut self) {
        self.sum.fill(0.0);
        self.count = 0;
    }
}

/// Frames times window, in pairs. For the widest registers that the processor has; the same bits in all.
#[multiversion(targets("x86_64+avx2"))]
fn weigh(frames: &[f32], window: &[f32], to: &mut [Complex<f32>]) {
    weigh_plain(frames, window, to);
}

#[inline(always)]
fn weigh_plain(frames: &[f32], window: &[f32], to: &mut [Complex<f32>]) {
    let pairs = frames.as_chunks::<2>().0.iter().zip(window.as_chunks::<2>().0);
    for (to, ([a, b], [v, w])) in to.iter_mut().zip(pairs) {
        *to = Complex { re: a * v, im: b * w };
    }
}

/// What is left of the moving average after a transform.
#[inline(always)]
fn faded(now: f32, keep: f32) -> f32 {
    let kept = now * keep;
    if kept > NOTHING { kept } else { 0.0 }
}

/// Lets the moving average fade; false when it is 0 everywhere.
fn fade(now: &mut [f32], keep: f32) -> bool {
    let mut highest = 0.0f32;
    for now in now {
        *now = faded(*now, keep);
        highest = minmax::larger(highest, *now);
    }
    highest > 0.0
}

/// Lets the moving average fade and adds a share of the power of both channels to it, and the power to the sum, if
/// there is one. For the widest registers that the processor has; the same bits in all.
#[multiversion(targets("x86_64+avx2"))]
fn add_power(power: [&[f32]; CHANNELS], share: f32, now: &mut [f32], sum: &mut [f64]) {
    add_power_plain(power, share, now, sum);
}

#[inline(always)]
fn add_power_plain([left, right]: [&[f32]; CHANNELS], share: f32, now: &mut [f32], sum: &mut [f64]) {
    let keep = 1.0 - share;
    for ((now, left), right) in now.iter_mut().zip(left).zip(right) {
        *now = faded(*now, keep) + share * left + share * right;
    }
    for ((sum, left), right) in sum.iter_mut().zip(left).zip(right) {
        *sum = *sum + f64::from(*left) + f64::from(*right);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The places of a band's bins against the definition, bin by bin.
    #[test]
    fn a_band_has_every_bin_with_its_share() {
        for rate in [8_000, 44_100, 96_000, 192_000] {
            let spectrum = Spectrum::new(rate);
            let (bins, n) = (spectrum.now.len(), spectrum.window.len());
            let quarter = n / 4;
            let mut random = testkit::Random::new(u64::from(rate));
            let power: Vec<f64> = (0..bins).map(|_| random.unit()).collect();
            let mut placed = vec![0.0; bins];
            (0..bins).for_each(|bin| placed[place(bin, quarter)] = power[bin]);
            let (step, edge) = (f64::from(rate) / n as f64, (1.0 / BANDS_PER_OCTAVE).exp2());
            for band in 0..BANDS {
                let (low, high) = (frequency(band) / edge / step, frequency(band) * edge / step);
                let share = |bin: usize| (high.min(bin as f64 + 0.5) - low.max(bin as f64 - 0.5)).max(0.0);
                let direct: f64 = power.iter().enumerate().map(|(bin, power)| power * share(bin)).sum();
                let found = spectrum.bands[band].sum(&placed, |x| x);
                assert!((found - direct).abs() <= 1e-12 * direct.max(1.0), "{rate} {band}: {found} {direct}");
            }
        }
    }

    /// The versions for this processor against those for every processor.
    #[test]
    fn wider_registers_change_no_bit() {
        let mut random = testkit::Random::new(6);
        for n in [128, 1024, 8192] {
            let mut values = |len: usize| (0..len).map(|_| random.signed() as f32).collect::<Vec<f32>>();
            let (frames, window) = (values(n), values(n));
            let (mut wide, mut plain) = (vec![Complex::default(); n / 2], vec![Complex::default(); n / 2]);
            weigh(&frames, &window, &mut wide);
            weigh_plain(&frames, &window, &mut plain);
            assert_eq!(wide, plain);
            let (re, im) = (values(n / 4), values(n / 4));
            let mut powers = [vec![0.0; n / 2 + 1], vec![0.0; n / 2 + 1]];
            power(&wide, &re, &im, &mut powers[0]);
            power_plain(&wide, &re, &im, &mut powers[1]);
            assert_eq!(powers[0], powers[1]);
            let other = values(n / 2 + 1);
            let now = values(n / 2 + 1);
            let (mut wide, mut plain) = ((now.clone(), vec![0.5; now.len()]), (now, vec![0.5; other.len()]));
            add_power([&powers[0], &other], 0.1, &mut wide.0, &mut wide.1);
            add_power_plain([&powers[0], &other], 0.1, &mut plain.0, &mut plain.1);
            assert_eq!(wide, plain);
        }
    }

    /// Silence after music, and music after that silence, against an analyser that is aware of none.
    #[test]
    fn known_silence_changes_no_figure() {
        let mut random = testkit::Random::new(8);
        let (mut aware, mut unaware) = (Spectrum::new(48_000), Spectrum::new(48_000));
        for chunk in 0..6000 {
            let silent = (500..4000).contains(&chunk) || (4100..4200).contains(&chunk);
            let level = if silent { 0.0 } else { 0.5 };
            let x: [[f32; CHUNK]; CHANNELS] =
                std::array::from_fn(|_| std::array::from_fn(|_| level * random.signed() as f32));
            aware.add(&x, silent, chunk % 1000 < 900);
            unaware.add(&x, false, chunk % 1000 < 900);
            if chunk % 700 == 0 {
                assert_eq!(aware.bands(), unaware.bands(), "chunk {chunk}");
            }
        }
    }

    #[test]
    fn a_full_scale_sine_reads_0_db_in_its_band_and_nothing_far_from_it() {
        for (rate, f) in [(44_100, 997.0), (48_000, 5003.0), (192_000, 400.0)] {
            let mut spectrum = Spectrum::new(rate);
            for n in 0..(4 * rate as usize / CHUNK) {
                let tone: [f32; CHUNK] = std::array::from_fn(|i| {
                    let phase = (n * CHUNK + i) as f64 * f / f64::from(rate);
                    (std::f64::consts::TAU * phase.fract()).sin() as f32
                });
                spectrum.add(&[tone, tone.map(|x| -x)], false, true);
            }
            let bands = spectrum.bands();
            let near = (BANDS_PER_OCTAVE * (f / LOWEST_HZ).log2()).round() as usize;
            assert!(bands.mean[near].abs() < 0.1, "{}", bands.mean[near]);
            assert!((bands.now[near] - bands.mean[near]).abs() < 0.2);
            assert!(bands.mean[near + 24] < -80.0);
            assert!(bands.mean[near - 12] < -60.0, "{}", bands.mean[near - 12]);
        }
    }
}

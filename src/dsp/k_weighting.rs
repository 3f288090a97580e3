//! K-weighting after ITU-R BS.1770-5, Annex 1: two channels of samples in, their weighted energy
//! (sum of squares, full scale = 1.0) out.
//!
//! Two channels run side by side so that one vector instruction serves both.

use super::CHUNK;
use super::filter::{Biquad, BiquadState};
use std::f64::consts::PI;

/// Highest corner as a share of the sample rate.
const MAX_CORNER_SHARE: f64 = 0.49;

/// The two sections, high shelf and high-pass, for a sample rate in Hz.
///
/// BS.1770 prints coefficients for 48 kHz only and asks for the same response elsewhere. The
/// analogue parameters below reproduce its table to all printed digits at 48 kHz. The numerator of
/// the high-pass, `[1, −2, 1]` in the table, is scaled so that its gain far above 38 Hz is the same
/// at every rate; left alone it loses 0.02 dB at 96 kHz and 0.03 dB at 192 kHz.
///
/// Below 3.43 kHz the shelf's corner would lie over half the rate; it is held at 0.49 of it.
pub fn design(sample_rate: f64) -> [Biquad; 2] {
    let shelf = {
        let k = (PI * (1681.974450955533 / sample_rate).min(MAX_CORNER_SHARE)).tan();
        let q = 0.7071752369554196;
        let vh = 10f64.powf(3.999843853973347 / 20.0);
        let vb = vh.powf(0.4996667741545416);
        let d = 1.0 + k / q + k * k;
        Biquad {
            b: [(vh + vb * k / q + k * k) / d, 2.0 * (k * k - vh) / d, (vh - vb * k / q + k * k) / d],
            a: [2.0 * (k * k - 1.0) / d, (1.0 - k / q + k * k) / d],
        }
    };
    let poles = |sample_rate: f64| {
        let k = (PI * 38.13547087602444 / sample_rate).tan();
        let q = 0.5003270373238773;
        let d = 1.0 + k / q + k * k;
        [2.0 * (k * k - 1.0) / d, (1.0 - k / q + k * k) / d]
    };
    let a = poles(sample_rate);
    let reference = poles(48_000.0);
    let g = (1.0 - a[0] + a[1]) / (1.0 - reference[0] + reference[1]);
    [shelf, Biquad { b: [g, -2.0 * g, g], a }]
}

/// Frames of channels. (All of a chunk before any is filtered: the compiler then interleaves whole registers.)
#[inline(always)]
fn interleaved<const LANES: usize>(channels: [&[f32; CHUNK]; LANES]) -> [[f32; LANES]; CHUNK] {
    let mut frames = [[0.0; LANES]; CHUNK];
    for i in 0..CHUNK {
        frames[i] = channels.map(|channel| channel[i]);
    }
    frames
}

/// K-weighting of `LANES` channels side by side.
#[derive(Clone, Copy, Debug)]
pub struct KWeighting<const LANES: usize = 2> {
    sections: [Biquad; 2],
    states: [BiquadState<LANES>; 2],
}

impl<const LANES: usize> KWeighting<LANES> {
    /// For a sample rate in Hz.
    pub fn new(sample_rate: f64) -> Self {
        Self { sections: design(sample_rate), states: Default::default() }
    }

    /// One frame, weighted.
    #[inline(always)]
    pub fn step(&mut self, x: [f64; LANES]) -> [f64; LANES] {
        let [shelf, high_pass] = &self.sections;
        let [s0, s1] = &mut self.states;
        s1.step(high_pass, s0.step(shelf, x))
    }

    /// Adds the squares of the weighted samples to `energy`, channel by channel. All channels
    /// have the same length.
    #[inline(always)]
    pub fn add_energy(&mut self, channels: [&[f32]; LANES], energy: &mut [f64; LANES]) {
        let frames = channels.iter().map(|channel| channel.len()).min().unwrap_or(0);
        let channels = channels.map(|channel| &channel[..frames]);
        let chunks = channels.map(|channel| channel.as_chunks::<CHUNK>().0);
        for n in 0..frames / CHUNK {
            self.add_frames(&interleaved(chunks.map(|chunks| &chunks[n])), energy);
        }
        for i in frames / CHUNK * CHUNK..frames {
            self.add_frames(&[channels.map(|channel| channel[i])], energy);
        }
    }

    #[inline(always)]
    fn add_frames<const FRAMES: usize>(
        &mut self,
        frames: &[[f32; LANES]; FRAMES],
        energy: &mut [f64; LANES],
    ) {
        let [shelf, high_pass] = self.sections;
        let [mut s0, mut s1] = self.states;
        let mut sum = *energy;
        for x in frames {
            let y = s1.step(&high_pass, s0.step(&shelf, x.map(f64::from)));
            for c in 0..LANES {
                sum[c] += y[c] * y[c];
            }
        }
        self.states = [s0, s1];
        *energy = sum;
    }

    /// Whether the filter's state is zero.
    #[inline(always)]
    pub fn is_clear(&self) -> bool {
        self.states.iter().all(BiquadState::is_clear)
    }

    /// Whether the frames add nothing and leave the filter as it is: zeros into a state of zeros.
    pub fn rests(&self, channels: &[&[f32]; LANES]) -> bool {
        // (As bits: comparisons one by one do not become vector code.)
        let are_zeros = |samples: &[f32]| samples.iter().fold(0, |all, x| all | x.to_bits()) << 1 == 0;
        self.is_clear() && channels.iter().all(|channel| are_zeros(channel))
    }

    /// Clears state that would become subnormal; called at fixed frames, so that the figures do not
    /// depend on the block size.
    pub fn flush(&mut self) {
        self.states.iter_mut().for_each(BiquadState::flush);
    }

    /// Clears the filters' state.
    pub fn reset(&mut self) {
        self.states = Default::default();
    }
}

impl KWeighting<4> {
    /// Two filters of the same rate side by side, with their states.
    pub fn beside(a: &KWeighting, b: &KWeighting) -> Self {
        let states = [0, 1].map(|n| {
            let (a, b) = (&a.states[n], &b.states[n]);
            BiquadState { s1: [a.s1[0], a.s1[1], b.s1[0], b.s1[1]], s2: [a.s2[0], a.s2[1], b.s2[0], b.s2[1]] }
        });
        Self { sections: a.sections, states }
    }

    /// Gives the states back.
    pub fn part(&self, a: &mut KWeighting, b: &mut KWeighting) {
        for (n, from) in self.states.iter().enumerate() {
            for (at, to) in [(0, &mut a.states[n]), (2, &mut b.states[n])] {
                to.s1 = [from.s1[at], from.s1[at + 1]];
                to.s2 = [from.s2[at], from.s2[at + 1]];
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// BS.1770-5, Annex 1, tables 1 and 2.
    #[test]
    fn the_published_table_at_48_khz() {
        let [shelf, high_pass] = design(48_000.0);
        let published = [
            (shelf.b[0], 1.53512485958697),
            (shelf.b[1], -2.69169618940638),
            (shelf.b[2], 1.19839281085285),
            (shelf.a[0], -1.69065929318241),
            (shelf.a[1], 0.73248077421585),
            (high_pass.b[0], 1.0),
            (high_pass.b[1], -2.0),
            (high_pass.b[2], 1.0),
            (high_pass.a[0], -1.99004745483398),
            (high_pass.a[1], 0.99007225036621),
        ];
        for (mine, table) in published {
            assert!((mine - table).abs() < 1e-13, "{mine} instead of {table}");
        }
    }
}

//! Sample rate conversion: planar samples at one rate in, at another rate out, aligned with the input
//! and of the matching length.
//!
//! The conversion itself is the crate rubato's synchronous one: a block is transformed, multiplied
//! with a linear-phase filter and transformed back, in 64-bit float. The blocks are chosen long
//! enough for the filter to stay flat up to 20 kHz at 44.1 kHz; the tests measure the residual.

use crate::dsp::gcd;
use rubato::audioadapter_buffers::direct::SequentialSliceOfVecs;
use rubato::{Fft, FixedSync, Resampler, WindowFunction};

/// Frames of the shorter side of one transform. At 44.1 kHz it makes the filter's transition band, from
/// "flat within 0.01 dB" to "down by more than 130 dB", less than 2 kHz wide.
const BLOCK_FRAMES: usize = 2048;

/// A running conversion of two channels.
pub struct Converter {
    from: u64,
    to: u64,
    engine: Fft<f64>,
    /// Input that does not yet fill a block of the engine.
    input: [Vec<f64>; 2],
    /// Buffer for the output of the engine.
    output: [Vec<f64>; 2],
    /// Frames of the engine's own delay that are still to be dropped.
    lead: usize,
    taken: u64,
    given: u64,
}

impl Converter {
    /// From one rate to another, both in Hz.
    ///
    /// # Panics
    /// If a rate is 0.
    pub fn new(from: u32, to: u32) -> Self {
        let common = gcd(from, to);
        let (step_in, step_out) = ((from / common) as usize, (to / common) as usize);
        // An even number of steps keeps the engine's delay a whole number of frames.
        let steps = BLOCK_FRAMES.div_ceil(step_in.min(step_out)).next_multiple_of(2);
        let engine = Fft::new_custom(
            from as usize,
            to as usize,
            steps * step_in,
            1,
            2,
            WindowFunction::BlackmanHarris2,
            FixedSync::Both,
        )
        .expect("rates above 0 and two channels are all it asks for");
        let lead = engine.output_delay();
        Self {
            from: u64::from(from),
            to: u64::from(to),
            engine,
            input: [Vec::new(), Vec::new()],
            output: [Vec::new(), Vec::new()],
            lead,
            taken: 0,
            given: 0,
        }
    }

    /// Frames that `frames` at the old rate become.
    pub fn length(&self, frames: u64) -> u64 {
        (u128::from(frames) * u128::from(self.to)).div_ceil(u128::from(self.from)) as u64
    }

    /// Takes frames in and appends what is ready to `out`.
    pub fn push(&mut self, left: &[f64], right: &[f64], out: &mut [Vec<f64>; 2]) {
        self.taken += left.len() as u64;
        self.input[0].extend_from_slice(left);
        self.input[1].extend_from_slice(right);
        self.run(out);
    }

    /// Appends the rest, so that the total output has [`length`](Self::length) frames.
    pub fn end(&mut self, out: &mut [Vec<f64>; 2]) {
        let whole = self.length(self.taken);
        while self.given < whole {
            let fill = self.engine.input_frames_next();
            for channel in &mut self.input {
                channel.resize(fill, 0.0);
            }
            self.run(out);
        }
        let extra = (self.given - whole) as usize;
        for channel in out {
            channel.truncate(channel.len() - extra);
        }
        self.given = whole;
    }

    fn run(&mut self, out: &mut [Vec<f64>; 2]) {
        let mut at = 0;
        loop {
            let (need, make) = (self.engine.input_frames_next(), self.engine.output_frames_next());
            if self.input[0].len() - at < need {
                break;
            }
            for channel in &mut self.output {
                channel.resize(make, 0.0);
            }
            // The engine takes blocks of one size.
            let block = [0, 1].map(|ch| self.input[ch][at..at + need].to_vec());
            let source =
                SequentialSliceOfVecs::new(&block, 2, need).expect("two channels of the needed length");
            let mut sink = SequentialSliceOfVecs::new_mut(&mut self.output, 2, make)
                .expect("two channels of the made length");
            self.engine.process_into_buffer(&source, &mut sink, None).expect("buffers of the asked sizes");
            let drop = self.lead.min(make);
            self.lead -= drop;
            for (out, channel) in out.iter_mut().zip(&self.output) {
                out.extend_from_slice(&channel[drop..]);
            }
            self.given += (make - drop) as u64;
            at += need;
        }
        for channel in &mut self.input {
            channel.drain(..at);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_time_of_an_event_is_kept() {
        for (from, to) in [(48_000, 44_100), (44_100, 96_000), (96_000, 44_100), (44_100, 48_000)] {
            let mut converter = Converter::new(from, to);
            // A smooth bump around 0.25 s.
            let channel: Vec<f64> = (0..from / 2)
                .map(|n| (-(f64::from(n) / f64::from(from) - 0.25).powi(2) / 2e-6).exp())
                .collect();
            let mut out = [Vec::new(), Vec::new()];
            for part in channel.chunks(1000) {
                converter.push(part, part, &mut out);
            }
            converter.end(&mut out);
            assert_eq!(out[0].len() as u64, converter.length(channel.len() as u64));
            assert_eq!(out[0], out[1]);
            for (n, y) in out[0].iter().enumerate() {
                let wanted = (-(n as f64 / f64::from(to) - 0.25).powi(2) / 2e-6).exp();
                assert!((y - wanted).abs() < 1e-6, "{from} to {to}: {n}: {y} {wanted}");
            }
        }
    }
}

//! Where two songs belong together: a reference A and a file B in; the number of frames by which B is behind
//! A and the confidence of that out.
//!
//! The loudest stretch of one is searched in the whole of the other by the normalised cross-correlation
//! of the mid signals (J. P. Lewis, "Fast Normalized Cross-Correlation", 1995, from memory), in segments of
//! bounded size. The loudest stretch is music for sure; a beginning may be cut away and a middle silent.

use realfft::num_complex::Complex;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use std::sync::Arc;

use super::error::Result;
use super::planes::BLOCK_FRAMES;
use super::song_reader::SongReader;

/// Longest stretch that is searched, s.
const TEMPLATE_S: f64 = 12.0;
/// Confidence from which on the second direction is not tried (own choice).
const SURE: f64 = 0.9;
/// Energy of a stretch below which it counts as silent, per frame (−120 dBFS; own choice).
const SILENT: f64 = 1e-12;

/// How two songs lie.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Alignment {
    /// Frames by which B is behind A; negative where it is ahead.
    pub lag: i64,
    /// Magnitude of the normalised correlation there, 0 to 1.
    pub confidence: f64,
}

/// Opens a song for one more pass.
pub(super) type Open<'a> = &'a dyn Fn() -> Result<SongReader>;

/// Calls `f` with each block of the mid signal (left + right).
fn for_each_mid(open: Open, mut f: impl FnMut(&[f64])) -> Result<()> {
    let mut song = open()?;
    let (mut left, mut right) = (vec![0.0; BLOCK_FRAMES], vec![0.0; BLOCK_FRAMES]);
    loop {
        let n = song.read(&mut left, &mut right)?;
        if n == 0 {
            return Ok(());
        }
        left[..n].iter_mut().zip(&right).for_each(|(left, right)| *left += right);
        f(&left[..n]);
    }
}

/// The stretch of at most `frames` frames with most energy: its first frame and its samples; none if it is
/// silent.
fn loudest(open: Open, frames: usize) -> Result<Option<(usize, Vec<f64>)>> {
    // Energies of blocks: a stretch begins with a block.
    let mut blocks = Vec::new();
    let mut pending = (0.0, 0);
    let mut total = 0;
    for_each_mid(open, |mid| {
        total += mid.len();
        for x in mid {
            pending = (pending.0 + x * x, pending.1 + 1);
            if pending.1 == BLOCK_FRAMES {
                blocks.push(pending.0);
                pending = (0.0, 0);
            }
        }
    })?;
    blocks.push(pending.0);
    let frames = frames.min(total);
    let width = frames.div_ceil(BLOCK_FRAMES).clamp(1, blocks.len());
    let energy = |at: usize| blocks[at..at + width].iter().sum::<f64>();
    let best = (0..=blocks.len() - width).max_by(|&a, &b| energy(a).total_cmp(&energy(b))).unwrap_or(0);
    let from = (best * BLOCK_FRAMES).min(total - frames);
    let (mut at, mut out) = (0, Vec::with_capacity(frames));
    for_each_mid(open, |mid| {
        let skip = from.saturating_sub(at).min(mid.len());
        out.extend(mid[skip..].iter().take(frames - out.len()));
        at += mid.len();
    })?;
    let energy: f64 = out.iter().map(|x| x * x).sum();
    Ok((energy > SILENT * out.len() as f64).then_some((from, out)))
}

/// Searches one stretch in a stream.
struct Matcher {
    forward: Arc<dyn RealToComplex<f64>>,
    inverse: Arc<dyn ComplexToReal<f64>>,
    template: Vec<Complex<f64>>,
    template_energy: f64,
    frames: usize,
    size: usize,
    /// The part of the stream that is looked at and where it begins.
    segment: Vec<f64>,
    start: usize,
    best: Option<Alignment>,
}

impl Matcher {
    fn new(template: &[f64]) -> Self {
        // At least as many places as the stretch is long are tried at once.
        let size = (2 * template.len()).next_power_of_two();
        let mut planner = RealFftPlanner::<f64>::new();
        let (forward, inverse) = (planner.plan_fft_forward(size), planner.plan_fft_inverse(size));
        let mut padded = template.to_vec();
        padded.resize(size, 0.0);
        let mut bins = forward.make_output_vec();
        forward.process(&mut padded, &mut bins).expect("buffers of the plan's own length");
        Self {
            forward,
            inverse,
            template: bins,
            template_energy: template.iter().map(|x| x * x).sum(),
            frames: template.len(),
            size,
            segment: Vec::with_capacity(size),
            start: 0,
            best: None,
        }
    }

    /// The next samples of the stream.
    fn feed(&mut self, mut samples: &[f64]) {
        while !samples.is_empty() {
            let n = samples.len().min(self.size - self.segment.len());
            self.segment.extend(&samples[..n]);
            samples = &samples[n..];
            if self.segment.len() == self.size {
                self.search();
                // What is left may hold the beginning of the stretch.
                let done = self.size - self.frames + 1;
                self.segment.drain(..done);
                self.start += done;
            }
        }
    }

    /// The best place: `lag` is the frame of the stream at which the stretch begins.
    fn finish(mut self) -> Option<Alignment> {
        if self.segment.len() >= self.frames {
            self.search();
        }
        self.best
    }

    fn search(&mut self) {
        let places = self.segment.len() - self.frames + 1;
        let mut sums = Vec::with_capacity(self.segment.len() + 1);
        let mut sum = 0.0;
        sums.push(sum);
        for x in &self.segment {
            sum += x * x;
            sums.push(sum);
        }
        let mut padded = self.segment.clone();
        padded.resize(self.size, 0.0);
        let mut bins = self.forward.make_output_vec();
        self.forward.process(&mut padded, &mut bins).expect("buffers of the plan's own length");
        for (bin, template) in bins.iter_mut().zip(&self.template) {
            *bin *= template.conj();
        }
        // The first and last bins of real signals are real; rounding must not make them complex.
        if let [first, .., last] = bins.as_mut_slice() {
            first.im = 0.0;
            last.im = 0.0;
        }
        self.inverse.process(&mut bins, &mut padded).expect("buffers of the plan's own length");
        for k in 0..places {
            let energy = sums[k + self.frames] - sums[k];
            if energy <= SILENT * self.frames as f64 {
                continue;
            }
            let product = padded[k].abs() / self.size as f64;
            let confidence = (product / (energy * self.template_energy).sqrt()).min(1.0);
            if self.best.is_none_or(|best| confidence > best.confidence) {
                self.best = Some(Alignment { lag: (self.start + k) as i64, confidence });
            }
        }
    }
}

/// The best place of the loudest stretch of `a` in all of `b`; none if either is silent.
fn search(a: Open, b: Open) -> Result<Option<Alignment>> {
    let song = a()?;
    let frames = ((TEMPLATE_S * f64::from(song.rate())) as u64).min(song.length()).min(b()?.length());
    let Some((from, template)) = loudest(a, frames as usize)? else { return Ok(None) };
    let mut matcher = Matcher::new(&template);
    for_each_mid(b, |mid| matcher.feed(mid))?;
    Ok(matcher.finish().map(|found| Alignment { lag: found.lag - from as i64, ..found }))
}

/// How B lies to A; none if either is silent.
pub(super) fn align(a: Open, b: Open) -> Result<Option<Alignment>> {
    let Some(there) = search(a, b)? else { return Ok(None) };
    if there.confidence >= SURE {
        return Ok(Some(there));
    }
    // B may be an excerpt without the loudest stretch of A: then the loudest of B lies in A.
    let back = search(b, a)?.map(|back| Alignment { lag: -back.lag, ..back });
    Ok(Some(back.filter(|back| back.confidence > there.confidence).unwrap_or(there)))
}

//! Running maximum over the last so many frames, a chunk at a time, at a cost that never varies.
//!
//! The idea is van Herk's (Pattern Recognition Letters 13, 1992) and Gil and Werman's (IEEE Trans.
//! PAMI 15, 1993; both from memory): cut the signal into pieces, keep the maximum from each sample
//! to the end of its piece; a window is then the end of one old piece, the beginning of the
//! newest, and whole pieces between. With pieces of one chunk the whole pieces are few (15 for
//! 10 ms at 48 kHz) and are scanned once a chunk: the cost per chunk does not depend on the input,
//! unlike that of a monotonic queue, which is slow on falling input.

use super::CHUNK;
use super::chunk_ring::ChunkRing;
use super::minmax::larger;
use multiversion::multiversion;

/// Maximum over a window of frames. Values are ≥ 0 and there were only zeros before the first.
#[derive(Clone, Debug)]
pub struct SlidingMax {
    /// Frames in the window, the present one included.
    window: usize,
    /// For each frame the maximum from it to the end of its chunk.
    suffix: ChunkRing<f64>,
    /// The newest chunk as it came in: short windows look only there and one chunk back.
    last: [f64; CHUNK],
    /// Chunks since the last one that held anything but zeros.
    quiet: usize,
}

impl SlidingMax {
    /// A window of `window` frames (at least 1), room for up to `max_window`.
    pub fn new(window: usize, max_window: usize) -> Self {
        Self { window, suffix: ChunkRing::new(max_window + CHUNK), last: [0.0; CHUNK], quiet: usize::MAX }
    }

    /// Another window length, at most the `max_window` of [`SlidingMax::new`]; clears everything.
    pub fn set_window(&mut self, window: usize) {
        self.window = window;
        self.reset();
    }

    /// Clears everything to zeros.
    pub fn reset(&mut self) {
        self.suffix.fill(0.0);
        self.last = [0.0; CHUNK];
        self.quiet = usize::MAX;
    }

    /// Copies the state of another one of the same size.
    pub fn copy_from(&mut self, other: &Self) {
        let Self { window, suffix, last, quiet } = self;
        suffix.copy_from(&other.suffix);
        (*window, *last, *quiet) = (other.window, other.last, other.quiet);
    }

    /// For each of the 32 new frames the maximum of it and the `window` − 1 frames before it.
    pub fn process(&mut self, x: &[f64; CHUNK]) -> [f64; CHUNK] {
        let mut y = [0.0; CHUNK];
        process_chunk(self, x, &mut y);
        y
    }

    /// The arithmetic, inlined into every version of [`process_chunk`].
    #[inline(always)]
    fn process_scalar(&mut self, x: &[f64; CHUNK], y: &mut [f64; CHUNK]) {
        if x.iter().all(|&v| v == 0.0) {
            self.quiet = self.quiet.saturating_add(1);
            // Everything that can be reached is zero, and so is every stored suffix.
            if self.quiet > self.window / CHUNK + 3 {
                return;
            }
        } else {
            self.quiet = 0;
        }
        if self.window <= CHUNK { self.short(x, y) } else { self.long(x, y) }
    }

    /// Windows of more than one chunk.
    #[inline(always)]
    fn long(&mut self, x: &[f64; CHUNK], y: &mut [f64; CHUNK]) {
        // Both at once: each is a chain in which every step waits for the one before.
        let (mut suffix, mut prefix) = (*x, *x);
        for i in 1..CHUNK {
            prefix[i] = larger(prefix[i], prefix[i - 1]);
            suffix[CHUNK - 1 - i] = larger(suffix[CHUNK - 1 - i], suffix[CHUNK - i]);
        }
        self.suffix.push(&suffix);
        let reach = self.window - 1;
        let old = self.suffix.read(reach);
        // Frame i begins its window in the chunk that lies ceil((reach − i) / 32) back: one
        // number for the first frames, possibly one less for the last.
        let far = reach.div_ceil(CHUNK);
        let near = (reach + 1 - CHUNK).div_ceil(CHUNK);
        let mut between = 0.0;
        for chunk in 1..near {
            between = larger(between, self.suffix.at(chunk * CHUNK));
        }
        let with_far =
            if far > near && near > 0 { larger(between, self.suffix.at(near * CHUNK)) } else { between };
        // (reach − i) / 32, rounded up, is `far` for these and one less for the rest.
        let first = reach - (far - 1) * CHUNK;
        for i in 0..CHUNK {
            let whole = if i < first { with_far } else { between };
            y[i] = larger(larger(prefix[i], old[i]), whole);
        }
    }

    /// Windows of up to one chunk: doubled until the next doubling would be too long.
    #[inline(always)]
    fn short(&mut self, x: &[f64; CHUNK], y: &mut [f64; CHUNK]) {
        let mut both = [0.0; 2 * CHUNK];
        both[..CHUNK].copy_from_slice(&self.last);
        both[CHUNK..].copy_from_slice(x);
        self.last = *x;
        let mut span = 1;
        while 2 * span <= self.window {
            for i in (span..2 * CHUNK).rev() {
                both[i] = larger(both[i], both[i - span]);
            }
            span *= 2;
        }
        let rest = self.window - span;
        for i in 0..CHUNK {
            y[i] = larger(both[CHUNK + i], both[CHUNK + i - rest]);
        }
    }
}

/// [`SlidingMax::process_scalar`] compiled for the widest vector registers of the processor; every
/// version gives the same bits.
#[multiversion(targets("x86_64+avx2"))]
fn process_chunk(max: &mut SlidingMax, x: &[f64; CHUNK], y: &mut [f64; CHUNK]) {
    max.process_scalar(x, y);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equals_the_maximum_by_definition() {
        let mut random = testkit::Random::new(1);
        let x: Vec<f64> = (0..64 * CHUNK)
            .map(|n| {
                // Long stretches of zeros, so that the idle path runs too.
                if (n / 700) % 2 == 0 { random.unit() } else { 0.0 }
            })
            .collect();
        for window in [1, 2, 3, 9, 16, 31, 32, 33, 34, 63, 64, 65, 66, 96, 97, 128, 129, 481] {
            let mut max = SlidingMax::new(window, 500);
            for (c, chunk) in x.chunks_exact(CHUNK).enumerate() {
                let got = max.process(chunk.try_into().unwrap());
                for (i, got) in got.into_iter().enumerate() {
                    let n = c * CHUNK + i;
                    let want = x[(n + 1).saturating_sub(window)..=n].iter().fold(0.0, |m: f64, &v| m.max(v));
                    assert_eq!(got, want, "window {window}, frame {n}");
                }
            }
        }
    }
}

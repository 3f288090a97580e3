//! Running maximum or minimum over the last so many values, `N` values at a time, at a cost that
//! does not depend on the signal.
//!
//! The idea is van Herk's (Pattern Recognition Letters 13, 1992) and Gil and Werman's (IEEE Trans.
//! PAMI 15, 1993; both from memory): cut the signal into pieces, keep the extreme from each value
//! to the end of its piece; a window is then the end of one old piece, the beginning of the
//! newest, and whole pieces between. The whole pieces are few (15 for 10 ms at 48 kHz, pieces of
//! eight steps of four frames) and are scanned once a piece, so that there is no long step
//! anywhere, which a wedge (a queue of falling values) has on its worst input.

use super::chunk_ring::ChunkRing;

/// Which extreme is kept.
pub trait Extreme {
    /// The one of two values that is kept.
    fn of(a: f32, b: f32) -> f32;
}

/// Keeps the larger value.
#[derive(Clone, Copy, Debug)]
pub struct Largest;

/// Keeps the smaller value.
#[derive(Clone, Copy, Debug)]
pub struct Smallest;

impl Extreme for Largest {
    #[inline(always)]
    fn of(a: f32, b: f32) -> f32 {
        if a > b { a } else { b }
    }
}

impl Extreme for Smallest {
    #[inline(always)]
    fn of(a: f32, b: f32) -> f32 {
        if a < b { a } else { b }
    }
}

/// Maximum over a window.
pub type SlidingMax<const N: usize> = Sliding<Largest, N>;
/// Minimum over a window.
pub type SlidingMin<const N: usize> = Sliding<Smallest, N>;

/// Extreme over a window of values. Before the first value there were only zeros.
#[derive(Clone, Debug)]
pub struct Sliding<E, const N: usize> {
    /// Values in the window, the present one included.
    window: usize,
    /// For each value the extreme from it to the end of its piece.
    suffix: ChunkRing<f32, N>,
    /// The newest values as they came in: windows within a piece look only there.
    last: [f32; N],
    extreme: std::marker::PhantomData<E>,
}

impl<E: Extreme, const N: usize> Sliding<E, N> {
    /// A window of `window` values (at least 1), room for up to `max_window`.
    pub fn new(window: usize, max_window: usize) -> Self {
        Self {
            window,
            suffix: ChunkRing::new(max_window + N),
            last: [0.0; N],
            extreme: std::marker::PhantomData,
        }
    }

    /// Another window length, at most the `max_window` of [`Sliding::new`]; forgets everything.
    pub fn set_window(&mut self, window: usize) {
        self.window = window;
        self.reset();
    }

    /// Forgets everything.
    pub fn reset(&mut self) {
        self.suffix.fill(0.0);
        self.last = [0.0; N];
    }

    /// Takes over what another one of the same size remembers.
    pub fn copy_from(&mut self, other: &Self) {
        self.suffix.copy_from(&other.suffix);
        (self.window, self.last) = (other.window, other.last);
    }

    /// For each of the `N` new values the extreme of it and the `window` − 1 values before it.
    #[inline(always)]
    pub fn process(&mut self, x: &[f32; N]) -> [f32; N] {
        let (mut suffix, mut prefix) = (*x, *x);
        for i in 1..N {
            prefix[i] = E::of(prefix[i], prefix[i - 1]);
            suffix[N - 1 - i] = E::of(suffix[N - 1 - i], suffix[N - i]);
        }
        self.suffix.push(&suffix);
        let before = std::mem::replace(&mut self.last, *x);
        if self.window <= N { self.short(&before, x) } else { self.long(&prefix) }
    }

    /// Windows of more than one piece.
    #[inline(always)]
    fn long(&self, prefix: &[f32; N]) -> [f32; N] {
        let reach = self.window - 1;
        let old = self.suffix.read(reach);
        // Value i begins its window in the piece that lies ceil((reach − i) / N) back: one number
        // for the first values, possibly one less for the last.
        let far = reach.div_ceil(N);
        let near = (reach + 1 - N).div_ceil(N);
        let mut between = old[N - 1];
        for piece in 1..near {
            between = E::of(between, self.suffix.at(piece * N));
        }
        // (The last value of `old` lies in every window: it may start the scan.)
        let with_far =
            if far > near && near > 0 { E::of(between, self.suffix.at(near * N)) } else { between };
        let first = reach - (far - 1) * N;
        let mut y = [0.0; N];
        for i in 0..N {
            let whole = if i < first { with_far } else { between };
            y[i] = E::of(E::of(prefix[i], old[i]), whole);
        }
        y
    }

    /// Windows within a piece, by definition.
    #[inline(always)]
    fn short(&self, before: &[f32; N], x: &[f32; N]) -> [f32; N] {
        let mut y = *x;
        for back in 1..self.window {
            for i in 0..N {
                y[i] = E::of(y[i], if i >= back { x[i - back] } else { before[N + i - back] });
            }
        }
        y
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check<E: Extreme>(fold: fn(f32, f32) -> f32) {
        const N: usize = 8;
        let mut seed = 1u64;
        let x: Vec<f32> = (0..200 * N)
            .map(|n| {
                seed = seed.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
                if (n / 170) % 2 == 0 { (seed >> 40) as f32 } else { 0.0 }
            })
            .collect();
        for window in [1, 2, 3, 7, 8, 9, 10, 15, 16, 17, 18, 24, 25, 33, 121] {
            let mut sliding = Sliding::<E, N>::new(window, 130);
            for (c, piece) in x.chunks_exact(N).enumerate() {
                let got = sliding.process(piece.try_into().unwrap());
                for (i, got) in got.into_iter().enumerate() {
                    let n = c * N + i;
                    let at = |k: usize| if k > n { 0.0 } else { x[n - k] };
                    let want = (1..window).fold(x[n], |m, k| fold(m, at(k)));
                    assert_eq!(got, want, "window {window}, value {n}");
                }
            }
        }
    }

    #[test]
    fn equals_the_extreme_by_definition() {
        check::<Largest>(f32::max);
        check::<Smallest>(f32::min);
    }
}

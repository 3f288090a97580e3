//! The last so many values of a signal, written `N` at a time and read `N` at a time at any
//! distance: what went in `back` values ago comes out unchanged.

use super::CHUNK;

/// Ring of whole pieces of `N` values: a chunk of frames, or the steps of a chunk.
#[derive(Clone, Debug)]
pub struct ChunkRing<T, const N: usize = CHUNK> {
    /// Values; a multiple of `N`, and the first piece once more after the last: every `N` values
    /// then stand in one piece, and are lent instead of copied.
    ring: Box<[T]>,
    /// Where the newest piece begins.
    newest: usize,
}

impl<T: Copy + Default, const N: usize> ChunkRing<T, N> {
    /// Room to look back `max_back` values, filled with `T::default()`.
    pub fn new(max_back: usize) -> Self {
        let len = max_back.next_multiple_of(N) + 2 * N;
        Self { ring: vec![T::default(); len].into(), newest: 0 }
    }

    /// Takes one piece in.
    #[inline(always)]
    pub fn push(&mut self, piece: &[T; N]) {
        self.newest += N;
        if self.newest == self.len() {
            self.newest = 0;
            let len = self.len();
            self.ring[len..].copy_from_slice(piece);
        }
        self.ring[self.newest..self.newest + N].copy_from_slice(piece);
    }

    /// The `N` values that lie `back` values before the newest piece (0: the newest itself).
    /// `back` is at most the `max_back` of [`ChunkRing::new`].
    #[inline(always)]
    pub fn read(&self, back: usize) -> &[T; N] {
        let start = self.place(back);
        self.ring[start..start + N].try_into().expect("a whole piece")
    }

    /// One value: the one that lies `back` values before the first of the newest piece.
    #[inline(always)]
    pub fn at(&self, back: usize) -> T {
        self.ring[self.place(back)]
    }

    /// Values of the ring, the first piece counted once.
    #[inline(always)]
    fn len(&self) -> usize {
        self.ring.len() - N
    }

    #[inline(always)]
    fn place(&self, back: usize) -> usize {
        if back <= self.newest { self.newest - back } else { self.newest + self.len() - back }
    }

    /// Takes over what another one of the same size remembers.
    pub fn copy_from(&mut self, other: &Self) {
        self.ring.copy_from_slice(&other.ring);
        self.newest = other.newest;
    }

    /// The same value everywhere, as if it had always been so.
    pub fn fill(&mut self, value: T) {
        self.ring.fill(value);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_what_was_written_at_every_distance() {
        let mut history = ChunkRing::<u32>::new(70);
        for chunk in 0..20u32 {
            history.push(&std::array::from_fn(|i| 1000 + chunk * 32 + i as u32));
            for back in 0..=70 {
                let first = 1000 + i64::from(chunk) * 32 - back as i64;
                let want = |n: i64| if n < 1000 { 0 } else { n as u32 };
                assert_eq!(*history.read(back), std::array::from_fn(|i| want(first + i as i64)));
                assert_eq!(history.at(back), want(first));
            }
        }
    }
}

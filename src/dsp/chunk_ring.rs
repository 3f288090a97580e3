//! Ring buffer of the latest samples of a signal, written one chunk at a time and read as a chunk at
//! any distance: [`ChunkRing::read`]`(back)` returns what was written `back` frames earlier.

use super::CHUNK;

/// Ring of whole chunks.
#[derive(Clone, Debug)]
pub struct ChunkRing<T> {
    /// Samples; a multiple of [`CHUNK`], with the first chunk repeated after the last, so that any
    /// 32 consecutive frames are contiguous and can be borrowed instead of copied.
    ring: Box<[T]>,
    /// Where the newest chunk begins.
    newest: usize,
}

impl<T: Copy + Default> ChunkRing<T> {
    /// Room to look back `max_back` frames, filled with `T::default()`.
    pub fn new(max_back: usize) -> Self {
        let len = max_back.next_multiple_of(CHUNK) + 2 * CHUNK;
        Self { ring: vec![T::default(); len].into(), newest: 0 }
    }

    /// Appends one chunk.
    #[inline(always)]
    pub fn push(&mut self, chunk: &[T; CHUNK]) {
        self.newest += CHUNK;
        if self.newest == self.len() {
            self.newest = 0;
            let len = self.len();
            self.ring[len..].copy_from_slice(chunk);
        }
        self.ring[self.newest..self.newest + CHUNK].copy_from_slice(chunk);
    }

    /// The 32 frames that lie `back` frames before the newest chunk (0: the newest itself).
    /// `back` is at most the `max_back` of [`ChunkRing::new`].
    #[inline(always)]
    pub fn read(&self, back: usize) -> &[T; CHUNK] {
        let start = self.index(back);
        self.ring[start..start + CHUNK].try_into().expect("a chunk")
    }

    /// One sample: the one that lies `back` frames before the first of the newest chunk.
    #[inline(always)]
    pub fn at(&self, back: usize) -> T {
        self.ring[self.index(back)]
    }

    /// Frames of the ring, the first chunk counted once.
    #[inline(always)]
    fn len(&self) -> usize {
        self.ring.len() - CHUNK
    }

    #[inline(always)]
    fn index(&self, back: usize) -> usize {
        if back <= self.newest { self.newest - back } else { self.newest + self.len() - back }
    }

    /// Copies the state of another one of the same size.
    pub fn copy_from(&mut self, other: &Self) {
        self.ring.copy_from_slice(&other.ring);
        self.newest = other.newest;
    }

    /// Sets every sample to `value`.
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

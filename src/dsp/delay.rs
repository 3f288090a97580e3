//! A fixed delay of whole samples.

use super::CHUNK;

/// Ring of the last `len` values; what goes in comes out `len` calls later, unchanged.
#[derive(Clone, Debug)]
pub struct Delay<T> {
    ring: Box<[T]>,
    at: usize,
}

impl<T: Copy + Default> Delay<T> {
    /// A delay of `len` samples (0 passes straight through), filled with `T::default()`.
    pub fn new(len: usize) -> Self {
        Self { ring: vec![T::default(); len].into(), at: 0 }
    }

    /// Length in samples.
    pub fn len(&self) -> usize {
        self.ring.len()
    }

    /// True for a delay of 0 samples.
    pub fn is_empty(&self) -> bool {
        self.ring.is_empty()
    }

    /// Appends one value and returns the one of `len` calls ago.
    #[inline]
    pub fn step(&mut self, x: T) -> T {
        if self.ring.is_empty() {
            return x;
        }
        let y = std::mem::replace(&mut self.ring[self.at], x);
        self.at += 1;
        if self.at == self.ring.len() {
            self.at = 0;
        }
        y
    }

    /// [`step`](Self::step) for every frame of `x`, written to `y`; both have the same length.
    #[inline]
    pub fn process(&mut self, x: &[T], y: &mut [T]) {
        if self.ring.is_empty() {
            y.copy_from_slice(x);
            return;
        }
        // A whole chunk that does not meet the ring's end: of a length that the compiler knows.
        if let (Ok(x), Ok(y)) = (<&[T; CHUNK]>::try_from(x), <&mut [T; CHUNK]>::try_from(&mut *y))
            && self.at + CHUNK < self.ring.len()
        {
            let ring = self.ring[self.at..].first_chunk_mut::<CHUNK>().expect("so many are left");
            *y = std::mem::replace(ring, *x);
            self.at += CHUNK;
            return;
        }
        let mut done = 0;
        while done < x.len() {
            let n = (x.len() - done).min(self.ring.len() - self.at);
            let ring = &mut self.ring[self.at..self.at + n];
            y[done..done + n].copy_from_slice(ring);
            ring.copy_from_slice(&x[done..done + n]);
            self.at += n;
            if self.at == self.ring.len() {
                self.at = 0;
            }
            done += n;
        }
    }

    /// Clears everything to `T::default()`.
    pub fn reset(&mut self) {
        self.ring.fill(T::default());
        self.at = 0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn returns_the_input_after_the_delay() {
        let mut delay = Delay::<f32>::new(3);
        let out: Vec<f32> = (1..=6).map(|n| delay.step(n as f32)).collect();
        assert_eq!(out, [0.0, 0.0, 0.0, 1.0, 2.0, 3.0]);
        assert_eq!(Delay::<f32>::new(0).step(7.0), 7.0);
    }

    #[test]
    fn process_equals_step_for_every_frame() {
        let x: Vec<f32> = (1..=500).map(|n| n as f32).collect();
        for (len, parts) in
            [0, 1, 3, 7, 32, 33, 40, 64, 100].into_iter().flat_map(|len| [(len, 7), (len, CHUNK)])
        {
            let (mut one, mut many) = (Delay::new(len), Delay::new(len));
            for part in x.chunks(parts) {
                let want: Vec<f32> = part.iter().map(|&x| one.step(x)).collect();
                let mut got = vec![0.0; part.len()];
                many.process(part, &mut got);
                assert_eq!(got, want, "delay of {len} in parts of {parts}");
            }
        }
    }
}

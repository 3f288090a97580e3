//! Two songs read side by side after one has been shifted: readers and a lag in, blocks of both out.

use std::path::Path;

use super::error::{Error, Fault, Result};
use super::planes::BLOCK_FRAMES;
use super::progress::ProgressWatcher;
use super::song_reader::SongReader;

/// Two aligned songs.
pub(super) struct AlignedPair<'a> {
    a: SongReader,
    b: SongReader,
    name: &'a Path,
}

impl<'a> AlignedPair<'a> {
    pub fn new(mut a: SongReader, mut b: SongReader, lag: i64, name: &'a Path) -> Result<Self> {
        let skip = |song: &mut SongReader, frames: i64| -> Result<()> {
            let mut left = frames.max(0) as usize;
            let mut discarded = [vec![0.0; BLOCK_FRAMES], vec![0.0; BLOCK_FRAMES]];
            while left > 0 {
                let n = left.min(BLOCK_FRAMES);
                let [l, r] = &mut discarded;
                match song.read(&mut l[..n], &mut r[..n])? {
                    0 => break,
                    n => left -= n,
                }
            }
            Ok(())
        };
        skip(&mut b, lag)?;
        skip(&mut a, -lag)?;
        Ok(Self { a, b, name })
    }

    /// Passes blocks of both songs to `f` up to the end of the shorter one.
    pub fn for_each_block(
        mut self,
        watch: &dyn ProgressWatcher,
        mut f: impl FnMut([&[f64]; 2], [&[f64]; 2]) -> Result<()>,
    ) -> Result<()> {
        let mut planes: [[Vec<f64>; 2]; 2] =
            std::array::from_fn(|_| std::array::from_fn(|_| vec![0.0; BLOCK_FRAMES]));
        loop {
            if watch.stopped() {
                return Err(Error::new(self.name, Fault::Stopped));
            }
            let mut n = BLOCK_FRAMES;
            for (song, [left, right]) in [&mut self.a, &mut self.b].into_iter().zip(&mut planes) {
                let mut filled = 0;
                while filled < n {
                    match song.read(&mut left[filled..n], &mut right[filled..n])? {
                        0 => break,
                        more => filled += more,
                    }
                }
                n = filled;
            }
            if n == 0 {
                return Ok(());
            }
            let [a, b] = &planes;
            f([&a[0][..n], &a[1][..n]], [&b[0][..n], &b[1][..n]])?;
            watch.done(n as u64);
        }
    }
}

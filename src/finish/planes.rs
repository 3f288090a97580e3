//! Planar samples of whole files: reads a file block by block and converts blocks to the meters' type.

use std::path::Path;
use std::sync::Arc;

use super::error::{Error, Fault, Result};
use super::format::FileFormat;
use super::progress::ProgressWatcher;
use super::reader::Reader;
use super::shared_blocks::SharedBlocks;

/// Frames read at once.
pub(super) const BLOCK_FRAMES: usize = 4096;
/// Blocks that may wait for a thread.
pub(super) const QUEUED_BLOCKS: usize = 8;

/// Reads a file from its first frame to its last and passes each block (left, right) to `on_block`.
pub(super) fn for_each_block(
    path: &Path,
    watch: &dyn ProgressWatcher,
    mut on_block: impl FnMut(&[f64], &[f64]),
) -> Result<FileFormat> {
    let mut reader = Reader::open(path)?;
    let format = *reader.format();
    let (mut left, mut right) = (vec![0.0; BLOCK_FRAMES], vec![0.0; BLOCK_FRAMES]);
    loop {
        if watch.stopped() {
            return Err(Error::new(path, Fault::Stopped));
        }
        let n = reader.read(&mut left, &mut right)?;
        if n == 0 {
            return Ok(format);
        }
        on_block(&left[..n], &right[..n]);
        watch.done(n as u64);
    }
}

/// Reads a file from its next frame to its last and passes each block (left, right), which threads may share, to
/// `on_block`.
pub(super) fn for_each_shared_block(
    reader: &mut Reader,
    watch: &dyn ProgressWatcher,
    mut on_block: impl FnMut(Arc<[Vec<f64>; 2]>),
) -> Result<()> {
    let mut blocks = SharedBlocks::new(|| [vec![0.0; BLOCK_FRAMES], vec![0.0; BLOCK_FRAMES]]);
    loop {
        if watch.stopped() {
            return Err(Error::new(reader.path(), Fault::Stopped));
        }
        let (block, filled) = blocks.fill(|[left, right]| {
            left.resize(BLOCK_FRAMES, 0.0);
            right.resize(BLOCK_FRAMES, 0.0);
            let n = reader.read(left, right)?;
            left.truncate(n);
            right.truncate(n);
            Ok(n)
        });
        let n = filled?;
        if n == 0 {
            return Ok(());
        }
        on_block(block);
        watch.done(n as u64);
    }
}

/// Rounds two channels to f32, as the meters take them.
pub(super) fn to_f32(narrow: &mut [Vec<f32>; 2], wide: [&[f64]; 2]) {
    for (narrow, wide) in narrow.iter_mut().zip(wide) {
        narrow.clear();
        narrow.extend(wide.iter().map(|&x| x as f32));
    }
}

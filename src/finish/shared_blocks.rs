//! Blocks that one thread fills and others read, used again once all have let go of them: a stream of blocks without
//! copies, and with no more memory than the queues hold.

use std::sync::Arc;

/// Blocks in use and spare ones.
pub(super) struct SharedBlocks<T> {
    all: Vec<Arc<T>>,
    /// Makes another one.
    new: fn() -> T,
}

impl<T> SharedBlocks<T> {
    /// None so far; `new` makes one.
    pub fn new(new: fn() -> T) -> Self {
        Self { all: Vec::new(), new }
    }

    /// Fills a block that nobody reads, by `fill`, and gives it.
    pub fn fill<R>(&mut self, fill: impl FnOnce(&mut T) -> R) -> (Arc<T>, R) {
        let spare = self.all.iter_mut().position(|block| Arc::get_mut(block).is_some());
        let at = spare.unwrap_or_else(|| {
            self.all.push(Arc::new((self.new)()));
            self.all.len() - 1
        });
        let block = &mut self.all[at];
        let filled = fill(Arc::get_mut(block).expect("a block that only this list holds"));
        (block.clone(), filled)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_block_is_used_again_when_it_is_let_go_and_not_before() {
        let mut blocks = SharedBlocks::new(Vec::<u32>::new);
        let (a, ()) = blocks.fill(|block| block.push(1));
        let (b, ()) = blocks.fill(|block| block.push(2));
        assert_eq!((a.as_slice(), b.as_slice()), (&[1][..], &[2][..]));
        drop(a);
        let (c, len) = blocks.fill(|block| block.len());
        assert_eq!((c.as_slice(), len), (&[1][..], 1));
        assert_eq!(blocks.all.len(), 2);
    }
}

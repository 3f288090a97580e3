//! Lock-free ring from the audio thread to the analysis: taps of the chain in, whole chunks of
//! [`CHUNK`] frames out.
//!
//! The audio thread only copies, 24 bytes a frame, and never waits. When the reader has stalled for
//! longer than the ring lasts, whole chunks are dropped and counted; the chunks' numbers show the
//! reader where the gap is. Live and offline use the same [`TapChunker`], so both see the same chunks
//! whatever the block size.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use crate::dsp::{CHANNELS, CHUNK};

/// Signals of a stretch that the chain has processed. All slices have the same length and are aligned
/// in time with the output.
#[derive(Clone, Copy, Debug)]
pub struct Tap<'a> {
    /// The untouched input, delayed by the chain's latency; full scale = ±1.0.
    pub before: [&'a [f32]; CHANNELS],
    /// What leaves the chain.
    pub after: [&'a [f32]; CHANNELS],
    /// Reduction by the compressor, dB ≥ 0 (the larger of both channels).
    pub compressor_db: &'a [f32],
    /// Gain reduction by the limiter, dB ≥ 0 (the larger of both channels).
    pub limiter_db: &'a [f32],
    /// What the soft curve takes on top of it, dB ≥ 0 (the larger of both channels).
    pub clip_db: &'a [f32],
}

impl Tap<'_> {
    /// Number of frames.
    pub fn len(&self) -> usize {
        self.after[0].len()
    }

    /// True without a frame.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }
}

/// The host's transport at the first frame of a block.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Transport {
    /// Whether the host plays.
    pub playing: bool,
    /// Position on the host's time line in samples, if the host reports it.
    pub position: Option<i64>,
}

impl Transport {
    /// The transport `frames` later, if it is not changed.
    pub fn advanced(self, frames: usize) -> Self {
        let position = if self.playing { self.position.map(|p| p + frames as i64) } else { self.position };
        Self { position, ..self }
    }
}

/// [`CHUNK`] frames of a tap, on a grid counted from the first frame fed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TapChunk {
    /// Number of the chunk since the first frame fed; lost ones are counted too.
    pub index: u64,
    /// Transport at its first frame.
    pub transport: Transport,
    /// The untouched input, as in [`Tap::before`].
    pub before: [[f32; CHUNK]; CHANNELS],
    /// The chain's output.
    pub after: [[f32; CHUNK]; CHANNELS],
    /// Reduction by the compressor, dB ≥ 0.
    pub compressor_db: [f32; CHUNK],
    /// Reduction by the limiter, dB ≥ 0.
    pub limiter_db: [f32; CHUNK],
    /// What the soft curve takes on top of it, dB ≥ 0.
    pub clip_db: [f32; CHUNK],
}

impl TapChunk {
    /// Silence at the start of time.
    pub const EMPTY: Self = Self {
        index: 0,
        transport: Transport { playing: false, position: None },
        before: [[0.0; CHUNK]; CHANNELS],
        after: [[0.0; CHUNK]; CHANNELS],
        compressor_db: [0.0; CHUNK],
        limiter_db: [0.0; CHUNK],
        clip_db: [0.0; CHUNK],
    };

    /// Takes `n` frames of a tap from `from` on, at `at`.
    #[inline(always)]
    fn fill(&mut self, at: usize, tap: &Tap, from: usize, n: usize) {
        let (to, from) = (at..at + n, from..from + n);
        for c in 0..CHANNELS {
            self.before[c][to.clone()].copy_from_slice(&tap.before[c][from.clone()]);
            self.after[c][to.clone()].copy_from_slice(&tap.after[c][from.clone()]);
        }
        self.compressor_db[to.clone()].copy_from_slice(&tap.compressor_db[from.clone()]);
        self.limiter_db[to.clone()].copy_from_slice(&tap.limiter_db[from.clone()]);
        self.clip_db[to].copy_from_slice(&tap.clip_db[from]);
    }
}

/// Collects blocks of any size into chunks.
#[derive(Clone, Debug)]
pub struct TapChunker {
    chunk: TapChunk,
    /// Frames already in `chunk`.
    len: usize,
}

impl TapChunker {
    /// At frame 0.
    pub const fn new() -> Self {
        Self { chunk: TapChunk::EMPTY, len: 0 }
    }

    /// Adds a block and calls `full` for every chunk that it completes.
    #[inline]
    pub fn push(&mut self, tap: &Tap, transport: Transport, mut full: impl FnMut(&TapChunk)) {
        let frames = tap.len();
        let mut at = 0;
        while at < frames {
            if self.len == 0 {
                self.chunk.transport = transport.advanced(at);
            }
            let n = (CHUNK - self.len).min(frames - at);
            if n == CHUNK {
                // A length that is known is copied without a call.
                self.chunk.fill(0, tap, at, CHUNK);
            } else {
                self.chunk.fill(self.len, tap, at, n);
            }
            self.len += n;
            at += n;
            if self.len == CHUNK {
                full(&self.chunk);
                self.chunk.index += 1;
                self.len = 0;
            }
        }
    }

    /// The unfinished last chunk, filled up with silence, and how many frames of it are real.
    /// Ends the stream: the next frame begins a new chunk.
    pub fn finish(&mut self) -> Option<(TapChunk, usize)> {
        if self.len == 0 {
            return None;
        }
        let len = self.len;
        for plane in self.chunk.before.iter_mut().chain(&mut self.chunk.after) {
            plane[len..].fill(0.0);
        }
        self.chunk.compressor_db[len..].fill(0.0);
        self.chunk.limiter_db[len..].fill(0.0);
        self.chunk.clip_db[len..].fill(0.0);
        let chunk = self.chunk;
        self.chunk.index += 1;
        self.len = 0;
        Some((chunk, len))
    }
}

impl Default for TapChunker {
    fn default() -> Self {
        Self::new()
    }
}

/// A ring that holds `seconds` of the signal at a sample rate in Hz.
pub fn tap_ring(sample_rate: u32, seconds: f64) -> (TapSender, TapReceiver) {
    let chunks = (f64::from(sample_rate) * seconds / CHUNK as f64).ceil().max(1.0) as usize;
    let (producer, consumer) = rtrb::RingBuffer::new(chunks);
    let lost = Arc::new(AtomicU64::new(0));
    (TapSender { chunker: TapChunker::new(), producer, lost: lost.clone() }, TapReceiver { consumer, lost })
}

/// The audio thread's end.
#[derive(Debug)]
pub struct TapSender {
    chunker: TapChunker,
    producer: rtrb::Producer<TapChunk>,
    /// Chunks that found the ring full.
    lost: Arc<AtomicU64>,
}

impl TapSender {
    /// Adds a block of any size. Wait-free; allocates nothing.
    #[inline]
    pub fn push(&mut self, tap: &Tap, transport: Transport) {
        let Self { chunker, producer, lost } = self;
        chunker.push(tap, transport, |chunk| {
            // Written in place: as an argument of `push` it would be copied twice.
            match producer.write_chunk_uninit(1) {
                Ok(place) => drop(place.fill_from_iter(std::iter::once(*chunk))),
                Err(_) => drop(lost.fetch_add(1, Ordering::Relaxed)),
            }
        });
    }

    /// Frames that the ring can still take. For offline use, where waiting is allowed.
    pub fn room(&self) -> usize {
        self.producer.slots() * CHUNK
    }

    /// Frames lost so far because the reader had stalled.
    pub fn lost(&self) -> u64 {
        self.lost.load(Ordering::Relaxed) * CHUNK as u64
    }
}

/// The reader's end.
#[derive(Debug)]
pub struct TapReceiver {
    consumer: rtrb::Consumer<TapChunk>,
    lost: Arc<AtomicU64>,
}

impl TapReceiver {
    /// Reads at most `most` of the waiting chunks, in order; gives their number.
    pub fn read(&mut self, most: usize, mut each: impl FnMut(&TapChunk)) -> usize {
        let n = self.consumer.slots().min(most);
        let Ok(waiting) = self.consumer.read_chunk(n) else { return 0 };
        let (first, second) = waiting.as_slices();
        first.iter().chain(second).for_each(&mut each);
        waiting.commit_all();
        n
    }

    /// Share of the ring that is waiting to be read, 0 to 1.
    pub fn fill(&self) -> f64 {
        self.consumer.slots() as f64 / self.consumer.buffer().capacity() as f64
    }

    /// Frames lost so far because the reader had stalled.
    pub fn lost(&self) -> u64 {
        self.lost.load(Ordering::Relaxed) * CHUNK as u64
    }

    /// True when the sender is gone; what is left can still be read.
    pub fn is_abandoned(&self) -> bool {
        self.consumer.is_abandoned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn feed(taps: &mut TapSender, frames: std::ops::Range<usize>, block: usize) {
        let ramp: Vec<f32> = frames.clone().map(|n| n as f32).collect();
        let mut position = frames.start as i64;
        for part in ramp.chunks(block) {
            let tap = Tap {
                before: [part; 2],
                after: [part; 2],
                compressor_db: part,
                limiter_db: part,
                clip_db: part,
            };
            taps.push(&tap, Transport { playing: true, position: Some(position) });
            position += part.len() as i64;
        }
    }

    #[test]
    fn every_block_size_gives_the_same_chunks() {
        let read = |block: usize| {
            let (mut taps, mut receiver) = tap_ring(48_000, 1.0);
            feed(&mut taps, 0..1000, block);
            let mut chunks = Vec::new();
            assert_eq!(receiver.read(usize::MAX, |chunk| chunks.push(*chunk)), 1000 / CHUNK);
            assert_eq!(taps.lost(), 0);
            chunks
        };
        let whole = read(1000);
        assert_eq!(whole[3].before[1][5], (3 * CHUNK + 5) as f32);
        assert_eq!(whole[3].transport.position, Some(3 * CHUNK as i64));
        for block in [1, 7, 32, 64, 480] {
            assert_eq!(read(block), whole, "blocks of {block}");
        }
    }

    #[test]
    fn chunks_lost_to_a_stalled_reader_are_counted_and_show_in_the_numbers() {
        let (mut taps, mut receiver) = tap_ring(48_000, 10.0 * CHUNK as f64 / 48_000.0);
        feed(&mut taps, 0..15 * CHUNK, 64);
        assert_eq!(taps.lost(), 5 * CHUNK as u64);
        receiver.read(usize::MAX, |_| ());
        feed(&mut taps, 15 * CHUNK..16 * CHUNK, 64);
        let mut index = 0;
        receiver.read(usize::MAX, |chunk| index = chunk.index);
        assert_eq!(index, 15);
        assert_eq!(receiver.lost(), 5 * CHUNK as u64);
    }
}

//! Playback engine: processes a song in memory with the chain at the song's sample rate, converts to
//! the device's rate, fills the device's ring, feeds the analysis, and tracks which frame of the
//! song is audible.

use super::device_ring::{DeviceRing, RingStatus};
use super::encoded_preview::{EncodedPassage, EncodedPlayer, EncodedSide};
use super::loaded_song::{LoadState, LoadedSong};
use super::playhead::Playhead;
use super::reference_exchange::ReferenceReceiver;
use crate::chain::{Chain, ChainReadout};
use crate::dsp::CHUNK;
use crate::finish::Converter;
use crate::settings::Settings;
use crate::tap_ring::{TapSender, Transport};
use std::collections::VecDeque;
use std::ops::Range;
use std::sync::Arc;
use std::sync::atomic::Ordering;

/// Frames processed at once: a multiple of the chunk.
const BLOCK_FRAMES: usize = 16 * CHUNK;

/// How far the ring is filled ahead of what is audible, s.
const BUFFER_S: f64 = 0.2;

/// Length of the cross-fade at a jump, s.
const CROSSFADE_S: f64 = 0.005;

/// Longest tail of the chain that is played after the end, s.
const MAX_TAIL_S: f64 = 3.0;

/// Commands to the engine.
#[derive(Clone, Debug)]
pub enum EngineCommand {
    /// Play from the present frame.
    Play,
    /// Pause.
    Pause,
    /// Go to this frame of the song.
    Seek(u64),
    /// Set or clear the loop, frames of the song.
    Loop(Option<Range<u64>>),
    /// Set start and end, frames of the song.
    Bounds(Range<u64>),
    /// Settings of the chain.
    Settings(Box<Settings>),
    /// Index of the EQ band to solo, or none.
    Solo(Option<usize>),
    /// Play an encoded passage in place of the chain's output, or none.
    Encoded(Option<(Arc<EncodedPassage>, EncodedSide)>),
}

/// Which frames of the song are at which place in the ring.
struct RingMark {
    /// Frame of the ring, counted from its creation, at which `song` begins.
    ring_frame: u64,
    song: Range<u64>,
}

/// The engine; it runs on a worker thread.
pub struct Engine {
    song: Arc<LoadedSong>,
    playhead: Playhead,
    chain: Chain,
    /// References for the chain.
    reference: ReferenceReceiver,
    encoded: EncodedPlayer,
    taps: TapSender,
    converter: Option<Converter>,
    /// Rates of the song and of the device, Hz.
    rate: (u32, u32),
    ring: rtrb::Producer<[f32; 2]>,
    status: Arc<RingStatus>,
    marks: VecDeque<RingMark>,
    /// Frames written to the ring.
    written: u64,
    /// `written` when the converter was created.
    converter_start: u64,
    /// Frames processed by the chain since then.
    chain_frames: u64,
    /// The song's frame that would have been next without a jump.
    expected_next: u64,
    /// Frames of silence still to be processed for the chain's tail after the end.
    tail_left: Option<u64>,
    /// The audible frame of the song, as computed last.
    audible_frame: u64,
    /// The block that is processed, one buffer per channel.
    block: [Vec<f32>; 2],
    /// What the block is cross-faded from at a jump.
    old_block: [Vec<f32>; 2],
    converter_input: [Vec<f64>; 2],
    converter_output: [Vec<f64>; 2],
}

impl Engine {
    /// For a device at `rate` Hz; `taps` feeds the analysis.
    pub fn new(
        song: Arc<LoadedSong>,
        rate: u32,
        taps: TapSender,
        reference: ReferenceReceiver,
    ) -> (Self, DeviceRing) {
        let song_rate = song.format().rate;
        // Room for one converted block beyond what is buffered.
        let ahead = (BUFFER_S * f64::from(rate)) as usize;
        let (ring, consumer) = rtrb::RingBuffer::new(ahead + 16_384);
        let status = Arc::new(RingStatus::default());
        let device_ring = DeviceRing::new(consumer, status.clone(), rate);
        let buffers = || [vec![0.0; BLOCK_FRAMES], vec![0.0; BLOCK_FRAMES]];
        let chain = Chain::new(f64::from(song_rate));
        let engine = Self {
            playhead: Playhead::new(song.format().frames, song_rate),
            encoded: EncodedPlayer::new(chain.latency(), song_rate),
            chain,
            reference,
            taps,
            converter: (song_rate != rate).then(|| Converter::new(song_rate, rate)),
            rate: (song_rate, rate),
            ring,
            status,
            marks: VecDeque::new(),
            written: 0,
            converter_start: 0,
            chain_frames: 0,
            expected_next: 0,
            tail_left: None,
            audible_frame: 0,
            block: buffers(),
            old_block: buffers(),
            converter_input: [vec![0.0; BLOCK_FRAMES], vec![0.0; BLOCK_FRAMES]],
            converter_output: [Vec::new(), Vec::new()],
            song,
        };
        (engine, device_ring)
    }

    /// State shared with the device's end of the ring.
    pub fn status(&self) -> Arc<RingStatus> {
        self.status.clone()
    }

    /// Whether it plays, the tail included.
    pub fn playing(&self) -> bool {
        self.playhead.playing() || self.tail_left.is_some()
    }

    /// Carries out a command.
    pub fn apply(&mut self, command: EngineCommand) {
        match command {
            EngineCommand::Play => {
                self.playhead.play();
                self.tail_left = None;
            }
            EngineCommand::Pause => {
                self.playhead.pause();
                self.tail_left = None;
                self.status.playing.store(false, Ordering::Release);
            }
            EngineCommand::Seek(frame) => {
                self.playhead.seek(frame);
                self.discard_buffered();
            }
            EngineCommand::Bounds(bounds) => {
                let before = self.playhead.next_frame();
                self.playhead.set_bounds(bounds);
                if self.playhead.next_frame() != before {
                    self.discard_buffered();
                }
            }
            EngineCommand::Loop(range) => self.playhead.set_loop(range),
            EngineCommand::Settings(settings) => self.chain.set(&settings),
            EngineCommand::Solo(band) => self.chain.solo(band),
            EngineCommand::Encoded(passage) => self.encoded.set(passage),
        }
    }

    /// Discards what is buffered: the position has changed.
    fn discard_buffered(&mut self) {
        self.audible_frame = self.playhead.next_frame();
        self.marks.clear();
        if let Some(converter) = &mut self.converter {
            *converter = Converter::new(self.rate.0, self.rate.1);
        }
        (self.converter_start, self.chain_frames) = (self.written, 0);
        // The chain outputs its delayed frames of the old position first.
        let discard_before = self.written + self.to_device_frames(self.chain.latency() as u64);
        self.status.discard_before(discard_before);
    }

    /// Converts a number of frames at the song's rate to the device's rate.
    fn to_device_frames(&self, frames: u64) -> u64 {
        frames * u64::from(self.rate.1) / u64::from(self.rate.0)
    }

    /// Fills the ring up to `BUFFER_S`; true if something was written. To be called more often
    /// than five times per second, or the ring runs empty.
    pub fn fill(&mut self) -> bool {
        let ahead = (BUFFER_S * f64::from(self.rate.1)) as u64;
        let before = self.written;
        while self.written.saturating_sub(self.status.read.load(Ordering::Acquire)) < ahead && self.step() {}
        // After a pause the ring may be full already.
        let is_buffered = self.written > self.status.read.load(Ordering::Acquire);
        if self.playing() && (is_buffered || self.written != before) {
            self.status.play();
        }
        self.written != before
    }

    /// Processes one block; false if there is none.
    fn step(&mut self) -> bool {
        let loaded = self.song.ready();
        let waiting = self.playhead.playing() && self.playhead.next_frame() >= loaded;
        if waiting && loaded < self.playhead.length() && self.song.load() == LoadState::Reading {
            return false; // the file is still being read
        }
        let most = match self.playhead.next_frame() < loaded {
            true => (loaded - self.playhead.next_frame()).min(BLOCK_FRAMES as u64),
            false => BLOCK_FRAMES as u64,
        };
        let (n, position) = match self.playhead.take(most) {
            Some(piece) => {
                let n = (piece.frames.end - piece.frames.start) as usize;
                let [left, right] = &mut self.block;
                self.song.read(piece.frames.start, &mut left[..n], &mut right[..n]);
                if piece.jump {
                    self.crossfade(n);
                }
                self.expected_next = piece.frames.end;
                let ring_frame = self.converter_start
                    + self.to_device_frames(self.chain_frames + self.chain.latency() as u64);
                let start = piece.frames.start;
                self.marks.push_back(RingMark { ring_frame, song: piece.frames });
                if !self.playhead.playing() {
                    let most = (MAX_TAIL_S * f64::from(self.rate.0)) as u64;
                    self.tail_left = Some((self.chain.tail() as u64).min(most));
                }
                (n, Some(start))
            }
            None => {
                let Some(left) = self.tail_left else { return false };
                let n = (left as usize).min(BLOCK_FRAMES);
                if n == 0 {
                    return self.finish_tail();
                }
                self.tail_left = Some(left - n as u64);
                self.block.iter_mut().for_each(|channel| channel[..n].fill(0.0));
                (n, None)
            }
        };
        self.process(n, position);
        true
    }

    /// Cross-fades from the frames that would have followed to those after the jump.
    fn crossfade(&mut self, n: usize) {
        let [left, right] = &mut self.old_block;
        self.song.read(self.expected_next, &mut left[..n], &mut right[..n]);
        let length = (CROSSFADE_S * f64::from(self.rate.0)).round() as usize;
        for (new, old) in self.block.iter_mut().zip(&self.old_block) {
            for (i, (new, old)) in new.iter_mut().zip(old).take(n.min(length)).enumerate() {
                let share = i as f32 / length as f32;
                *new = *new * share + *old * (1.0 - share);
            }
        }
    }

    /// Processes the block with the chain, feeds the analysis and writes to the ring.
    fn process(&mut self, n: usize, position: Option<u64>) {
        let Self { block: [left, right], chain, reference, taps, .. } = self;
        reference.exchange(chain);
        let mut transport = Transport { playing: position.is_some(), position: position.map(|at| at as i64) };
        chain.process(&mut [&mut left[..n], &mut right[..n]], |tap| {
            taps.push(tap, transport);
            transport = transport.advanced(tap.len());
        });
        self.encoded.process(&mut self.block, n, position);
        self.chain_frames += n as u64;
        let Some(converter) = &mut self.converter else {
            for pair in self.block[0][..n].iter().zip(&self.block[1]) {
                self.written += u64::from(self.ring.push([*pair.0, *pair.1]).is_ok());
            }
            return;
        };
        for (to, from) in self.converter_input.iter_mut().zip(&self.block) {
            to[..n].iter_mut().zip(from).for_each(|(to, x)| *to = f64::from(*x));
        }
        converter.push(
            &self.converter_input[0][..n],
            &self.converter_input[1][..n],
            &mut self.converter_output,
        );
        self.write_converted();
    }

    fn write_converted(&mut self) {
        for pair in self.converter_output[0].iter().zip(&self.converter_output[1]) {
            self.written += u64::from(self.ring.push([*pair.0 as f32, *pair.1 as f32]).is_ok());
        }
        self.converter_output.iter_mut().for_each(Vec::clear);
    }

    /// After the tail: flushes the converter, then pauses once the ring has been read. Always
    /// false: no block was processed.
    fn finish_tail(&mut self) -> bool {
        if self.chain_frames > 0
            && let Some(mut converter) = self.converter.take()
        {
            converter.end(&mut self.converter_output);
            self.write_converted();
            self.converter = Some(Converter::new(self.rate.0, self.rate.1));
            (self.converter_start, self.chain_frames) = (self.written, 0);
        }
        if self.status.read.load(Ordering::Acquire) >= self.written {
            self.status.playing.store(false, Ordering::Release);
            self.tail_left = None;
        }
        false
    }

    /// The frame of the song that is audible now.
    pub fn audible_frame(&mut self) -> u64 {
        let read = self.status.read.load(Ordering::Acquire);
        while self.marks.len() > 1 && self.marks[1].ring_frame <= read {
            self.marks.pop_front();
        }
        if let Some(RingMark { ring_frame, song }) = self.marks.front()
            && *ring_frame <= read
        {
            let elapsed = (read - ring_frame) * u64::from(self.rate.0) / u64::from(self.rate.1);
            self.audible_frame = (song.start + elapsed).min(song.end);
        }
        self.audible_frame
    }

    /// The chain's readout for the screen.
    pub fn readout(&self) -> ChainReadout {
        self.chain.readout()
    }
}

#[cfg(test)]
mod tests;

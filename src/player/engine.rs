//! The worker between a song in memory and the device's ring: takes the playhead's pieces through
//! the chain at the song's own rate, converts to the device's, hands taps to the analysis, and
//! keeps account of which place of the song is heard just now.

use super::loaded_song::LoadedSong;
use super::playhead::Playhead;
use super::sink::{DeviceRing, RingStatus};
use crate::chain::{Chain, ChainReadout};
use crate::dsp::CHUNK;
use crate::finish::Converter;
use crate::meter::matching::LoudnessMatch;
use crate::settings::Settings;
use crate::tap_ring::{TapSender, Transport};
use std::collections::VecDeque;
use std::ops::Range;
use std::sync::Arc;
use std::sync::atomic::Ordering;

/// Frames processed at once: a whole number of chunks.
const BLOCK: usize = 16 * CHUNK;

/// Seconds of sound that the ring holds: how far it runs ahead of the ear.
const AHEAD: f64 = 0.2;

/// Seconds of the cross-fade where the song jumps.
const SEAM: f64 = 0.005;

/// Longest ring-out that is waited for at the end, seconds.
const RING_OUT: f64 = 3.0;

/// What the hand wants of the engine.
#[derive(Clone, Debug)]
pub enum EngineCommand {
    Play,
    Pause,
    /// To this frame of the song.
    Seek(u64),
    Cycle(Option<Range<u64>>),
    Trim(Range<u64>),
    Settings(Box<Settings>),
    /// One EQ band alone, or all.
    Solo(Option<usize>),
}

/// A stretch of the song on its way to the ear.
struct PlayedMark {
    /// Frame of the ring, counted since it was made, with which it begins to be heard.
    due: u64,
    song: Range<u64>,
}

/// The worker.
pub struct Engine {
    take: Arc<LoadedSong>,
    playhead: Playhead,
    chain: Chain,
    matching: LoudnessMatch,
    taps: TapSender,
    converter: Option<Converter>,
    /// Rates of the song and of the device, Hz.
    rate: (u32, u32),
    ring: rtrb::Producer<[f32; 2]>,
    status: Arc<RingStatus>,
    marks: VecDeque<PlayedMark>,
    /// Frames put into the ring.
    put: u64,
    /// `put` when the converter was made, and frames that the chain has taken since.
    base: u64,
    fed: u64,
    /// The frame that would have come next, had the song not jumped.
    follow: u64,
    /// Frames of silence left that drive out what the chain holds after the end.
    ring_out: Option<u64>,
    /// The place that is heard, as told last.
    heard: u64,
    lanes: [Vec<f32>; 2],
    old: [Vec<f32>; 2],
    wide: [Vec<f64>; 2],
    ready: [Vec<f64>; 2],
}

impl Engine {
    /// For a device at `rate` Hz; `taps` leads to the analysis.
    pub fn new(take: Arc<LoadedSong>, rate: u32, taps: TapSender) -> (Self, DeviceRing) {
        let song = take.format().rate;
        // Room for what one block becomes, beyond what runs ahead.
        let ahead = (AHEAD * f64::from(rate)) as usize;
        let (ring, consumer) = rtrb::RingBuffer::new(ahead + 16_384);
        let status = Arc::new(RingStatus::default());
        let sink = DeviceRing::new(consumer, status.clone(), rate);
        let lanes = || [vec![0.0; BLOCK], vec![0.0; BLOCK]];
        let engine = Self {
            playhead: Playhead::new(take.format().frames, song),
            chain: Chain::new(f64::from(song)),
            matching: LoudnessMatch::new(f64::from(song)),
            taps,
            converter: (song != rate).then(|| Converter::new(song, rate)),
            rate: (song, rate),
            ring,
            status,
            marks: VecDeque::new(),
            put: 0,
            base: 0,
            fed: 0,
            follow: 0,
            ring_out: None,
            heard: 0,
            lanes: lanes(),
            old: lanes(),
            wide: [vec![0.0; BLOCK], vec![0.0; BLOCK]],
            ready: [Vec::new(), Vec::new()],
            take,
        };
        (engine, sink)
    }

    /// What the two ends of the ring tell each other.
    pub fn status(&self) -> Arc<RingStatus> {
        self.status.clone()
    }

    /// Whether it plays, the ring-out included.
    pub fn playing(&self) -> bool {
        self.playhead.playing() || self.ring_out.is_some()
    }

    /// Does what the hand wants.
    pub fn obey(&mut self, order: EngineCommand) {
        match order {
            EngineCommand::Play => {
                self.playhead.play();
                self.ring_out = None;
            }
            EngineCommand::Pause => {
                self.playhead.pause();
                self.ring_out = None;
                self.status.open.store(false, Ordering::Release);
            }
            EngineCommand::Seek(frame) => {
                self.playhead.seek(frame);
                self.leap();
            }
            EngineCommand::Trim(trim) => {
                let at = self.playhead.at();
                self.playhead.set_trim(trim);
                if self.playhead.at() != at {
                    self.leap();
                }
            }
            EngineCommand::Cycle(cycle) => self.playhead.set_cycle(cycle),
            EngineCommand::Settings(settings) => self.chain.set(&settings),
            EngineCommand::Solo(band) => self.chain.solo(band),
        }
    }

    /// What is on its way to the ear is no longer wanted.
    fn leap(&mut self) {
        self.heard = self.playhead.at();
        self.marks.clear();
        if let Some(converter) = &mut self.converter {
            *converter = Converter::new(self.rate.0, self.rate.1);
        }
        (self.base, self.fed) = (self.put, 0);
        // What the chain still holds of the old place comes out first.
        let skip = self.put + self.scaled(self.chain.latency() as u64);
        self.status.skip.store(skip, Ordering::Release);
    }

    /// Frames of the song as frames of the device.
    fn scaled(&self, frames: u64) -> u64 {
        frames * u64::from(self.rate.1) / u64::from(self.rate.0)
    }

    /// Fills the ring as far as it shall run ahead; true if something was put in. Call it oftener
    /// than the ring runs empty, five times a second.
    pub fn fill(&mut self) -> bool {
        let ahead = (AHEAD * f64::from(self.rate.1)) as u64;
        let before = self.put;
        while self.put.saturating_sub(self.status.taken.load(Ordering::Acquire)) < ahead && self.step() {}
        if self.playing() && self.put != before {
            self.status.open.store(true, Ordering::Release);
        }
        self.put != before
    }

    /// One block; false if there is none.
    fn step(&mut self) -> bool {
        let ready = self.take.ready();
        let waits = self.playhead.playing() && self.playhead.at() >= ready;
        if waits && ready < self.playhead.length() && self.take.load() == super::LoadState::Reading {
            return false; // the file is still being read
        }
        let most = match self.playhead.at() < ready {
            true => (ready - self.playhead.at()).min(BLOCK as u64),
            false => BLOCK as u64,
        };
        let (n, position) = match self.playhead.take(most) {
            Some(piece) => {
                let n = (piece.frames.end - piece.frames.start) as usize;
                let [left, right] = &mut self.lanes;
                self.take.read(piece.frames.start, &mut left[..n], &mut right[..n]);
                if piece.jump {
                    self.seam(n);
                }
                self.follow = piece.frames.end;
                let due = self.base + self.scaled(self.fed + self.chain.latency() as u64);
                let start = piece.frames.start;
                self.marks.push_back(PlayedMark { due, song: piece.frames });
                if !self.playhead.playing() {
                    let most = (RING_OUT * f64::from(self.rate.0)) as u64;
                    self.ring_out = Some((self.chain.tail() as u64).min(most));
                }
                (n, Some(start))
            }
            None => {
                let Some(left) = self.ring_out else { return false };
                let n = (left as usize).min(BLOCK);
                if n == 0 {
                    return self.rest();
                }
                self.ring_out = Some(left - n as u64);
                self.lanes.iter_mut().for_each(|lane| lane[..n].fill(0.0));
                (n, None)
            }
        };
        self.run(n, position);
        true
    }

    /// Fades from what would have come next to what comes instead.
    fn seam(&mut self, n: usize) {
        let [left, right] = &mut self.old;
        self.take.read(self.follow, &mut left[..n], &mut right[..n]);
        let length = (SEAM * f64::from(self.rate.0)).round() as usize;
        for (new, old) in self.lanes.iter_mut().zip(&self.old) {
            for (i, (new, old)) in new.iter_mut().zip(old).take(n.min(length)).enumerate() {
                let share = i as f32 / length as f32;
                *new = *new * share + *old * (1.0 - share);
            }
        }
    }

    /// Through the chain, to the analysis and into the ring.
    fn run(&mut self, n: usize, position: Option<u64>) {
        let Self { lanes: [left, right], chain, matching, taps, .. } = self;
        let mut transport = Transport { playing: position.is_some(), position: position.map(|at| at as i64) };
        chain.process(&mut [&mut left[..n], &mut right[..n]], |tap| {
            matching.feed(tap.before, tap.after);
            taps.push(tap, transport);
            transport = transport.advanced(tap.len());
        });
        chain.set_louder_by_db(matching.difference_db());
        self.fed += n as u64;
        let Some(converter) = &mut self.converter else {
            for pair in self.lanes[0][..n].iter().zip(&self.lanes[1]) {
                self.put += u64::from(self.ring.push([*pair.0, *pair.1]).is_ok());
            }
            return;
        };
        for (wide, lane) in self.wide.iter_mut().zip(&self.lanes) {
            wide[..n].iter_mut().zip(lane).for_each(|(wide, x)| *wide = f64::from(*x));
        }
        converter.push(&self.wide[0][..n], &self.wide[1][..n], &mut self.ready);
        self.put_ready();
    }

    fn put_ready(&mut self) {
        for pair in self.ready[0].iter().zip(&self.ready[1]) {
            self.put += u64::from(self.ring.push([*pair.0 as f32, *pair.1 as f32]).is_ok());
        }
        self.ready.iter_mut().for_each(Vec::clear);
    }

    /// After the ring-out: what the converter holds comes out, then all is at rest. True while
    /// there is something left to be heard.
    fn rest(&mut self) -> bool {
        if self.fed > 0
            && let Some(mut converter) = self.converter.take()
        {
            converter.end(&mut self.ready);
            self.put_ready();
            self.converter = Some(Converter::new(self.rate.0, self.rate.1));
            (self.base, self.fed) = (self.put, 0);
        }
        if self.status.taken.load(Ordering::Acquire) >= self.put {
            self.status.open.store(false, Ordering::Release);
            self.ring_out = None;
        }
        false
    }

    /// The frame of the song that is heard just now.
    pub fn heard(&mut self) -> u64 {
        let taken = self.status.taken.load(Ordering::Acquire);
        while self.marks.len() > 1 && self.marks[1].due <= taken {
            self.marks.pop_front();
        }
        if let Some(PlayedMark { due, song }) = self.marks.front()
            && *due <= taken
        {
            let since = (taken - due) * u64::from(self.rate.0) / u64::from(self.rate.1);
            self.heard = (song.start + since).min(song.end);
        }
        self.heard
    }

    /// What the screen draws of the running chain.
    pub fn readout(&self) -> ChainReadout {
        self.chain.readout()
    }
}

#[cfg(test)]
mod tests;

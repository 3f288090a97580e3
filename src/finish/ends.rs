//! Where the music begins and ends in a file: planar samples of the whole file in, two frame
//! numbers and the noise floors around them out.
//!
//! A bounce begins with silence, or with the hiss of a room, and ends in a ring-out that sinks
//! into it. The level is taken in windows of 1 ms about an offset that is followed below 20 Hz (so
//! neither a constant offset nor one that wanders is a sound). Each end is looked at from outside
//! inwards, on its own. The floor is the quietest 50 ms before the music gets loud; a room's noise
//! may swell somewhat above it (wind, water). The music begins where the level rises well above the
//! noise that came just before; from there one goes back to where it left the floor, so that what
//! fades in slowly is kept whole. Everything is decided for the cautious side: what might be music
//! is music.
//!
//! All thresholds are common practice, no source.

use super::error::Result;
use super::read::Reader;

/// dB above the floor at which a beginning counts.
const RISE: f64 = 8.0;
/// dB above the floor at which a ring-out still counts.
const FALL: f64 = 4.0;
/// No beginning below this level, dBFS rms: dither and digital black.
const QUIETEST_START: f64 = -78.0;
/// No ring-out below this level, dBFS rms.
const QUIETEST_END: f64 = -84.0;
/// Whatever is above this level is music, whatever the floor, dBFS rms.
const SURELY_MUSIC: f64 = -50.0;
/// Whatever is less than this below the loud passages is music too, dB.
const SURELY_BELOW_LOUD: f64 = 40.0;
/// How far a noise may swell above its quietest 50 ms before it counts as music, dB.
const SWELL: f64 = 10.0;
/// What moves more slowly than this is an offset, Hz.
const OFFSET: f64 = 20.0;
/// How far below the loud passages the stretch is sought in which the floor lies, dB.
const NEAR_LOUD: f64 = 35.0;
/// Windows kept at either side: ten minutes.
const KEPT: usize = 600_000;

/// The ends of the music in a file.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct SongEnds {
    /// Hz.
    pub rate: u32,
    /// Frames of the file.
    pub frames: u64,
    /// First frame of the music.
    pub start: u64,
    /// First frame after the music and its ring-out.
    pub end: u64,
    /// Noise before the music, dBFS rms; −∞ for digital black. None where nothing comes before.
    pub floor_before: Option<f64>,
    /// Noise after the music, dBFS rms.
    pub floor_after: Option<f64>,
    /// Level of the last 50 ms of the file in dBFS rms if it breaks off while it still sounds.
    pub breaks_off: Option<f64>,
    /// Level of the first 10 ms of the file in dBFS rms if it begins in the middle of sound.
    pub breaks_in: Option<f64>,
}

/// Finds the ends while a file streams by.
pub struct EndsFinder {
    rate: u32,
    /// Frames per window: 1 ms.
    width: usize,
    frames: u64,
    open: Window,
    /// Frames in the open window.
    filled: usize,
    head: Vec<Window>,
    /// The last windows, as a ring once it is full.
    tail: std::collections::VecDeque<Window>,
    windows: u64,
    /// How many stretches of 100 ms had which level, in steps of 1 dB from −120 dBFS.
    levels: [u32; 121],
    stretch: [f64; 3],
}

/// Sum of each channel and of the squares of both.
#[derive(Clone, Copy, Default)]
struct Window {
    sum: [f32; 2],
    square: f32,
}

impl Window {
    /// Mean square of both channels about `offset`.
    fn power(&self, width: usize, offset: [f64; 2]) -> f64 {
        let n = width as f64;
        let about = f64::from(self.square)
            - offset.iter().zip(self.sum).map(|(m, s)| 2.0 * m * f64::from(s) - n * m * m).sum::<f64>();
        // Below the precision of the sums there is nothing but rounding.
        let least = f64::from(self.square) * 1e-6;
        if about > least { about / (2.0 * n) } else { 0.0 }
    }
}

impl EndsFinder {
    /// For a file of `rate` Hz.
    pub fn new(rate: u32) -> Self {
        Self {
            rate,
            width: (rate as usize + 500) / 1000,
            frames: 0,
            open: Window::default(),
            filled: 0,
            head: Vec::new(),
            tail: std::collections::VecDeque::new(),
            windows: 0,
            levels: [0; 121],
            stretch: [0.0; 3],
        }
    }

    /// Takes the next frames.
    pub fn push(&mut self, left: &[f64], right: &[f64]) {
        let mut at = 0;
        while at < left.len() {
            let len = (self.width - self.filled).min(left.len() - at);
            let (mut l, mut r, mut square) = (0.0, 0.0, 0.0);
            for (&x, &y) in left[at..at + len].iter().zip(&right[at..at + len]) {
                l += x;
                r += y;
                square += x * x + y * y;
            }
            self.open.sum[0] += l as f32;
            self.open.sum[1] += r as f32;
            self.open.square += square as f32;
            for (sum, part) in self.stretch.iter_mut().zip([l, r, square]) {
                *sum += part;
            }
            self.filled += len;
            self.frames += len as u64;
            at += len;
            if self.filled == self.width {
                self.close();
            }
        }
    }

    fn close(&mut self) {
        let window = std::mem::take(&mut self.open);
        self.filled = 0;
        self.windows += 1;
        if self.head.len() < KEPT {
            self.head.push(window);
        }
        if self.tail.len() == KEPT {
            self.tail.pop_front();
        }
        self.tail.push_back(window);
        if self.windows.is_multiple_of(100) {
            let n = (100 * self.width) as f64;
            let [l, r, square] = std::mem::take(&mut self.stretch);
            let power = ((square - (l * l + r * r) / n) / (2.0 * n)).max(0.0);
            let level = decibels(power).clamp(-120.0, 0.0);
            self.levels[(level + 120.0) as usize] += 1;
        }
    }

    /// The ends of what has been taken. A last, partial window belongs to the music if the file
    /// breaks off.
    pub fn finish(self) -> SongEnds {
        let loud = self.loud();
        let surely = SURELY_MUSIC.min(loud - SURELY_BELOW_LOUD);
        let rules = |smooth, margin, quietest| Rules { smooth, loud, margin, quietest, surely };
        let before = Inwards::new(self.head.iter(), self.width).side(rules(10, RISE, QUIETEST_START));
        let after = Inwards::new(self.tail.iter().rev(), self.width).side(rules(50, FALL, QUIETEST_END));

        let width = self.width as u64;
        let start = before.edge as u64 * width;
        // The tail was looked at from its end, which is the end of the last whole window.
        let end = if after.edge == 0 { self.frames } else { (self.windows - after.edge as u64) * width };
        SongEnds {
            rate: self.rate,
            frames: self.frames,
            start: start.min(self.frames),
            end: end.max(start).min(self.frames),
            floor_before: before.floor,
            floor_after: after.floor,
            breaks_off: after.sounding,
            breaks_in: before.sounding,
        }
    }

    /// The level that a twentieth of all that sounds surpasses, dBFS rms.
    fn loud(&self) -> f64 {
        // What lies below the quietest beginning is not counted, so that a few notes in a long
        // silence are as loud as they are.
        let sounds = (QUIETEST_START + 120.0) as usize;
        let all: u32 = self.levels[sounds..].iter().sum();
        let mut above = 0;
        for (step, count) in self.levels.iter().enumerate().rev() {
            above += count;
            if above * 20 >= all.max(1) {
                return step as f64 - 120.0;
            }
        }
        -120.0
    }
}

impl SongEnds {
    /// The ends of a file, in a pass of its own. The reader must stand at its start.
    pub fn find(reader: &mut Reader) -> Result<Self> {
        let mut finder = EndsFinder::new(reader.format().rate);
        let (mut left, mut right) = (vec![0.0; 4096], vec![0.0; 4096]);
        loop {
            let n = reader.read(&mut left, &mut right)?;
            if n == 0 {
                return Ok(finder.finish());
            }
            finder.push(&left[..n], &right[..n]);
        }
    }
}

/// One end, looked at from outside.
struct Side {
    /// Windows before the music.
    edge: usize,
    floor: Option<f64>,
    sounding: Option<f64>,
}

/// What decides about one end; levels in dBFS rms.
#[derive(Clone, Copy)]
struct Rules {
    /// Windows that make up a level.
    smooth: usize,
    /// Of the loud passages.
    loud: f64,
    /// dB above the noise.
    margin: f64,
    quietest: f64,
    surely: f64,
}

/// The windows of one end, from outside inwards, as running sums of their power.
struct Inwards {
    sums: Vec<f64>,
}

impl Inwards {
    fn new<'a>(windows: impl Iterator<Item = &'a Window>, width: usize) -> Self {
        let keep = (-std::f64::consts::TAU * OFFSET / 1000.0).exp();
        let (mut sums, mut sum, mut offset) = (vec![0.0], 0.0, None);
        for window in windows {
            // An offset that is there from the first window on is no beginning.
            let mean = window.sum.map(|sum| f64::from(sum) / width as f64);
            let known: &mut [f64; 2] = offset.get_or_insert(mean);
            sum += window.power(width, *known);
            sums.push(sum);
            for (known, mean) in known.iter_mut().zip(mean) {
                *known = keep * *known + (1.0 - keep) * mean;
            }
        }
        Self { sums }
    }

    fn len(&self) -> usize {
        self.sums.len() - 1
    }

    /// Level of the windows `from..to`, dBFS rms.
    fn level(&self, from: usize, to: usize) -> f64 {
        decibels(((self.sums[to] - self.sums[from]) / (to - from) as f64).max(0.0))
    }

    /// Level of each `length` windows in a row, the first over `..length`.
    fn levels(&self, length: usize) -> impl Iterator<Item = f64> {
        (length..=self.len()).map(move |to| self.level(to - length, to))
    }

    /// The noise that came just before window `i`: 300 ms, up to 50 ms ago.
    fn noise(&self, i: usize) -> f64 {
        let to = i.saturating_sub(50).max(100).min(self.len());
        self.level(to.saturating_sub(300), to)
    }

    fn side(&self, rules: Rules) -> Side {
        let Rules { smooth, loud, margin, quietest, surely } = rules;
        // The floor lies before the first moment that comes near the loud passages.
        let near =
            self.levels(smooth).position(|level| level > loud - NEAR_LOUD).map_or(self.len(), |i| i + smooth);
        let before = (near + 1).saturating_sub(50);
        let floor = self.levels(50).take(before).reduce(f64::min);
        let above = |noise: f64| (noise + margin).max(quietest).min(surely);
        let calm = floor.map_or(quietest.min(surely), above);
        let threshold = |i| floor.map_or(calm, |floor| above(self.noise(i).clamp(floor, floor + SWELL)));
        let found = self.levels(smooth).enumerate().find(|(i, level)| *level > threshold(*i));
        let Some((first, level)) = found else {
            return Side { edge: 0, floor, sounding: None };
        };
        if first == 0 {
            return Side { edge: 0, floor: None, sounding: Some(level) };
        }
        let mut edge = first;
        while edge >= 50 && self.level(edge - 50, edge) > calm {
            edge -= 1;
        }
        if edge == first {
            // Inside the average, the first window that is surely more than noise. A slow rise has
            // none: then the average's own beginning stands.
            let sharp = threshold(first) + if margin < RISE { 6.0 } else { 0.0 };
            let inside = (first..first + smooth).find(|&i| self.level(i, i + 1) > sharp);
            edge = inside.unwrap_or(first);
        }
        Side { edge, floor, sounding: None }
    }
}

fn decibels(power: f64) -> f64 {
    10.0 * power.log10()
}

//! Finds where the music begins and ends in a file: planar samples of the whole file in, two frame
//! numbers and the noise floors around them (dBFS) out.
//!
//! The level is measured in cells of 1 ms; each end is then searched from outside inwards, see
//! [`edge`](super::edge). All thresholds are common practice, no source.

use std::collections::VecDeque;

use super::edge::{EdgeSearch, LevelCell, Thresholds, decibels};

/// dB above the floor at which a beginning counts.
const START_RISE_DB: f64 = 8.0;
/// dB above the floor at which a ring-out still counts.
const END_RISE_DB: f64 = 4.0;
/// No beginning below this level, dBFS rms: dither and digital silence.
const MIN_START_DBFS: f64 = -78.0;
/// No ring-out below this level, dBFS rms.
const MIN_END_DBFS: f64 = -84.0;
/// Above this level all is music, whatever the floor, dBFS rms.
const SURELY_MUSIC_DBFS: f64 = -50.0;
/// Less than this below the loud passages all is music too, dB.
const SURELY_BELOW_LOUD_DB: f64 = 40.0;
/// A sharp end exceeds the noise by this much more than a ring-out, dB.
const SHARP_END_EXTRA_DB: f64 = 6.0;
/// Cells kept at either end: ten minutes.
const MAX_CELLS: usize = 600_000;
/// Cells whose level enters the statistics of the loud passages together, 100 ms.
const GROUP_CELLS: u64 = 100;
/// Lowest level in these statistics, dBFS rms.
const LOWEST_DBFS: f64 = -120.0;
/// Cells that are averaged for a beginning, 10 ms, and for an end, 50 ms.
const START_AVERAGE_CELLS: usize = 10;
const END_AVERAGE_CELLS: usize = 50;

/// The ends of the music in a file.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct SongEnds {
    /// Sample rate of the file, Hz.
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
    pub cut_off_end: Option<f64>,
    /// Level of the first 10 ms of the file in dBFS rms if it begins in the middle of sound.
    pub cut_off_start: Option<f64>,
    /// The sound in which the file begins is an attack.
    pub attack_at_start: bool,
    /// The noise before the music is steady, but so loud that it might be music.
    pub steady_before: bool,
    /// The same of the noise after it.
    pub steady_after: bool,
}

/// Finds the ends of a file from consecutive blocks.
pub struct EndsFinder {
    rate: u32,
    /// Frames per cell: 1 ms.
    width: usize,
    frames: u64,
    open: LevelCell,
    /// Frames in the open cell.
    filled: usize,
    head: Vec<LevelCell>,
    /// The last cells of the file.
    tail: VecDeque<LevelCell>,
    cells: u64,
    /// Number of groups of 100 ms by level, in steps of 1 dB from −120 dBFS.
    levels: [u32; 121],
    /// Sums of the left channel, the right one and the squares of both over the open group.
    group: [f64; 3],
}

impl EndsFinder {
    /// For a file of `rate` Hz.
    pub fn new(rate: u32) -> Self {
        Self {
            rate,
            width: (rate as usize + 500) / 1000,
            frames: 0,
            open: LevelCell::default(),
            filled: 0,
            head: Vec::new(),
            tail: VecDeque::new(),
            cells: 0,
            levels: [0; 121],
            group: [0.0; 3],
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
            for (sum, part) in self.group.iter_mut().zip([l, r, square]) {
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
        let cell = std::mem::take(&mut self.open);
        self.filled = 0;
        self.cells += 1;
        if self.head.len() < MAX_CELLS {
            self.head.push(cell);
        }
        if self.tail.len() == MAX_CELLS {
            self.tail.pop_front();
        }
        self.tail.push_back(cell);
        if self.cells.is_multiple_of(GROUP_CELLS) {
            let n = GROUP_CELLS as f64 * self.width as f64;
            let [l, r, square] = std::mem::take(&mut self.group);
            let power = ((square - (l * l + r * r) / n) / (2.0 * n)).max(0.0);
            let level = decibels(power).clamp(LOWEST_DBFS, 0.0);
            self.levels[(level - LOWEST_DBFS) as usize] += 1;
        }
    }

    /// The ends of all frames taken. A last, partial cell belongs to the music if the file breaks off.
    pub fn finish(self) -> SongEnds {
        let loud = self.loud();
        let surely = SURELY_MUSIC_DBFS.min(loud - SURELY_BELOW_LOUD_DB);
        let rules = |average, margin, quietest, sharp_extra| Thresholds {
            average,
            loud,
            margin,
            quietest,
            surely,
            sharp_extra,
        };
        let before = EdgeSearch::new(self.head.iter(), self.width).find(rules(
            START_AVERAGE_CELLS,
            START_RISE_DB,
            MIN_START_DBFS,
            0.0,
        ));
        let after = EdgeSearch::new(self.tail.iter().rev(), self.width).find(rules(
            END_AVERAGE_CELLS,
            END_RISE_DB,
            MIN_END_DBFS,
            SHARP_END_EXTRA_DB,
        ));

        let width = self.width as u64;
        let start = before.edge as u64 * width;
        // The tail is searched from the end of the last complete cell.
        let end = if after.edge == 0 { self.frames } else { (self.cells - after.edge as u64) * width };
        SongEnds {
            rate: self.rate,
            frames: self.frames,
            start: start.min(self.frames),
            end: end.max(start).min(self.frames),
            floor_before: before.floor,
            floor_after: after.floor,
            cut_off_end: after.cut_level,
            cut_off_start: before.cut_level,
            attack_at_start: before.attack,
            steady_before: before.steady,
            steady_after: after.steady,
        }
    }

    /// The level that 5 % of all groups above the quietest beginning exceed, dBFS rms.
    fn loud(&self) -> f64 {
        // Groups below the quietest beginning are not counted, so that a long silence around a few notes
        // does not lower the figure.
        let sounds = (MIN_START_DBFS - LOWEST_DBFS) as usize;
        let all: u32 = self.levels[sounds..].iter().sum();
        let mut above = 0;
        for (step, count) in self.levels.iter().enumerate().rev() {
            above += count;
            if above * 20 >= all.max(1) {
                return step as f64 + LOWEST_DBFS;
            }
        }
        LOWEST_DBFS
    }
}

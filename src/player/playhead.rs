//! Where a song plays: its ends, what is repeated, the place, and whether it runs. Frames at the
//! song's own rate throughout. Plain logic: no clock, no sound.

use std::ops::Range;

/// The next stretch to be played.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlayedRange {
    pub frames: Range<u64>,
    /// It does not follow on what was played before.
    pub jump: bool,
}

/// Shortest stretch between two ends, seconds.
const LEAST: f64 = 0.1;

/// Plays `trim` of a song once, or `cycle` again and again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Playhead {
    length: u64,
    least: u64,
    trim: Range<u64>,
    cycle: Option<Range<u64>>,
    at: u64,
    playing: bool,
    jumped: bool,
}

impl Playhead {
    /// At the start of a song of `length` frames at `rate` Hz, at rest.
    pub fn new(length: u64, rate: u32) -> Self {
        let least = ((LEAST * f64::from(rate)) as u64).clamp(1, length.max(1));
        Self { length, least, trim: 0..length, cycle: None, at: 0, playing: false, jumped: true }
    }

    /// Frames of the whole song.
    pub fn length(&self) -> u64 {
        self.length
    }

    /// The ends between which it plays.
    pub fn trim(&self) -> Range<u64> {
        self.trim.clone()
    }

    /// What is repeated.
    pub fn cycle(&self) -> Option<Range<u64>> {
        self.cycle.clone()
    }

    /// The frame that is played next.
    pub fn at(&self) -> u64 {
        self.at
    }

    pub fn playing(&self) -> bool {
        self.playing
    }

    /// Starts; from the beginning if it stands at the end.
    pub fn play(&mut self) {
        if self.length == 0 {
            return;
        }
        if self.at >= self.trim.end {
            self.seek(self.cycle.as_ref().map_or(self.trim.start, |cycle| cycle.start));
        }
        self.playing = true;
    }

    pub fn pause(&mut self) {
        self.playing = false;
    }

    /// Goes to a frame, or to the nearest that is played.
    pub fn seek(&mut self, frame: u64) {
        let last = self.trim.end.saturating_sub(1).max(self.trim.start);
        let frame = frame.clamp(self.trim.start, last);
        self.jumped |= frame != self.at;
        self.at = frame;
    }

    /// Sets both ends; they stay a tenth of a second apart, and everything else moves inside.
    pub fn set_trim(&mut self, trim: Range<u64>) {
        self.trim = self.apart(trim, &(0..self.length));
        self.set_cycle(self.cycle.clone());
        if self.at > self.trim.end || self.at < self.trim.start {
            self.seek(self.at);
        }
    }

    /// Repeats a stretch, or nothing. A stretch outside of the ends is moved to them.
    pub fn set_cycle(&mut self, cycle: Option<Range<u64>>) {
        self.cycle = cycle.map(|cycle| self.apart(cycle, &self.trim));
    }

    fn apart(&self, range: Range<u64>, within: &Range<u64>) -> Range<u64> {
        let least = self.least.min(within.end - within.start);
        let start = range.start.clamp(within.start, within.end - least);
        start..range.end.clamp(start + least, within.end)
    }

    /// The next stretch of at most `most` frames, none of it repeated or beyond an end; the place
    /// moves on. `None` at rest. At the end it comes to rest by itself.
    pub fn take(&mut self, most: u64) -> Option<PlayedRange> {
        if !self.playing || most == 0 {
            return None;
        }
        // Behind the repeated stretch it plays on to the end: that is where the hand has put it.
        let cycle = self.cycle.clone().filter(|cycle| self.at < cycle.end);
        let end = cycle.as_ref().map_or(self.trim.end, |cycle| cycle.end);
        let frames = self.at..end.min(self.at.saturating_add(most));
        if frames.is_empty() {
            self.playing = false;
            return None;
        }
        let jump = std::mem::take(&mut self.jumped);
        self.at = frames.end;
        if frames.end == end {
            match cycle {
                Some(cycle) => {
                    self.jumped = cycle.start != self.at;
                    self.at = cycle.start;
                }
                None => self.playing = false,
            }
        }
        Some(PlayedRange { frames, jump })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Frames played until it rests or `most` are through.
    fn played(head: &mut Playhead, block: u64, most: u64) -> Vec<u64> {
        let mut frames = Vec::new();
        while (frames.len() as u64) < most {
            let Some(piece) = head.take(block.min(most - frames.len() as u64)) else { break };
            frames.extend(piece.frames);
        }
        frames
    }

    #[test]
    fn it_plays_from_end_to_end_once_whatever_the_block() {
        for block in [1, 7, 64, 5000] {
            let mut head = Playhead::new(1000, 100);
            head.set_trim(50..900);
            head.play();
            assert_eq!(played(&mut head, block, 5000), (50..900).collect::<Vec<u64>>());
            assert!(!head.playing() && head.at() == 900);
            head.play();
            assert_eq!(played(&mut head, block, 10), (50..60).collect::<Vec<u64>>());
        }
    }

    #[test]
    fn a_cycle_is_repeated_without_a_gap_and_says_where_it_jumps() {
        let mut head = Playhead::new(1000, 100);
        head.set_cycle(Some(100..130));
        head.seek(90);
        head.play();
        let mut frames = Vec::new();
        let mut jumps = Vec::new();
        for _ in 0..20 {
            let piece = head.take(8).unwrap();
            if piece.jump {
                jumps.push(piece.frames.start);
            }
            frames.extend(piece.frames);
        }
        let wanted: Vec<u64> = (90..130).chain((0..).flat_map(|_| 100..130)).take(frames.len()).collect();
        assert_eq!(frames, wanted);
        assert!(jumps[0] == 90 && jumps.len() > 2 && jumps[1..].iter().all(|at| *at == 100), "{jumps:?}");
    }

    #[test]
    fn behind_the_cycle_it_plays_on_to_the_end() {
        let mut head = Playhead::new(1000, 100);
        head.set_cycle(Some(100..130));
        head.seek(500);
        head.play();
        assert_eq!(played(&mut head, 64, 5000), (500..1000).collect::<Vec<u64>>());
    }

    #[test]
    fn the_ends_take_everything_along_and_never_meet() {
        let mut head = Playhead::new(1000, 100);
        head.set_cycle(Some(10..40));
        head.seek(20);
        head.set_trim(300..300);
        assert_eq!(head.trim(), 300..310);
        assert_eq!((head.cycle(), head.at()), (Some(300..310), 300));
        head.set_trim(995..2000);
        assert_eq!(head.trim(), 990..1000);
        head.seek(u64::MAX);
        assert_eq!(head.at(), 999);
    }

    #[test]
    fn nothing_is_played_of_nothing() {
        let mut head = Playhead::new(0, 48_000);
        head.play();
        head.set_trim(0..5);
        head.seek(3);
        assert_eq!((head.playing(), head.take(64)), (false, None));
    }
}

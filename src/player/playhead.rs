//! Position and state of playback: start and end, loop, next frame, playing or not. Frames at the
//! song's sample rate throughout. Pure logic: no clock, no sound.

use std::ops::Range;

/// The next frames to be played.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlayedRange {
    /// Frames of the song.
    pub frames: Range<u64>,
    /// They do not follow the frames played before.
    pub jump: bool,
}

/// Shortest range between start and end, and of a loop, s.
const MIN_RANGE_S: f64 = 0.1;

/// Plays the part between start and end once, or a loop within it until it is cleared.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Playhead {
    length: u64,
    /// Shortest range, frames.
    min_length: u64,
    /// Start and end.
    bounds: Range<u64>,
    loop_range: Option<Range<u64>>,
    /// The frame that is played next.
    next: u64,
    playing: bool,
    /// The next frame does not follow the last one.
    jumped: bool,
}

impl Playhead {
    /// At the first frame of a song of `length` frames at `rate` Hz, paused.
    pub fn new(length: u64, rate: u32) -> Self {
        let min_length = ((MIN_RANGE_S * f64::from(rate)) as u64).clamp(1, length.max(1));
        Self {
            length,
            min_length,
            bounds: 0..length,
            loop_range: None,
            next: 0,
            playing: false,
            jumped: true,
        }
    }

    /// Frames of the whole song.
    pub fn length(&self) -> u64 {
        self.length
    }

    /// Start and end of what is played.
    pub fn bounds(&self) -> Range<u64> {
        self.bounds.clone()
    }

    /// The loop, if there is one.
    pub fn loop_range(&self) -> Option<Range<u64>> {
        self.loop_range.clone()
    }

    /// The frame that is played next.
    pub fn next_frame(&self) -> u64 {
        self.next
    }

    /// Whether it plays.
    pub fn playing(&self) -> bool {
        self.playing
    }

    /// Plays; at the end, from the start of the loop or of the song.
    pub fn play(&mut self) {
        if self.length == 0 {
            return;
        }
        if self.next >= self.bounds.end {
            self.seek(self.loop_range.as_ref().map_or(self.bounds.start, |range| range.start));
        }
        self.playing = true;
    }

    /// Pauses at the present frame.
    pub fn pause(&mut self) {
        self.playing = false;
    }

    /// Goes to a frame; outside of start and end, to the nearest inside.
    pub fn seek(&mut self, frame: u64) {
        let last = self.bounds.end.saturating_sub(1).max(self.bounds.start);
        let frame = frame.clamp(self.bounds.start, last);
        self.jumped |= frame != self.next;
        self.next = frame;
    }

    /// Sets start and end, at least 0.1 s apart; loop and position are moved inside.
    pub fn set_bounds(&mut self, bounds: Range<u64>) {
        self.bounds = self.clamp_range(bounds, &(0..self.length));
        self.set_loop(self.loop_range.clone());
        if self.next > self.bounds.end || self.next < self.bounds.start {
            self.seek(self.next);
        }
    }

    /// Sets or clears the loop, which is moved between start and end.
    pub fn set_loop(&mut self, range: Option<Range<u64>>) {
        self.loop_range = range.map(|range| self.clamp_range(range, &self.bounds));
    }

    fn clamp_range(&self, range: Range<u64>, within: &Range<u64>) -> Range<u64> {
        let min_length = self.min_length.min(within.end - within.start);
        let start = range.start.clamp(within.start, within.end - min_length);
        start..range.end.clamp(start + min_length, within.end)
    }

    /// The next frames, at most `most`, up to the end of the loop or of the song; the position moves
    /// on. `None` while paused. Pauses by itself at the end.
    pub fn take(&mut self, most: u64) -> Option<PlayedRange> {
        if !self.playing || most == 0 {
            return None;
        }
        // After the end of the loop (the user went there) it plays to the end of the song.
        let active_loop = self.loop_range.clone().filter(|range| self.next < range.end);
        let end = active_loop.as_ref().map_or(self.bounds.end, |range| range.end);
        let frames = self.next..end.min(self.next.saturating_add(most));
        if frames.is_empty() {
            self.playing = false;
            return None;
        }
        let jump = std::mem::take(&mut self.jumped);
        self.next = frames.end;
        if frames.end == end {
            match active_loop {
                Some(range) => {
                    self.jumped = range.start != self.next;
                    self.next = range.start;
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

    /// Frames played until it pauses, at most `most`.
    fn played(head: &mut Playhead, block: u64, most: u64) -> Vec<u64> {
        let mut frames = Vec::new();
        while (frames.len() as u64) < most {
            let Some(piece) = head.take(block.min(most - frames.len() as u64)) else { break };
            frames.extend(piece.frames);
        }
        frames
    }

    #[test]
    fn it_plays_from_start_to_end_once_at_every_block_size() {
        for block in [1, 7, 64, 5000] {
            let mut head = Playhead::new(1000, 100);
            head.set_bounds(50..900);
            head.play();
            assert_eq!(played(&mut head, block, 5000), (50..900).collect::<Vec<u64>>());
            assert!(!head.playing() && head.next_frame() == 900);
            head.play();
            assert_eq!(played(&mut head, block, 10), (50..60).collect::<Vec<u64>>());
        }
    }

    #[test]
    fn a_loop_repeats_without_a_gap_and_reports_its_jumps() {
        let mut head = Playhead::new(1000, 100);
        head.set_loop(Some(100..130));
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
    fn after_the_loop_it_plays_to_the_end() {
        let mut head = Playhead::new(1000, 100);
        head.set_loop(Some(100..130));
        head.seek(500);
        head.play();
        assert_eq!(played(&mut head, 64, 5000), (500..1000).collect::<Vec<u64>>());
    }

    #[test]
    fn start_and_end_stay_apart_and_move_loop_and_position_inside() {
        let mut head = Playhead::new(1000, 100);
        head.set_loop(Some(10..40));
        head.seek(20);
        head.set_bounds(300..300);
        assert_eq!(head.bounds(), 300..310);
        assert_eq!((head.loop_range(), head.next_frame()), (Some(300..310), 300));
        head.set_bounds(995..2000);
        assert_eq!(head.bounds(), 990..1000);
        head.seek(u64::MAX);
        assert_eq!(head.next_frame(), 999);
    }

    #[test]
    fn an_empty_song_does_not_play() {
        let mut head = Playhead::new(0, 48_000);
        head.play();
        head.set_bounds(0..5);
        head.seek(3);
        assert_eq!((head.playing(), head.take(64)), (false, None));
    }
}

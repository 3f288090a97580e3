//! How much of a song the measurement has seen: positions of the transport in; seconds out, where that is
//! a passage only.

use crate::dsp::CHUNK;

/// Share of the song below which the measurement is one of a passage: own choice.
pub const PASSAGE_SHARE: f64 = 0.6;
/// Slots a second: a loop of 10 s is told from one of 10.1 s.
const SLOTS_PER_S: u64 = 10;
/// Positions beyond are left out, h: they would need memory without end.
const MOST_H: u64 = 24;

/// The parts of one song that were measured, each counted once.
#[derive(Clone, Debug)]
pub struct SongCoverage {
    sample_rate: u64,
    /// Frames of the song between its start and its end.
    song_frames: u64,
    /// One bit a slot.
    slots: Vec<u64>,
    /// Slots measured.
    count: u64,
}

impl SongCoverage {
    /// Nothing measured yet of a song of `song_frames` frames at `sample_rate` Hz.
    pub fn new(sample_rate: u32, song_frames: u64) -> Self {
        Self { sample_rate: u64::from(sample_rate.max(1)), song_frames, slots: Vec::new(), count: 0 }
    }

    /// Another start or end: what was measured is kept.
    pub fn set_song_frames(&mut self, song_frames: u64) {
        self.song_frames = song_frames;
    }

    /// A chunk was measured that begins at this frame of the song.
    pub fn add(&mut self, position: i64) {
        let Ok(position) = u64::try_from(position) else { return };
        if position / self.sample_rate >= MOST_H * 3600 {
            return;
        }
        let slot = (position + CHUNK as u64 / 2) * SLOTS_PER_S / self.sample_rate;
        let (word, bit) = ((slot / 64) as usize, 1 << (slot % 64));
        if word >= self.slots.len() {
            self.slots.resize(word + 1, 0);
        }
        self.count += u64::from(self.slots[word] & bit == 0);
        self.slots[word] |= bit;
    }

    /// Discards what was measured.
    pub fn restart(&mut self) {
        self.slots.clear();
        self.count = 0;
    }

    /// Seconds of the song that were measured, where that is less than [`PASSAGE_SHARE`] of it; none
    /// where the measurement stands for the song, or where there is none.
    pub fn passage(&self) -> Option<f64> {
        let seconds = self.count as f64 / SLOTS_PER_S as f64;
        let song = self.song_frames as f64 / self.sample_rate as f64;
        (self.count > 0 && seconds < PASSAGE_SHARE * song).then_some(seconds)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Plays frames of the song.
    fn play(coverage: &mut SongCoverage, frames: std::ops::Range<i64>) {
        frames.step_by(CHUNK).for_each(|at| coverage.add(at));
    }

    #[test]
    fn a_loop_stays_a_passage_however_often_it_is_played() {
        let second = 48_000;
        let mut coverage = SongCoverage::new(48_000, 100 * 48_000);
        assert_eq!(coverage.passage(), None, "nothing measured");
        (0..30).for_each(|_| play(&mut coverage, 20 * second..30 * second));
        assert!((coverage.passage().unwrap() - 10.0).abs() < 0.15, "{:?}", coverage.passage());
        play(&mut coverage, 0..58 * second);
        assert!((coverage.passage().unwrap() - 58.0).abs() < 0.15);
        play(&mut coverage, 58 * second..61 * second);
        assert_eq!(coverage.passage(), None, "most of the song");
        coverage.restart();
        play(&mut coverage, 0..10 * second);
        assert!(coverage.passage().is_some(), "after a reset it begins again");
        // Start and end leave no more than the ten seconds.
        coverage.set_song_frames(12 * 48_000);
        assert_eq!(coverage.passage(), None);
    }

    #[test]
    fn positions_before_the_song_and_far_beyond_are_left_out() {
        let mut coverage = SongCoverage::new(44_100, 44_100);
        [-1, i64::MIN, i64::MAX].into_iter().for_each(|at| coverage.add(at));
        assert!(coverage.passage().is_none() && coverage.slots.is_empty());
    }
}

//! The passes over a song: which stretches of the history played which part of it, so that two passes
//! over the same part can be compared.

/// Passes that are remembered; older ones are forgotten.
const MAX_PASSES: usize = 4096;

/// A stretch of the history in which the transport ran without a jump.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Pass {
    /// First frame of the recording.
    start: u64,
    /// Frames.
    frames: u64,
    /// Position in the song at `start`, frames.
    position: i64,
}

/// Passes before the present one that are searched for the same place.
const MAX_SEARCHED: usize = 256;

/// All passes, oldest first. All memory is set aside at the start.
#[derive(Clone, Debug)]
pub struct Passes {
    list: Vec<Pass>,
    /// The last one still runs.
    is_open: bool,
}

impl Passes {
    /// Without passes.
    pub fn new() -> Self {
        Self { list: Vec::with_capacity(MAX_PASSES), is_open: false }
    }

    /// Adds a column of `frames` frames that begins at `start` and plays `position`; none while the
    /// transport stands.
    pub fn add(&mut self, start: u64, frames: u64, position: Option<i64>) {
        let Some(position) = position else {
            self.is_open = false;
            return;
        };
        if let Some(last) = self.list.last_mut().filter(|_| self.is_open) {
            let due = last.position + (start - last.start) as i64;
            if due.abs_diff(position) <= frames {
                last.frames = start + frames - last.start;
                return;
            }
        }
        if self.list.len() == MAX_PASSES {
            self.list.drain(..MAX_PASSES / 2);
        }
        self.list.push(Pass { start, frames, position });
        self.is_open = true;
    }

    /// When the part of the song that plays at `frame` was played in the pass before: the frame of the
    /// recording, and the number of frames from there on that both passes have in common.
    pub fn earlier(&self, frame: u64) -> Option<(u64, u64)> {
        let n = self.list.partition_point(|pass| pass.start <= frame).checked_sub(1)?;
        let (pass, into) = (self.list[n], frame - self.list[n].start);
        if into >= pass.frames {
            return None;
        }
        let position = pass.position + into as i64;
        self.list[..n].iter().rev().take(MAX_SEARCHED).find_map(|earlier| {
            let at = u64::try_from(position - earlier.position).ok().filter(|at| *at < earlier.frames)?;
            Some((earlier.start + at, (earlier.frames - at).min(pass.frames - into)))
        })
    }

    /// The position in the song at a frame of the recording, frames; none where the transport stood or told none.
    pub fn position(&self, frame: u64) -> Option<i64> {
        let n = self.list.partition_point(|pass| pass.start <= frame).checked_sub(1)?;
        let (pass, into) = (self.list[n], frame - self.list[n].start);
        (into < pass.frames).then_some(pass.position + into as i64)
    }

    /// Forgets all.
    pub fn reset(&mut self) {
        self.list.clear();
        self.is_open = false;
    }
}

impl Default for Passes {
    fn default() -> Self {
        Self::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_is_found_in_the_latest_pass_before_this_one() {
        let mut passes = Passes::new();
        let mut frame = 0;
        let mut play = |from: i64, columns: i64| {
            for n in 0..columns {
                passes.add(frame, 512, Some(from + n * 512));
                frame += 512;
            }
        };
        play(0, 100);
        play(51_200 / 2, 20); // the second pass, over the middle
        play(0, 100);
        // In the third pass: before the middle the first pass, in the middle the second.
        let third = 120 * 512;
        assert_eq!(passes.earlier(third + 1_000), Some((1_000, 51_200 - 1_000)));
        let in_second = passes.earlier(third + 25_600 + 512).expect("played twice");
        assert_eq!(in_second, (100 * 512 + 512, 19 * 512));
        assert_eq!(passes.earlier(600), None, "the first pass has none before it");
        assert_eq!(passes.earlier(third + 51_200), None, "nothing was played yet");
        assert_eq!(passes.position(third + 1_000), Some(1_000));
        assert_eq!(passes.position(100 * 512 + 7), Some(25_607), "in the second pass");
        assert_eq!(passes.position(frame), None);
        // A stop ends a pass; the same position afterwards is a new one.
        passes.add(frame, 512, None);
        passes.add(frame + 512, 512, Some(512));
        assert_eq!(passes.earlier(frame + 512).map(|(at, _)| at), Some(third + 512));
    }

    #[test]
    fn memory_is_bounded() {
        let mut passes = Passes::new();
        (0..3 * MAX_PASSES as u64).for_each(|n| passes.add(n * 512, 512, Some((n % 2) as i64 * 1_000_000)));
        assert!(passes.list.len() <= MAX_PASSES);
        let last = 3 * MAX_PASSES as u64 - 1;
        assert_eq!(passes.earlier(last * 512).map(|(at, _)| at), Some((last - 2) * 512));
    }
}

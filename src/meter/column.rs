//! One column of the history: what happened in a stretch of time. Merging keeps the extremes of
//! levels and reductions.

/// Peak below which a column holds no music, linear: −50 dBFS (own choice).
const MUSIC_PEAK: f32 = 0.003_162;

/// Events in a column.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ColumnMarks {
    /// The transport was running.
    pub playing: bool,
    /// The transport jumped to this column's position, or started here.
    pub jump: bool,
    /// A part of the column was lost because the reader had stalled.
    pub lost: bool,
}

/// One column. Levels are linear (full scale = ±1.0) and hold for both channels together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HistoryColumn {
    /// Lowest and highest sample before the chain.
    pub before: [f32; 2],
    /// Lowest and highest sample after the chain.
    pub after: [f32; 2],
    /// Highest true peak after the chain, linear.
    pub true_peak: f32,
    /// Deepest and mean reduction of the compressor, dB ≥ 0.
    pub compressor: [f32; 2],
    /// Deepest and mean reduction of the limiter, dB ≥ 0.
    pub limiter: [f32; 2],
    /// Most and mean of what the soft curve takes, dB ≥ 0.
    pub clip: [f32; 2],
    /// Deepest of what all of them reduce together, dB ≥ 0.
    pub total: f32,
    /// K-weighted mean square after the chain (BS.1770-5), full scale = 1.
    pub power: f32,
    /// Highest short-term loudness before and after, LUFS.
    pub short_term: [f32; 2],
    /// Times that the true peak rose above the target's limit.
    pub overs: u32,
    /// Position on the host's time line of the first frame, samples.
    pub position: Option<i64>,
    /// Transport events in the column.
    pub marks: ColumnMarks,
    /// Frames measured (fewer than the column is wide when some were lost or are yet to come).
    pub frames: u32,
}

impl HistoryColumn {
    /// Nothing measured.
    pub const EMPTY: Self = Self {
        before: [0.0; 2],
        after: [0.0; 2],
        true_peak: 0.0,
        compressor: [0.0; 2],
        limiter: [0.0; 2],
        clip: [0.0; 2],
        total: 0.0,
        power: 0.0,
        short_term: [f32::NEG_INFINITY; 2],
        overs: 0,
        position: None,
        marks: ColumnMarks { playing: false, jump: false, lost: false },
        frames: 0,
    };

    /// Whether it holds music: its peak after the chain is above −50 dBFS (own choice).
    pub fn has_music(&self) -> bool {
        self.after[1].max(-self.after[0]) >= MUSIC_PEAK
    }

    /// Merges a later column into this one.
    pub fn merge(&mut self, later: &HistoryColumn) {
        if later.frames == 0 {
            self.marks.lost |= later.marks.lost;
            return;
        }
        if self.frames == 0 {
            let lost = self.marks.lost;
            *self = *later;
            self.marks.lost |= lost;
            return;
        }
        let frames = self.frames.saturating_add(later.frames);
        let share = later.frames as f32 / frames as f32;
        for (mine, other) in [(&mut self.before, &later.before), (&mut self.after, &later.after)] {
            *mine = [mine[0].min(other[0]), mine[1].max(other[1])];
        }
        for (mine, other) in [
            (&mut self.compressor, &later.compressor),
            (&mut self.limiter, &later.limiter),
            (&mut self.clip, &later.clip),
        ] {
            *mine = [mine[0].max(other[0]), mine[1] + (other[1] - mine[1]) * share];
        }
        for (mine, other) in self.short_term.iter_mut().zip(later.short_term) {
            *mine = mine.max(other);
        }
        self.total = self.total.max(later.total);
        self.power += (later.power - self.power) * share;
        self.true_peak = self.true_peak.max(later.true_peak);
        self.overs = self.overs.saturating_add(later.overs);
        self.marks.playing |= later.marks.playing;
        self.marks.jump |= later.marks.jump;
        self.marks.lost |= later.marks.lost;
        self.frames = frames;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn extremes_are_kept_and_the_mean_is_weighted_by_time() {
        let mut a =
            HistoryColumn { limiter: [2.0, 1.0], after: [-0.3, 0.2], frames: 512, ..HistoryColumn::EMPTY };
        let marks = ColumnMarks { jump: true, ..ColumnMarks::default() };
        a.merge(&HistoryColumn {
            limiter: [6.0, 3.0],
            after: [-0.1, 0.4],
            frames: 1536,
            marks,
            ..HistoryColumn::EMPTY
        });
        assert_eq!((a.limiter, a.after), ([6.0, 2.5], [-0.3, 0.4]));
        assert!(a.marks.jump && a.frames == 2048);
    }
}

//! History of the measurement: columns of about 11 ms in, any span as any number of columns out.
//!
//! A pyramid of rings. The finest keeps the last 12 minutes in columns of about 11 ms; each level
//! above merges two columns into one and reaches back twice as far. Memory is bounded and set aside
//! at the start (6 MB per level, taken into use as it fills: 4 MB after five minutes, 26 MB after
//! three hours); nothing is ever moved, and a read visits only a few times the columns it returns.
//! Merged columns keep the extremes of levels and reductions.

use std::ops::Range;

use super::column::HistoryColumn;
use super::passes::Passes;
use crate::dsp::{CHUNK, db};

/// Columns that each level remembers.
pub const COLUMNS: usize = 1 << 16;
/// Levels of the pyramid.
pub const LEVELS: usize = 16;

/// One level: a ring of the last [`COLUMNS`] complete columns, and the one under way.
#[derive(Clone, Debug)]
struct HistoryLevel {
    ring: Vec<HistoryColumn>,
    /// Complete columns since the start; column `n` stands at `n % COLUMNS`.
    count: u64,
    /// The column under way: complete columns of the level below, merged.
    open: HistoryColumn,
}

impl HistoryLevel {
    fn push(&mut self, column: HistoryColumn) {
        let at = (self.count % COLUMNS as u64) as usize;
        if at == self.ring.len() {
            self.ring.push(column);
        } else {
            self.ring[at] = column;
        }
        self.count += 1;
    }
}

/// The store.
#[derive(Clone, Debug)]
pub struct History {
    sample_rate: u32,
    /// Frames per finest column.
    width: u64,
    levels: Vec<HistoryLevel>,
    passes: Passes,
}

/// Columns of one level on its fixed grid: drawn at their own times, they do not change while the
/// chart scrolls.
#[derive(Clone, Debug, PartialEq)]
pub struct HistoryView {
    /// First frame of the first column.
    pub start: u64,
    /// Frames per column.
    pub width: u64,
    /// The columns, oldest first.
    pub columns: Vec<HistoryColumn>,
}

impl History {
    /// For a sample rate in Hz. All memory is set aside here and taken into use as it fills.
    pub fn new(sample_rate: u32) -> Self {
        let level =
            || HistoryLevel { ring: Vec::with_capacity(COLUMNS), count: 0, open: HistoryColumn::EMPTY };
        Self {
            sample_rate,
            width: (Self::chunks_per_column(sample_rate) * CHUNK) as u64,
            levels: (0..LEVELS).map(|_| level()).collect(),
            passes: Passes::new(),
        }
    }

    /// Chunks per finest column: 16 at 44.1 and 48 kHz, 64 at 192 kHz; 10.7 to 11.6 ms at the
    /// usual rates.
    pub fn chunks_per_column(sample_rate: u32) -> usize {
        let octaves = (f64::from(sample_rate) / 48_000.0).log2().round();
        (16.0 * octaves.exp2()).max(1.0) as usize
    }

    /// Frames per finest column.
    pub fn width(&self) -> u64 {
        self.width
    }

    /// Sample rate in Hz.
    pub fn sample_rate(&self) -> u32 {
        self.sample_rate
    }

    /// Complete finest columns so far.
    pub fn count(&self) -> u64 {
        self.levels[0].count
    }

    /// Frames that the complete columns cover.
    pub fn frames(&self) -> u64 {
        self.count() * self.width
    }

    /// When the part of the song that plays at a frame was played in the pass before, as
    /// [`Passes::earlier`] has it.
    pub fn earlier(&self, frame: u64) -> Option<(u64, u64)> {
        self.passes.earlier(frame)
    }

    /// Adds the next finest column. Never allocates.
    pub fn push(&mut self, mut column: HistoryColumn) {
        let position = column.position.filter(|_| column.marks.playing && column.frames > 0);
        self.passes.add(self.frames(), self.width, position);
        for i in 0..LEVELS {
            self.levels[i].push(column);
            let complete = self.levels[i].count.is_multiple_of(2);
            let Some(above) = self.levels.get_mut(i + 1) else { break };
            above.open.merge(&column);
            if !complete {
                break;
            }
            column = std::mem::replace(&mut above.open, HistoryColumn::EMPTY);
        }
    }

    /// The finest level that has no more than `most` columns in a span of frames and still
    /// remembers its beginning.
    fn level_for(&self, span: &Range<u64>, most: usize) -> usize {
        let fits = |i: usize| {
            let width = self.width << i;
            let oldest = self.levels[i].count.saturating_sub(COLUMNS as u64) * width;
            (span.end - span.start).div_ceil(width) <= most as u64 && oldest <= span.start
        };
        (0..LEVELS).find(|&i| fits(i)).unwrap_or(LEVELS - 1)
    }

    /// Column `n` of a level; the newest may be incomplete.
    fn column(&self, level: usize, n: u64) -> HistoryColumn {
        let this = &self.levels[level];
        if n < this.count {
            if this.count - n > COLUMNS as u64 {
                return HistoryColumn::EMPTY;
            }
            return this.ring[(n % COLUMNS as u64) as usize];
        }
        let mut column = HistoryColumn::EMPTY;
        if n == this.count {
            // What is under way here, then what is under way below, in order of time.
            self.levels[..=level].iter().rev().for_each(|level| column.merge(&level.open));
        }
        column
    }

    /// The columns of a span of frames on the grid of one level: at least half of `most`, at most
    /// `most` (fewer when the span is shorter than that in finest columns). Ends with the newest
    /// column.
    pub fn view(&self, span: Range<u64>, most: usize) -> HistoryView {
        let span = span.start..span.end.min(self.frames()).max(span.start);
        // One column more may be needed where the span does not begin on the grid.
        let level = self.level_for(&span, most.max(2) - 1);
        let width = self.width << level;
        let (first, end) = (span.start / width, span.end.div_ceil(width));
        let columns = (first..end).map(|n| self.column(level, n)).collect();
        HistoryView { start: first * width, width, columns }
    }

    /// A span of frames as exactly `out.len()` columns of equal width; parts without a measurement
    /// are [`HistoryColumn::EMPTY`]. A column on a border counts for both sides: nothing is overlooked.
    pub fn read(&self, span: Range<u64>, out: &mut [HistoryColumn]) {
        let n = out.len() as u64;
        let length = span.end.saturating_sub(span.start);
        if n == 0 || length == 0 {
            out.fill(HistoryColumn::EMPTY);
            return;
        }
        // Twice as fine as asked where there is such a level.
        let level = self.level_for(&span, out.len().saturating_mul(4));
        let width = self.width << level;
        for (j, out) in (0..n).zip(out) {
            let at = |j: u64| span.start + (u128::from(length) * u128::from(j) / u128::from(n)) as u64;
            let (first, end) = (at(j) / width, at(j + 1).div_ceil(width).max(at(j) / width + 1));
            *out = self.column(level, first);
            (first + 1..end).for_each(|i| out.merge(&self.column(level, i)));
        }
    }

    /// Writes the remembered columns, finest level that reaches back to the start, as CSV: one
    /// header line with units, then one line per column. Levels of silence read `-inf`.
    pub fn write_csv(&self, mut to: impl std::io::Write) -> std::io::Result<()> {
        writeln!(
            to,
            "time (s),position (s),before peak (dBFS),after peak (dBFS),after true peak (dBTP),\
             compressor deepest (dB),compressor mean (dB),limiter deepest (dB),limiter mean (dB),\
             soft clip most (dB),soft clip mean (dB),\
             short-term before (LUFS),short-term after (LUFS),overs,playing,jump,lost"
        )?;
        let view = self.view(0..self.frames(), COLUMNS);
        let rate = f64::from(self.sample_rate);
        let db = |x: f32| db::from_gain(f64::from(x));
        let peak = |pair: [f32; 2]| db(pair[1].max(-pair[0]));
        for (n, c) in (0..).zip(&view.columns) {
            let time = (view.start + n * view.width) as f64 / rate;
            let position = c.position.map_or(String::new(), |p| format!("{:.4}", p as f64 / rate));
            writeln!(
                to,
                "{time:.4},{position},{:.2},{:.2},{:.2},{:.2},{:.2},{:.2},{:.2},{:.2},{:.2},{:.2},{:.2},{},{},{},{}",
                peak(c.before),
                peak(c.after),
                db(c.true_peak),
                c.compressor[0],
                c.compressor[1],
                c.limiter[0],
                c.limiter[1],
                c.clip[0],
                c.clip[1],
                c.short_term[0],
                c.short_term[1],
                c.overs,
                u8::from(c.marks.playing),
                u8::from(c.marks.jump),
                u8::from(c.marks.lost),
            )?;
        }
        Ok(())
    }

    /// Removes all columns; keeps the allocated memory.
    pub fn reset(&mut self) {
        self.passes.reset();
        for level in &mut self.levels {
            level.ring.clear();
            level.count = 0;
            level.open = HistoryColumn::EMPTY;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn column(reduction: f32) -> HistoryColumn {
        HistoryColumn {
            limiter: [reduction, reduction / 2.0],
            after: [-0.1, 0.2],
            frames: 512,
            ..HistoryColumn::EMPTY
        }
    }

    fn filled(columns: usize, deep_at: usize) -> History {
        let mut history = History::new(48_000);
        (0..columns).for_each(|n| history.push(column(if n == deep_at { 9.0 } else { 1.0 })));
        history
    }

    #[test]
    fn the_deepest_reduction_survives_every_zoom() {
        let history = filled(10_007, 7_777);
        for n in [1, 3, 100, 1000, 10_007] {
            let mut out = vec![HistoryColumn::EMPTY; n];
            history.read(0..history.frames(), &mut out);
            let deepest = (0..n).max_by(|&a, &b| out[a].limiter[0].total_cmp(&out[b].limiter[0])).unwrap();
            assert_eq!(out[deepest].limiter[0], 9.0);
            assert!(deepest.abs_diff(7_777 * n / 10_007) <= 1, "{deepest} of {n}");
            assert!(out.iter().all(|c| c.frames > 0 && c.after == [-0.1, 0.2]));
            let view = history.view(0..history.frames(), n.max(2));
            assert!(view.columns.len() <= n.max(2) && view.columns.len() >= n / 2);
            assert!(view.columns.iter().any(|c| c.limiter[0] == 9.0));
        }
    }

    #[test]
    fn memory_is_bounded_and_coarser_levels_reach_back_further() {
        let columns = 3 * COLUMNS + 11;
        let mut history = filled(1, 0);
        let before: Vec<usize> = history.levels.iter().map(|level| level.ring.capacity()).collect();
        (1..columns).for_each(|_| history.push(column(1.0)));
        let after: Vec<usize> = history.levels.iter().map(|level| level.ring.capacity()).collect();
        assert_eq!(before, after);
        let mut out = [HistoryColumn::EMPTY; 500];
        history.read(0..history.frames(), &mut out);
        assert_eq!(out[0].limiter[0], 9.0);
        let recent = history.view(history.frames() - 480_000..history.frames(), 1000);
        assert_eq!(recent.width, history.width());
        let old = history.view(0..480_000, 1000);
        assert_eq!(old.width, 4 * history.width());
        assert_eq!(old.columns[0].limiter[0], 9.0);
    }

    #[test]
    fn the_table_has_a_header_and_one_line_per_column() {
        let mut text = Vec::new();
        filled(20, 3).write_csv(&mut text).unwrap();
        let text = String::from_utf8(text).unwrap();
        let lines: Vec<&str> = text.lines().collect();
        assert_eq!(lines.len(), 21);
        let fields = |line: &str| line.split(',').count();
        assert!(lines.iter().all(|line| fields(line) == fields(lines[0])));
        assert!(lines[4].starts_with("0.0320,,"));
        assert!(lines[4].contains(",9.00,4.50,"));
    }
}

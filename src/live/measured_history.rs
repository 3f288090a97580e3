//! The history of an analysis, read as the chart draws it.

use super::history_source::{HistorySource, LiveColumn};
use crate::meter::{self, History};
use crate::sync::lock;
use std::cell::RefCell;
use std::sync::Mutex;

/// The columns of an analysis as a [`HistorySource`].
pub struct MeasuredHistory<'a> {
    history: &'a Mutex<History>,
    /// Buffer of [`HistorySource::read`], kept to avoid an allocation a frame.
    buffer: RefCell<Vec<meter::HistoryColumn>>,
}

impl<'a> MeasuredHistory<'a> {
    /// Reads `history`, which is locked during each read only.
    pub fn new(history: &'a Mutex<History>) -> Self {
        Self { history, buffer: RefCell::default() }
    }

    fn with<R>(&self, read: impl FnOnce(&History) -> R) -> R {
        read(&lock(self.history))
    }
}

impl HistorySource for MeasuredHistory<'_> {
    fn seconds(&self) -> f64 {
        self.with(|history| history.frames() as f64 / f64::from(history.sample_rate()))
    }

    fn read(&self, first: i64, step_s: f64, columns: &mut [LiveColumn]) {
        // Before time 0 there is nothing.
        let skip = usize::try_from(-first).unwrap_or(0).min(columns.len());
        columns[..skip].fill(LiveColumn::NONE);
        let columns = &mut columns[skip..];
        if columns.is_empty() {
            return;
        }
        let mut buffer = self.buffer.borrow_mut();
        buffer.clear();
        buffer.resize(columns.len(), meter::HistoryColumn::EMPTY);
        self.with(|history| {
            let frame =
                |n: i64| (n as f64 * step_s * f64::from(history.sample_rate())).round().max(0.0) as u64;
            let from = first + skip as i64;
            history.read(frame(from)..frame(from + columns.len() as i64), &mut buffer);
        });
        for (to, from) in columns.iter_mut().zip(&*buffer) {
            *to = column(from);
        }
    }

    fn read_earlier(&self, first: i64, step_s: f64, columns: &mut [LiveColumn]) -> bool {
        columns.fill(LiveColumn::NONE);
        let mut buffer = self.buffer.borrow_mut();
        self.with(|history| {
            let rate = f64::from(history.sample_rate());
            let step = step_s * rate;
            let (mut n, mut any) = (0, false);
            while n < columns.len() {
                // The middle of the column, so that a pass that begins inside it does not count.
                let middle = ((first + n as i64) as f64 + 0.5) * step;
                let Some((earlier, common)) =
                    (middle >= 0.0).then(|| history.earlier(middle as u64)).flatten()
                else {
                    n += 1;
                    continue;
                };
                let count = ((common as f64 / step).floor() as usize).clamp(1, columns.len() - n);
                let start = earlier as f64 - 0.5 * step;
                let span = start.max(0.0) as u64..(start + count as f64 * step).max(1.0) as u64;
                buffer.clear();
                buffer.resize(count, meter::HistoryColumn::EMPTY);
                history.read(span, &mut buffer);
                for (to, from) in columns[n..].iter_mut().zip(&*buffer) {
                    *to = column(from);
                }
                (n, any) = (n + count, true);
            }
            any
        })
    }

    fn stretch(&self, from_s: f64, to_s: f64) -> Option<meter::Stretch> {
        self.with(|history| {
            let frame = |s: f64| (s.max(0.0) * f64::from(history.sample_rate())).round() as u64;
            history.stretch(frame(from_s)..frame(to_s))
        })
    }

    fn song_time(&self, seconds: f64) -> f64 {
        let mut one = [meter::HistoryColumn::EMPTY];
        self.with(|history| {
            let rate = f64::from(history.sample_rate());
            let frame = (seconds * rate).max(0.0) as u64;
            history.read(frame..frame + history.width(), &mut one);
            // While the transport is stopped the host reports its position, which is not that of
            // the recording.
            let position = one[0].position.filter(|_| one[0].marks.playing);
            position.map_or(seconds, |position| position as f64 / rate)
        })
    }
}

fn column(from: &meter::HistoryColumn) -> LiveColumn {
    let db = |pair: [f32; 2]| 20.0 * pair[1].max(-pair[0]).log10();
    LiveColumn {
        input: db(from.before),
        output: db(from.after),
        compressor: from.compressor[0],
        limiter: from.limiter[0],
        clip: from.clip[0],
        total: from.total,
        short_term: from.short_term[1],
        over_ceiling: from.overs > 0,
        transport_jump: from.marks.jump,
        recorded: from.frames > 0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn history(columns: usize) -> Mutex<History> {
        let mut history = History::new(48_000);
        let frames = history.width() as u32;
        for n in 0..columns {
            let level = if n == 40 { 0.5 } else { 0.1 };
            history.push(meter::HistoryColumn {
                before: [-level, level],
                after: [-0.1, 0.2],
                compressor: [1.0, 0.5],
                frames,
                ..meter::HistoryColumn::EMPTY
            });
        }
        Mutex::new(history)
    }

    #[test]
    fn columns_are_at_their_times_and_there_is_none_before_the_start() {
        let history = history(200);
        let source = MeasuredHistory::new(&history);
        let seconds = source.seconds();
        assert!((seconds - 200.0 * 512.0 / 48_000.0).abs() < 1e-9, "{seconds}");
        let mut read = [LiveColumn::NONE; 60];
        source.read(-10, 0.02, &mut read);
        assert!(read[..10].iter().all(|c| !c.recorded) && read[10..].iter().all(|c| c.recorded));
        let peak = read.iter().position(|c| c.input > -10.0).unwrap();
        let time = (peak as i64 - 10) as f64 * 0.02;
        assert!((time - 40.0 * 512.0 / 48_000.0).abs() <= 0.02, "{time}");
        assert!((read[20].output + 13.979).abs() < 0.01 && read[20].compressor == 1.0);
    }
}

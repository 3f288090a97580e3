//! The data of a record's pictures: its masters in; short-term loudness in the order of the songs (LUFS) and the
//! level around each transition (dBFS) out.

use std::ops::Range;

use crate::dsp::db;
use crate::finish::chart::RecordSong;
use crate::finish::master::Master;
use crate::finish::release_result::ReleaseSet;
use crate::meter::HistoryColumn;
use crate::sync::lock;

/// Columns of all songs together.
const COLUMNS: f64 = 1400.0;
/// Length of music before and after a transition, s.
const AROUND_S: f64 = 10.0;
/// Columns of either side of a transition.
const SIDE_COLUMNS: usize = 160;
/// Window of the short-term loudness, s (EBU Tech 3341).
const SHORT_TERM_S: f64 = 3.0;

/// What stands between two songs.
pub struct Transition {
    /// The first of the two songs, counted from 1.
    pub number: usize,
    /// Highest sample over even stretches, dBFS: from 10 s before the ring-out's end to the end of the file.
    pub end_levels: Vec<f32>,
    /// The same from the start of the next file to 10 s after its attack.
    pub start_levels: Vec<f32>,
    /// Mean short-term loudness of the last 10 s of music, LUFS.
    pub end: Option<f64>,
    /// Of the first 10 s of the next song.
    pub start: Option<f64>,
    /// From ring-out to attack, s.
    pub gap: f64,
}

impl Transition {
    /// How much louder the next song begins, LU.
    pub fn jump(&self) -> Option<f64> {
        Some(self.start? - self.end?)
    }
}

/// The songs in their order with their loudness over time.
pub fn record_songs(set: &ReleaseSet) -> Vec<RecordSong> {
    let all = set.seconds().max(1.0);
    let song = |(i, (start, seconds, song)): (usize, (f64, f64, &Master))| {
        let count = (COLUMNS * seconds / all).ceil() as usize;
        let columns = columns(song, 0..song.measured.frames, count);
        RecordSong {
            number: i + 1,
            start,
            seconds,
            short_term: columns.iter().map(|column| column.short_term[1]).collect(),
            integrated: song.measured.output.integrated,
        }
    };
    set.running_order().enumerate().map(song).collect()
}

/// All transitions.
pub fn transitions(set: &ReleaseSet) -> Vec<Transition> {
    let gaps = set.gap_frames();
    let between = |(i, pair): (usize, &[Master])| {
        let (before, after) = (&pair[0], &pair[1]);
        let frames = |song: &Master, seconds: f64| (seconds * f64::from(song.spec.rate)) as u64;
        let (end, start) = (before.music().end, after.music().start);
        let last = end.saturating_sub(frames(before, AROUND_S));
        let first = (start + frames(after, AROUND_S)).min(after.measured.frames);
        let first_whole = (start + frames(after, SHORT_TERM_S)).min(first);
        Transition {
            number: i + 1,
            end_levels: levels(before, last..before.measured.frames),
            start_levels: levels(after, 0..first),
            end: loudness(before, (last + frames(before, SHORT_TERM_S)).min(end)..end),
            start: loudness(after, first_whole..first),
            gap: gaps[i] as f64 / f64::from(before.spec.rate),
        }
    };
    set.songs.windows(2).enumerate().map(between).collect()
}

fn columns(song: &Master, span: Range<u64>, count: usize) -> Vec<HistoryColumn> {
    let mut columns = vec![HistoryColumn::EMPTY; count];
    lock(&song.measured.history).read(span, &mut columns);
    columns
}

fn levels(song: &Master, span: Range<u64>) -> Vec<f32> {
    let level =
        |column: &HistoryColumn| db::from_gain(f64::from(column.after[1].max(-column.after[0]))) as f32;
    columns(song, span, SIDE_COLUMNS).iter().map(level).collect()
}

/// Mean of the short-term loudness as power; none where there is none.
fn loudness(song: &Master, span: Range<u64>) -> Option<f64> {
    let columns = columns(song, span, SIDE_COLUMNS);
    let powers: Vec<f64> = columns
        .iter()
        .map(|column| f64::from(column.short_term[1]))
        .filter(|level| level.is_finite())
        .map(|level| 10f64.powf(level / 10.0))
        .collect();
    let mean = powers.iter().sum::<f64>() / powers.len() as f64;
    (!powers.is_empty()).then(|| 10.0 * mean.log10())
}

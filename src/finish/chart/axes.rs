//! The axes of a chart: columns and a length in seconds in; columns that fit the width and round times
//! out.

use super::model::ChartColumn;
use crate::numbers::{clock, shortest};

/// At most `n` columns: joined columns keep their extremes and the last loudness.
pub(super) fn fit(columns: &[ChartColumn], n: usize) -> Vec<ChartColumn> {
    let join = columns.len().div_ceil(n.max(1)).max(1);
    let max = |columns: &[ChartColumn], value: fn(&ChartColumn) -> f32| {
        columns.iter().map(value).fold(f32::NEG_INFINITY, f32::max)
    };
    columns
        .chunks(join)
        .map(|part| ChartColumn {
            time: part[0].time,
            input: max(part, |c| c.input),
            output: max(part, |c| c.output),
            compressor: max(part, |c| c.compressor),
            limiter: max(part, |c| c.limiter),
            clip: max(part, |c| c.clip),
            short_term: part[part.len() - 1].short_term,
        })
        .collect()
}

/// Round times, five to twelve of them, s.
pub(super) fn time_ticks(seconds: f64) -> Vec<f64> {
    let steps = [0.5, 1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1200.0, 3600.0];
    let step = steps.into_iter().find(|step| seconds / step <= 12.0).unwrap_or(seconds / 10.0);
    (0..).map(|i| step * f64::from(i)).take_while(|&time| time <= seconds).take(20).collect()
}

/// A time on the axis: "7 s", "1:30".
pub(super) fn axis_time(seconds: f64) -> String {
    if seconds < 60.0 { format!("{} s", shortest(seconds, 1)) } else { clock(seconds) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn joined_columns_keep_the_extremes() {
        let column = |i: u8| ChartColumn {
            time: f64::from(i),
            input: -f32::from(i),
            output: -20.0,
            compressor: f32::from(i % 3),
            limiter: f32::from(i % 5),
            clip: f32::from(i % 7),
            short_term: -f32::from(i),
        };
        let columns: Vec<_> = (0..100).map(column).collect();
        let few = fit(&columns, 10);
        assert_eq!(few.len(), 10);
        assert_eq!((few[3].time, few[3].input, few[3].short_term), (30.0, -30.0, -39.0));
        assert!(few.iter().all(|c| (c.compressor, c.limiter, c.clip) == (2.0, 4.0, 6.0)));
    }

    #[test]
    fn the_time_axis_has_round_times() {
        assert_eq!(time_ticks(54.0), (0..11).map(|i| 5.0 * f64::from(i)).collect::<Vec<_>>());
        assert_eq!(time_ticks(0.0), [0.0]);
        assert_eq!((axis_time(15.0).as_str(), axis_time(90.0).as_str()), ("15 s", "1:30"));
        assert!(time_ticks(7200.0).len() <= 13);
    }
}

//! Ticks of a ruler's scale at round values, as many as fit its width.

use crate::numbers::shortest;
use crate::params::{Kind, Param, Unit};

/// One tick.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tick {
    /// Value in the parameter's unit.
    pub value: f32,
    /// 0 to 1 along the scale.
    pub position: f32,
    /// A long tick.
    pub major: bool,
    /// There is room for its value.
    pub labelled: bool,
}

/// Ticks at round values, as many as fit into `width` points.
pub fn ticks(param: &Param, width: f32) -> Vec<Tick> {
    let (min, max) = param.range();
    let Kind::Number { unit, .. } = param.kind else { return Vec::new() };
    let mut all: Vec<Tick> = Vec::new();
    let mut add = |values: &mut dyn Iterator<Item = f32>, major: bool, gap: f32| {
        for value in values.filter(|v| (min..=max).contains(v)) {
            let position = param.position(value);
            if all.iter().all(|t| (t.position - position).abs() * width >= gap) {
                all.push(Tick { value, position, major, labelled: false });
            }
        }
    };
    let every = |step: f32| {
        let (from, to) = ((min / step).ceil() as i32, (max / step).floor() as i32);
        (from..=to).map(move |n| n as f32 * step)
    };
    match unit {
        Unit::Gain | Unit::Db | Unit::DbTp | Unit::Percent | Unit::Ratio => {
            let steps: &[f32] = match unit {
                Unit::Percent => &[50.0, 25.0, 10.0, 5.0],
                Unit::Ratio => &[1.0, 0.5, 0.1],
                _ if max - min > 40.0 => &[12.0, 6.0, 3.0, 1.0],
                _ => &[6.0, 3.0, 1.0, 0.5],
            };
            add(&mut every(steps[0]), true, 9.0);
            steps[1..].iter().for_each(|step| add(&mut every(*step), false, 4.0));
        }
        Unit::Hz | Unit::Ms | Unit::Q => {
            let decades = |digits: &'static [f32]| {
                (-2..=4).flat_map(move |e| digits.iter().map(move |d| d * 10.0_f32.powi(e)))
            };
            if min == 0.0 {
                add(&mut std::iter::once(0.0), true, 0.0);
            }
            add(&mut decades(&[1.0]), true, 9.0);
            add(&mut decades(&[2.0, 5.0]), true, 9.0);
            add(&mut decades(&[3.0, 4.0, 6.0, 7.0, 8.0, 9.0]), false, 4.0);
            add(&mut decades(&[1.5, 2.5]), false, 4.0);
        }
    }
    let mut labels: Vec<f32> = Vec::new();
    for tick in all.iter_mut().filter(|t| t.major) {
        if labels.iter().all(|position| (position - tick.position).abs() * width >= 26.0) {
            labels.push(tick.position);
            tick.labelled = true;
        }
    }
    all
}

/// A tick's value in as few characters as possible.
pub fn tick_label(param: &Param, value: f32) -> String {
    let Kind::Number { unit, .. } = param.kind else { return String::new() };
    let value = f64::from(value);
    match unit {
        Unit::Hz if value >= 1000.0 => format!("{}k", shortest(value / 1000.0, 2)),
        Unit::Gain if value > 0.0 => format!("+{}", shortest(value, 2)),
        _ => shortest(value, 2),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::params;

    #[test]
    fn ticks_keep_their_distance_on_every_scale_at_any_width() {
        for param in params::all().iter().filter(|p| matches!(p.kind, Kind::Number { .. })) {
            for width in [50.0, 110.0, 300.0, 900.0] {
                let mut ticks = ticks(param, width);
                assert!(ticks.iter().filter(|t| t.major).count() >= 2, "{} at {width}", param.id);
                ticks.sort_by(|a, b| a.position.total_cmp(&b.position));
                for pair in ticks.windows(2) {
                    assert!(
                        (pair[1].position - pair[0].position) * width >= 3.9,
                        "{} at {width}: {pair:?}",
                        param.id
                    );
                }
            }
        }
    }
}

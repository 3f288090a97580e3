//! The marks on a ruler's scale: a parameter and a width in points in, ticks at round values out.

use crate::params::{Kind, Param, Unit};

/// A mark on the scale.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tick {
    pub value: f32,
    /// 0 to 1 along the scale.
    pub place: f32,
    pub major: bool,
    /// There is room to write its value.
    pub labelled: bool,
}

/// Ticks at round values, as many as `width` points hold.
pub fn ticks(param: &Param, width: f32) -> Vec<Tick> {
    let (min, max) = param.range();
    let Kind::Number { unit, .. } = param.kind else { return Vec::new() };
    let mut all: Vec<Tick> = Vec::new();
    let mut put = |values: &mut dyn Iterator<Item = f32>, major: bool, gap: f32| {
        for value in values.filter(|v| (min..=max).contains(v)) {
            let place = param.position(value);
            if all.iter().all(|t| (t.place - place).abs() * width >= gap) {
                all.push(Tick { value, place, major, labelled: false });
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
            put(&mut every(steps[0]), true, 9.0);
            steps[1..].iter().for_each(|step| put(&mut every(*step), false, 4.0));
        }
        Unit::Hz | Unit::Ms | Unit::Q => {
            let decades = |digits: &'static [f32]| {
                (-2..=4).flat_map(move |e| digits.iter().map(move |d| d * 10.0_f32.powi(e)))
            };
            if min == 0.0 {
                put(&mut std::iter::once(0.0), true, 0.0);
            }
            put(&mut decades(&[1.0]), true, 9.0);
            put(&mut decades(&[2.0, 5.0]), true, 9.0);
            put(&mut decades(&[3.0, 4.0, 6.0, 7.0, 8.0, 9.0]), false, 4.0);
            put(&mut decades(&[1.5, 2.5]), false, 4.0);
        }
    }
    let mut written: Vec<f32> = Vec::new();
    for tick in all.iter_mut().filter(|t| t.major) {
        if written.iter().all(|place| (place - tick.place).abs() * width >= 26.0) {
            written.push(tick.place);
            tick.labelled = true;
        }
    }
    all
}

/// A tick's value in the fewest characters.
pub fn short(param: &Param, value: f32) -> String {
    let Kind::Number { unit, .. } = param.kind else { return String::new() };
    let text = match unit {
        Unit::Hz if value >= 1000.0 => format!("{}k", value / 1000.0),
        Unit::Gain if value > 0.0 => format!("+{value}"),
        _ => format!("{}", (value * 100.0).round() / 100.0),
    };
    text.replace('-', "\u{2212}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::params;

    #[test]
    fn every_scale_has_ticks_apart_from_each_other_at_any_width() {
        for param in params::all().iter().filter(|p| matches!(p.kind, Kind::Number { .. })) {
            for width in [50.0, 110.0, 300.0, 900.0] {
                let mut ticks = ticks(param, width);
                assert!(ticks.iter().filter(|t| t.major).count() >= 2, "{} at {width}", param.id);
                ticks.sort_by(|a, b| a.place.total_cmp(&b.place));
                for pair in ticks.windows(2) {
                    assert!(
                        (pair[1].place - pair[0].place) * width >= 3.9,
                        "{} at {width}: {pair:?}",
                        param.id
                    );
                }
            }
        }
    }
}

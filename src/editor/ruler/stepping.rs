//! Steps and rounding of a parameter's value: what a wheel's click, an arrow key or a drag makes of
//! it, so that what is set reads as it is written.

use crate::params::{Kind, Param, Unit};

/// The value rounded to what its text shows, or ten times finer.
pub fn tidy(param: &Param, value: f32, fine: bool) -> f32 {
    let (min, max) = param.range();
    let Kind::Number { unit, .. } = param.kind else { return value.round() };
    let grain = match unit {
        Unit::Gain | Unit::Db | Unit::DbTp => 0.1,
        Unit::Percent => 1.0,
        Unit::Ratio | Unit::Q => 0.01,
        // Three figures.
        Unit::Hz | Unit::Ms => 10.0_f32.powf(value.abs().max(0.1).log10().floor() - 2.0),
    };
    let grain = if fine && !matches!(unit, Unit::Ratio | Unit::Q) { grain / 10.0 } else { grain };
    // Dividing by the whole inverse keeps 0.1 dB steps on the nearest float of their decimal.
    let inverse = (1.0 / grain).round().max(1.0);
    let rounded =
        if grain <= 1.0 { (value * inverse).round() / inverse } else { (value / grain).round() * grain };
    rounded.clamp(min, max)
}

/// The value `steps` steps further: half a dB, or a fiftieth of the way; fine, a fifth of that.
pub fn stepped(param: &Param, value: f32, steps: f32, fine: bool) -> f32 {
    let (min, max) = param.range();
    let Kind::Number { unit, .. } = param.kind else { return (value + steps.signum()).clamp(min, max) };
    match unit {
        Unit::Gain | Unit::Db | Unit::DbTp => {
            let step = if fine { 0.1 } else { 0.5 };
            tidy(param, value + steps * step, fine).clamp(min, max)
        }
        _ => {
            let step = if fine { 0.004 } else { 0.02 };
            let exact = param.at_position(param.position(value) + steps * step);
            let moved = tidy(param, exact, fine);
            // A step never gets lost, or turned back, in the rounding.
            if (moved - value) * steps > 0.0 { moved } else { exact }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::params::{self, find};

    #[test]
    fn steps_are_halves_of_a_db_and_never_get_stuck() {
        let drive = find("drive").unwrap();
        assert_eq!(stepped(drive, 4.0, 1.0, false), 4.5);
        assert_eq!(stepped(drive, 4.0, -1.0, true), 3.9);
        assert_eq!(stepped(drive, 24.0, 1.0, false), 24.0);
        for param in params::all().iter().filter(|p| matches!(p.kind, Kind::Number { .. })) {
            let (mut value, max) = (param.range().0, param.range().1);
            for _ in 0..3000 {
                let next = stepped(param, value, 1.0, true);
                assert!(next > value || value == max, "{} stuck at {value}", param.id);
                value = next;
            }
            assert_eq!(value, max, "{}", param.id);
        }
    }

    #[test]
    fn dragged_values_read_as_written() {
        assert_eq!(tidy(find("drive").unwrap(), 4.8231, false), 4.8);
        assert_eq!(tidy(find("drive").unwrap(), 4.8231, true), 4.82);
        assert_eq!(tidy(find("eq3_freq").unwrap(), 1234.5, false), 1230.0);
        assert_eq!(tidy(find("ceiling").unwrap(), -1.04, false), -1.0);
        assert_eq!(tidy(find("comp_mix").unwrap(), 80.4, false), 80.0);
    }
}

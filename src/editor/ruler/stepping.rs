//! Steps and rounding of values set by wheel, arrow keys and drags, so that the value is the one that
//! is written.

use crate::params::{Kind, Param, Unit};

/// The value rounded to the resolution of its text, or, if `fine`, to a tenth of that.
pub fn round_to_display(param: &Param, value: f32, fine: bool) -> f32 {
    let (min, max) = param.range();
    let Kind::Number { unit, .. } = param.kind else { return value.round() };
    let resolution = match unit {
        Unit::Gain | Unit::Db | Unit::DbTp => 0.1,
        Unit::Percent => 1.0,
        Unit::Ratio | Unit::Q => 0.01,
        // Three significant digits.
        Unit::Hz | Unit::Ms => 10.0_f32.powf(value.abs().max(0.1).log10().floor() - 2.0),
    };
    let resolution =
        if fine && !matches!(unit, Unit::Ratio | Unit::Q) { resolution / 10.0 } else { resolution };
    // Dividing by the integer inverse gives the float nearest to each multiple of 0.1.
    let inverse = (1.0 / resolution).round().max(1.0);
    let rounded = if resolution <= 1.0 {
        (value * inverse).round() / inverse
    } else {
        (value / resolution).round() * resolution
    };
    rounded.clamp(min, max)
}

/// The value `steps` steps further: 0.5 dB or 2 % of the range each; if `fine`, a fifth of that.
pub fn stepped(param: &Param, value: f32, steps: f32, fine: bool) -> f32 {
    let (min, max) = param.range();
    let Kind::Number { unit, .. } = param.kind else { return (value + steps.signum()).clamp(min, max) };
    match unit {
        Unit::Gain | Unit::Db | Unit::DbTp => {
            let step = if fine { 0.1 } else { 0.5 };
            round_to_display(param, value + steps * step, fine).clamp(min, max)
        }
        _ => {
            let step = if fine { 0.004 } else { 0.02 };
            let exact = param.at_position(param.position(value) + steps * step);
            let moved = round_to_display(param, exact, fine);
            // Rounding must not undo or reverse a step.
            if (moved - value) * steps > 0.0 { moved } else { exact }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::params::{self, find};

    #[test]
    fn steps_are_half_a_decibel_and_reach_the_end_of_every_range() {
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
    fn dragged_values_have_the_resolution_of_their_text() {
        assert_eq!(round_to_display(find("drive").unwrap(), 4.8231, false), 4.8);
        assert_eq!(round_to_display(find("drive").unwrap(), 4.8231, true), 4.82);
        assert_eq!(round_to_display(find("eq3_freq").unwrap(), 1234.5, false), 1230.0);
        assert_eq!(round_to_display(find("ceiling").unwrap(), -1.04, false), -1.0);
        assert_eq!(round_to_display(find("comp_mix").unwrap(), 80.4, false), 80.0);
    }
}

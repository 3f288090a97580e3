//! Eight f32 worked on together: one step of arithmetic at a time over the whole array, which the
//! compiler turns into vector operations. (A loop with several steps in it often stays scalar.)

use super::minmax;

/// Values that are worked on together: one register of eight f32, or two of four.
pub const LANES: usize = 8;

/// One register's worth.
pub type Lanes = [f32; LANES];

/// `of` each value.
#[inline(always)]
pub fn each(a: Lanes, of: impl Fn(f32) -> f32) -> Lanes {
    let mut y = [0.0; LANES];
    for k in 0..LANES {
        y[k] = of(a[k]);
    }
    y
}

/// `of` each pair of values.
#[inline(always)]
pub fn pairs(a: Lanes, b: Lanes, of: impl Fn(f32, f32) -> f32) -> Lanes {
    let mut y = [0.0; LANES];
    for k in 0..LANES {
        y[k] = of(a[k], b[k]);
    }
    y
}

/// The larger value of each pair; that of `a` where there is no order.
#[inline(always)]
pub fn larger(a: Lanes, b: Lanes) -> Lanes {
    pairs(a, b, |a, b| minmax::larger(b, a))
}

/// The eight values folded in halves.
#[inline(always)]
pub fn folded(a: Lanes, of: impl Fn(f32, f32) -> f32) -> f32 {
    let mut four = [0.0; 4];
    for k in 0..4 {
        four[k] = of(a[k], a[k + 4]);
    }
    of(of(four[0], four[2]), of(four[1], four[3]))
}

/// The values from `at` on.
#[inline(always)]
pub fn lanes(values: &[f32], at: usize) -> Lanes {
    values[at..at + LANES].try_into().expect("eight values")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_lane_takes_part() {
        let a = std::array::from_fn(|k| k as f32 - 3.0);
        let b = std::array::from_fn(|k| 2.0 - k as f32);
        assert_eq!(each(a, f32::abs), [3.0, 2.0, 1.0, 0.0, 1.0, 2.0, 3.0, 4.0]);
        assert_eq!(pairs(a, b, |a, b| a + b), [-1.0; LANES]);
        assert_eq!(larger(a, b), [2.0, 1.0, 0.0, 0.0, 1.0, 2.0, 3.0, 4.0]);
        assert_eq!(folded(a, |a, b| a + b), 4.0);
        assert_eq!(lanes(&[9.0; 12], 4), [9.0; LANES]);
    }
}

//! Small linear least squares for the filter designs: a few columns of weighted equations in,
//! their best solution out.

/// Equations in a fit: points on the frequency axis.
pub(crate) const POINTS: usize = 15;

/// One value at each point.
pub(crate) type FitColumn = [f64; POINTS];

/// The x that makes |Σ columns·x − right| smallest; `None` if the columns are not independent.
///
/// Modified Gram-Schmidt with the right-hand side carried along as one more column, which is as
/// accurate as a Householder factorisation (Björck 1967 \[from memory\]) and does not square the
/// condition number as the normal equations do.
///
/// Worked out point by point, all columns of a point side by side: each sum runs over the points in their
/// order, and the sums of a step are those of a vector register.
#[inline(always)]
pub(crate) fn least_squares<const N: usize>(columns: &[FitColumn; N], right: &FitColumn) -> Option<[f64; N]> {
    let mut a = [[0.0; N]; POINTS];
    let mut y = *right;
    let mut before = [0.0; N];
    for p in 0..POINTS {
        for j in 0..N {
            a[p][j] = columns[j][p];
        }
        for j in 0..N {
            before[j] += a[p][j] * a[p][j];
        }
    }
    let mut r = [[0.0; N]; N];
    let mut x = [0.0; N];
    // What each column, and the right-hand side, loses of the column before.
    let (mut factors, mut right_factor) = ([0.0; N], 0.0);
    for i in 0..N {
        let (mut sums, mut right_sum) = ([0.0; N], 0.0);
        for p in 0..POINTS {
            if i > 0 {
                let done = a[p][i - 1];
                for j in 0..N {
                    a[p][j] -= done * factors[j];
                }
                y[p] -= done * right_factor;
            }
            let column = a[p][i];
            for j in 0..N {
                sums[j] += column * a[p][j];
            }
            right_sum += column * y[p];
        }
        let power = sums[i];
        // Written so that NaN fails too.
        if !(power > 1e-24 * before[i] && power.is_finite()) {
            return None;
        }
        r[i] = sums;
        x[i] = right_sum;
        for j in 0..N {
            factors[j] = if j > i { sums[j] / power } else { 0.0 };
        }
        right_factor = right_sum / power;
    }
    for i in (0..N).rev() {
        for j in i + 1..N {
            x[i] -= r[i][j] * x[j];
        }
        x[i] /= r[i][i];
    }
    Some(x)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finds_the_polynomial_behind_its_values() {
        let at: FitColumn = std::array::from_fn(|i| i as f64 / 4.0);
        let columns = [at.map(|_| 1.0), at, at.map(|t| t * t)];
        let found = least_squares(&columns, &at.map(|t| 3.0 - 2.0 * t + 0.5 * t * t)).unwrap();
        for (found, expected) in found.into_iter().zip([3.0, -2.0, 0.5]) {
            assert!((found - expected).abs() < 1e-12);
        }
        assert!(least_squares(&[at, at.map(|t| 2.0 * t)], &at).is_none());
    }
}

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
#[inline]
pub(crate) fn least_squares<const N: usize>(columns: &[FitColumn; N], right: &FitColumn) -> Option<[f64; N]> {
    let mut a = *columns;
    let mut y = *right;
    let mut r = [[0.0; N]; N];
    let mut x = [0.0; N];
    for i in 0..N {
        let before = dot(&columns[i], &columns[i]);
        let power = dot(&a[i], &a[i]);
        // Written so that NaN fails too.
        if !(power > 1e-24 * before && power.is_finite()) {
            return None;
        }
        r[i][i] = power;
        let column = a[i];
        for j in i + 1..N {
            r[i][j] = dot(&column, &a[j]);
            subtract(&mut a[j], &column, r[i][j] / power);
        }
        x[i] = dot(&column, &y);
        subtract(&mut y, &column, x[i] / power);
    }
    for i in (0..N).rev() {
        for j in i + 1..N {
            x[i] -= r[i][j] * x[j];
        }
        x[i] /= r[i][i];
    }
    Some(x)
}

#[inline]
fn dot(a: &FitColumn, b: &FitColumn) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

#[inline]
fn subtract(from: &mut FitColumn, column: &FitColumn, factor: f64) {
    for (from, value) in from.iter_mut().zip(column) {
        *from -= value * factor;
    }
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

//! Nonlinear least squares after Levenberg and Marquardt (Marquardt, SIAM Journal on Applied Mathematics 11,
//! 1963; from memory): parameters with bounds and a function of residuals in, better parameters out.

/// Iterations at most.
const ITERATIONS: usize = 60;
/// Damping at the start, its factors after a step that helps and one that does not, and where it ends.
const DAMPING: f64 = 1e-3;
const EASED: f64 = 0.3;
const RAISED: f64 = 5.0;
const STIFFEST: f64 = 1e6;
/// Share of the cost that a step must save for another one.
const LEAST_GAIN: f64 = 1e-5;

/// A parameter's bounds and the step of its numeric derivative.
#[derive(Clone, Copy, Debug)]
pub struct Bound {
    /// Lowest value.
    pub low: f64,
    /// Highest value.
    pub high: f64,
    /// Step of the derivative.
    pub step: f64,
}

/// Lowers the sum of squares of `residuals` from `start`; never returns what is worse.
pub fn refine<const N: usize>(
    start: [f64; N],
    bounds: &[Bound; N],
    residuals: impl Fn(&[f64; N]) -> Vec<f64>,
) -> [f64; N] {
    let cost = |r: &[f64]| r.iter().map(|x| x * x).sum::<f64>();
    let (mut at, mut now) = (start, residuals(&start));
    let mut damping = DAMPING;
    for _ in 0..ITERATIONS {
        let columns: [Vec<f64>; N] =
            std::array::from_fn(|i| derivative(&at, i, &bounds[i], &now, &residuals));
        let before = cost(&now);
        loop {
            let mut next = at;
            for ((x, by), bound) in next.iter_mut().zip(step(&columns, &now, damping)).zip(bounds) {
                *x = (*x + by).clamp(bound.low, bound.high);
            }
            let there = residuals(&next);
            if cost(&there) < before {
                (at, now) = (next, there);
                damping *= EASED;
                break;
            }
            damping *= RAISED;
            if damping > STIFFEST {
                return at;
            }
        }
        if cost(&now) > before * (1.0 - LEAST_GAIN) {
            break;
        }
    }
    at
}

/// Derivative of all residuals by one parameter; the step goes inwards at the upper bound.
fn derivative<const N: usize>(
    at: &[f64; N],
    i: usize,
    bound: &Bound,
    now: &[f64],
    residuals: impl Fn(&[f64; N]) -> Vec<f64>,
) -> Vec<f64> {
    let by = if at[i] + bound.step > bound.high { -bound.step } else { bound.step };
    let mut moved = *at;
    moved[i] += by;
    residuals(&moved).iter().zip(now).map(|(there, here)| (there - here) / by).collect()
}

/// The damped step: (JᵀJ + damping · diag JᵀJ) step = −Jᵀr, by elimination with row pivots.
fn step<const N: usize>(columns: &[Vec<f64>; N], residuals: &[f64], damping: f64) -> [f64; N] {
    let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    let mut rows: Vec<Vec<f64>> = (0..N)
        .map(|i| {
            let mut row: Vec<f64> = columns.iter().map(|column| dot(&columns[i], column)).collect();
            // A parameter that changes nothing stays where it is.
            row[i] += damping * row[i] + 1e-12;
            row.push(-dot(&columns[i], residuals));
            row
        })
        .collect();
    for i in 0..N {
        let pivot = (i..N).max_by(|&a, &b| rows[a][i].abs().total_cmp(&rows[b][i].abs())).unwrap_or(i);
        rows.swap(i, pivot);
        let top = rows[i].clone();
        for row in &mut rows[i + 1..] {
            let factor = row[i] / top[i];
            row.iter_mut().zip(&top).for_each(|(x, t)| *x -= factor * t);
        }
    }
    let mut found = [0.0; N];
    for i in (0..N).rev() {
        let known: f64 = (i + 1..N).map(|k| rows[i][k] * found[k]).sum();
        found[i] = (rows[i][N] - known) / rows[i][i];
    }
    found.map(|x| if x.is_finite() { x } else { 0.0 })
}

#[cfg(test)]
mod tests {
    use super::*;

    const WIDE: Bound = Bound { low: -10.0, high: 10.0, step: 1e-6 };

    /// The curved valley of Rosenbrock, with its minimum at (1, 1).
    #[test]
    fn the_end_of_a_curved_valley_is_found() {
        let valley = |x: &[f64; 2]| vec![10.0 * (x[1] - x[0] * x[0]), 1.0 - x[0]];
        let found = refine([-1.2, 1.0], &[WIDE; 2], valley);
        assert!((found[0] - 1.0).abs() < 1e-3 && (found[1] - 1.0).abs() < 1e-3, "{found:?}");
    }

    #[test]
    fn bounds_hold_and_idle_parameters_stay() {
        let found = refine([0.0, 3.0], &[Bound { high: 2.0, ..WIDE }, WIDE], |x| vec![x[0] - 5.0]);
        assert_eq!(found, [2.0, 3.0]);
    }
}

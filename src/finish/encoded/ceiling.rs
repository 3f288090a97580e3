//! One step of the search for the ceiling: the ceiling that was tried and its excess over the limit in, the next
//! ceiling out; and the search log.

/// Passes at most, besides the one that writes the master.
pub(super) const MAX_PASSES: usize = 2;
/// Ceilings are whole multiples of this, dB.
const STEP_DB: f64 = 0.05;
/// Lowest ceiling of the limiter, dBTP.
pub(super) const LOWEST_DBTP: f64 = -12.0;

/// One ceiling that was tried.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct CeilingPass {
    /// The limiter's ceiling, dBTP.
    pub ceiling: f64,
    /// Highest predicted true peak less the limit, tolerance included, dB.
    pub excess: f64,
}

/// The search log.
#[derive(Clone, Debug, Default, PartialEq, serde::Serialize)]
pub struct CeilingSearch {
    /// The passes in their order.
    pub passes: Vec<CeilingPass>,
    /// The ceiling that was chosen, dBTP.
    pub ceiling: f64,
}

/// The ceiling to try next, dBTP: lower by the excess, rounded down; none where every format is under its limit.
/// `true_peak` is that of the master, which may be lower than its ceiling.
pub fn next_ceiling(ceiling: f64, true_peak: f64, excess: f64) -> Option<f64> {
    // A peak at the limit is not under it.
    (excess >= 0.0).then(|| {
        let steps = ((ceiling.min(true_peak) - excess) / STEP_DB + 1e-9).floor();
        (steps * STEP_DB).min(ceiling - STEP_DB).max(LOWEST_DBTP)
    })
}

//! The lag between two songs: a reference A and a file B in; the number of frames by which B is behind A
//! out, from the cross-correlation of the middle of A with B around the same time.

use realfft::RealFftPlanner;
use realfft::num_complex::Complex;

use super::error::Result;
use super::planes::BLOCK_FRAMES;
use super::song_reader::SongReader;

/// Length of A that is searched in B, s.
const TEMPLATE_S: f64 = 12.0;
/// Largest lag that is found, s.
const MAX_LAG_S: f64 = 6.0;

/// Reads `frames` frames of the mid signal (left + right) from frame `from` on.
fn read_mid(song: &mut SongReader, from: u64, frames: usize) -> Result<Vec<f64>> {
    let (mut left, mut right) = (vec![0.0; BLOCK_FRAMES], vec![0.0; BLOCK_FRAMES]);
    let (mut at, mut out) = (0, Vec::with_capacity(frames));
    while out.len() < frames {
        let n = song.read(&mut left, &mut right)?;
        if n == 0 {
            break;
        }
        let skip = from.saturating_sub(at).min(n as u64) as usize;
        let end = n.min(skip + frames - out.len());
        out.extend((skip..end).map(|i| left[i] + right[i]));
        at += n as u64;
    }
    Ok(out)
}

/// Frames by which B is behind A; negative where it is ahead.
pub(super) fn find_lag(mut a: SongReader, mut b: SongReader) -> Result<i64> {
    let rate = f64::from(a.rate());
    let template = ((TEMPLATE_S * rate) as u64).min(a.length()) as usize;
    let max_lag = ((MAX_LAG_S * rate) as u64).min(b.length()) as usize;
    // The middle of the song: any part with music serves.
    let from = (a.length() - template as u64) / 2;
    let start_b = from.saturating_sub(max_lag as u64);
    let x = read_mid(&mut a, from, template)?;
    let y = read_mid(&mut b, start_b, template + 2 * max_lag)?;
    let size = (x.len() + y.len()).next_power_of_two();
    let mut planner = RealFftPlanner::<f64>::new();
    let (forward, inverse) = (planner.plan_fft_forward(size), planner.plan_fft_inverse(size));
    let transform = |signal: &[f64]| {
        let mut padded = signal.to_vec();
        padded.resize(size, 0.0);
        let mut bins = forward.make_output_vec();
        // The lengths are those of the planner.
        forward.process(&mut padded, &mut bins).map(|()| bins).unwrap_or_default()
    };
    let (fx, fy) = (transform(&x), transform(&y));
    let mut cross: Vec<Complex<f64>> = fx.iter().zip(&fy).map(|(x, y)| x.conj() * y).collect();
    // The first and last bins of real signals are real; rounding must not make them complex.
    if let [first, .., last] = cross.as_mut_slice() {
        first.im = 0.0;
        last.im = 0.0;
    }
    let mut correlation = inverse.make_output_vec();
    if inverse.process(&mut cross, &mut correlation).is_err() {
        return Ok(0);
    }
    let likely = |k: &usize| *k < y.len();
    let best =
        (0..size).filter(likely).max_by(|i, j| correlation[*i].abs().total_cmp(&correlation[*j].abs()));
    Ok(best.unwrap_or(0) as i64 + start_b as i64 - from as i64)
}

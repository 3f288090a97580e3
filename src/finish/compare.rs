//! The level-matched difference of two files: a reference A and a file B in; how far B lies behind
//! A, by what gain it differs, what remains when both are matched, loudness and spectrum out.
//!
//! "It does no harm" wants proof: processed and source, moved and levelled onto each other, leave
//! what the processing did and nothing else.
//!
//! The lag comes from the cross-correlation of the loudest stretch of A with B around the same
//! time, in whole frames; the gain from least squares over everything that both have.

use std::path::Path;

use realfft::RealFftPlanner;
use realfft::num_complex::Complex;

use super::cut::CutPlan;
use super::error::{Error, Fault, Result};
use super::measure::look;
use super::read::Reader;
use super::render::ProgressWatcher;
use super::song::Song;
use super::write::{Layout, Overwrite, Spec, Writer};
use super::{Encoding, Tags};
use crate::dsp::{CHUNK, db};
use crate::meter::spectrum::{BANDS, Spectrum, frequency};

/// Seconds of A that are looked for in B.
const STRETCH: f64 = 12.0;
/// Largest lag, seconds.
const REACH: f64 = 6.0;
/// Frames read at once; a whole number of chunks.
const BLOCK: usize = 4096;

/// What the comparison found.
#[derive(Clone, Debug, serde::Serialize)]
pub struct Comparison {
    /// Hz; B is converted to A's rate if it differs.
    pub rate: u32,
    pub converted: bool,
    /// Frames by which B lies behind A; negative where it is ahead.
    pub lag: i64,
    /// The polarity of B is turned round.
    pub inverted: bool,
    /// Gain of B over A by least squares, dB.
    pub gain_db: f64,
    /// Frames that both have after alignment.
    pub frames: u64,
    /// Level of what remains, over the level of the matched A, dB; none for nothing at all.
    pub residue_db: Option<f64>,
    /// Highest sample of what remains, dBFS; none for nothing at all.
    pub residue_peak: Option<f64>,
    /// Integrated loudness, LUFS.
    pub loudness_a: Option<f64>,
    pub loudness_b: Option<f64>,
    /// Level of B over the matched A at each of `frequencies` (Hz), dB. None where A has nothing.
    pub spectrum: Vec<Option<f64>>,
    pub frequencies: Vec<f64>,
}

/// Compares; with `residue`, writes there what remains of B when the matched A is taken away.
pub fn compare(
    a: &Path,
    b: &Path,
    residue: Option<(&Path, Overwrite)>,
    watch: &dyn ProgressWatcher,
) -> Result<Comparison> {
    let (format_a, format_b) = (*Reader::open(a)?.format(), *Reader::open(b)?.format());
    let rate = format_a.rate;
    let listen = |path| {
        watch.part("listening", Reader::open(path)?.format().frames);
        look(path, watch)
    };
    let (look_a, look_b) = (listen(a)?, listen(b)?);
    let open = |path: &Path, frames| Song::open(path, &CutPlan::whole(frames), rate);
    let lag = find_lag(open(a, format_a.frames)?, open(b, format_b.frames)?)?;
    let pair = || -> Result<Pair> { Pair::new(open(a, format_a.frames)?, open(b, format_b.frames)?, lag, b) };

    // First pass: the gain.
    watch.part("matching", format_a.frames);
    let (mut aa, mut ab, mut frames) = (0.0, 0.0, 0);
    pair()?.each(watch, |[al, ar], [bl, br]| {
        for i in 0..al.len() {
            aa += al[i] * al[i] + ar[i] * ar[i];
            ab += al[i] * bl[i] + ar[i] * br[i];
        }
        frames += al.len() as u64;
        Ok(())
    })?;
    let gain = if aa > 0.0 { ab / aa } else { 1.0 };
    // A gain within rounding of 1 is 1: then equal files leave exactly nothing.
    let gain = if (gain - 1.0).abs() < 1e-12 { 1.0 } else { gain };

    // Second pass: what remains.
    watch.part("subtracting", format_a.frames);
    let mut writer = match residue {
        None => None,
        Some((path, overwrite)) => {
            let spec = Spec {
                layout: Layout::Wav,
                encoding: Encoding::Float(32),
                rate,
                channels: format_a.channels.max(format_b.channels),
                ceiling: f64::from(f32::MAX),
                tags: Tags::default(),
            };
            Some(Writer::create(path, spec, overwrite, &[a, b])?)
        }
    };
    let mut spectra = [Spectrum::new(rate), Spectrum::new(rate)];
    let (mut square, mut peak) = (0.0, 0.0f64);
    let mut rest = [Vec::new(), Vec::new()];
    pair()?.each(watch, |a, b| {
        for ch in 0..2 {
            rest[ch].clear();
            rest[ch].extend(a[ch].iter().zip(b[ch]).map(|(a, b)| b - gain * a));
            for x in &rest[ch] {
                square += x * x;
                peak = peak.max(x.abs());
            }
        }
        for (spectrum, lanes, gain) in [(0, a, gain), (1, b, 1.0)] {
            for at in (0..lanes[0].len() / CHUNK * CHUNK).step_by(CHUNK) {
                let chunk = lanes.map(|lane| std::array::from_fn(|i| (lane[at + i] * gain) as f32));
                spectra[spectrum].add(&chunk, true);
            }
        }
        if let Some(writer) = &mut writer {
            writer.write(&rest[0], &rest[1])?;
        }
        Ok(())
    })?;
    if let Some(writer) = writer {
        writer.finish(None)?;
    }
    let [mean_a, mean_b] = spectra.map(|spectrum| spectrum.bands().mean);
    let finite = |x: f64| x.is_finite().then_some(x);
    Ok(Comparison {
        rate,
        converted: format_b.rate != rate,
        lag,
        inverted: gain < 0.0,
        gain_db: db::from_gain(gain),
        frames,
        residue_db: finite(db::from_power(square / (gain * gain * aa))),
        residue_peak: finite(db::from_gain(peak)),
        loudness_a: finite(look_a.loudness),
        loudness_b: finite(look_b.loudness),
        spectrum: (0..BANDS).map(|k| finite(f64::from(mean_b[k] - mean_a[k]))).collect(),
        frequencies: (0..BANDS).map(frequency).collect(),
    })
}

/// Reads a stretch of the middle signal (left + right) from `from` on.
fn middle(song: &mut Song, from: u64, frames: usize) -> Result<Vec<f64>> {
    let (mut left, mut right) = (vec![0.0; BLOCK], vec![0.0; BLOCK]);
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

/// Frames by which B lies behind A.
fn find_lag(mut a: Song, mut b: Song) -> Result<i64> {
    let rate = f64::from(a.rate());
    let stretch = ((STRETCH * rate) as u64).min(a.length()) as usize;
    let reach = ((REACH * rate) as u64).min(b.length()) as usize;
    // The middle of the song: any music will do, as long as it is not the silence before it.
    let from = (a.length() - stretch as u64) / 2;
    let start_b = from.saturating_sub(reach as u64);
    let x = middle(&mut a, from, stretch)?;
    let y = middle(&mut b, start_b, stretch + 2 * reach)?;
    let size = (x.len() + y.len()).next_power_of_two();
    let mut planner = RealFftPlanner::<f64>::new();
    let (forward, inverse) = (planner.plan_fft_forward(size), planner.plan_fft_inverse(size));
    let transform = |signal: &[f64]| {
        let mut padded = signal.to_vec();
        padded.resize(size, 0.0);
        let mut bins = forward.make_output_vec();
        // The lengths are the planner's own.
        forward.process(&mut padded, &mut bins).map(|()| bins).unwrap_or_default()
    };
    let (fx, fy) = (transform(&x), transform(&y));
    let mut cross: Vec<Complex<f64>> = fx.iter().zip(&fy).map(|(x, y)| x.conj() * y).collect();
    // Real signals have real first and last bins; rounding must not say otherwise.
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

/// Two songs, aligned.
struct Pair<'a> {
    a: Song,
    b: Song,
    name: &'a Path,
}

impl<'a> Pair<'a> {
    fn new(mut a: Song, mut b: Song, lag: i64, name: &'a Path) -> Result<Self> {
        let skip = |song: &mut Song, frames: i64| -> Result<()> {
            let mut left = frames.max(0) as usize;
            let mut lane = [vec![0.0; BLOCK], vec![0.0; BLOCK]];
            while left > 0 {
                let n = left.min(BLOCK);
                let [l, r] = &mut lane;
                match song.read(&mut l[..n], &mut r[..n])? {
                    0 => break,
                    n => left -= n,
                }
            }
            Ok(())
        };
        skip(&mut b, lag)?;
        skip(&mut a, -lag)?;
        Ok(Self { a, b, name })
    }

    /// Runs over what both have.
    fn each(
        mut self,
        watch: &dyn ProgressWatcher,
        mut f: impl FnMut([&[f64]; 2], [&[f64]; 2]) -> Result<()>,
    ) -> Result<()> {
        let mut lanes: [[Vec<f64>; 2]; 2] =
            std::array::from_fn(|_| std::array::from_fn(|_| vec![0.0; BLOCK]));
        loop {
            if watch.stopped() {
                return Err(Error::new(self.name, Fault::Stopped));
            }
            let mut n = BLOCK;
            for (song, [left, right]) in [&mut self.a, &mut self.b].into_iter().zip(&mut lanes) {
                let mut filled = 0;
                while filled < n {
                    match song.read(&mut left[filled..n], &mut right[filled..n])? {
                        0 => break,
                        more => filled += more,
                    }
                }
                n = filled;
            }
            if n == 0 {
                return Ok(());
            }
            let [a, b] = &lanes;
            f([&a[0][..n], &a[1][..n]], [&b[0][..n], &b[1][..n]])?;
            watch.done(n as u64);
        }
    }
}

//! The second meter of a file, the crate ebur128 (BS.1770-5 by other authors): planar samples in, integrated loudness
//! (LUFS) and highest true peak (linear) out. Two meters, so that each can have a thread.

use ebur128::{Channel, EbuR128, Error, Mode};

use super::format::FileFormat;
use crate::meter::{ChannelRole, MonoAs};

type Result<T> = std::result::Result<T, Error>;

/// The crate's integrated loudness.
pub(super) struct ReferenceLoudness(EbuR128);

impl ReferenceLoudness {
    /// For a file; `mono_as` says what one channel is measured as.
    pub fn new(format: &FileFormat, mono_as: MonoAs) -> Result<Self> {
        let mut meter = EbuR128::new(u32::from(format.channels), format.rate, Mode::I)?;
        if mono_as.roles(usize::from(format.channels)) == [ChannelRole::DualMono] {
            meter.set_channel(0, Channel::DualMono)?;
        }
        Ok(Self(meter))
    }

    /// Adds frames, a plane for each channel.
    pub fn add(&mut self, planes: &[&[f64]]) -> Result<()> {
        self.0.add_frames_planar_f64(planes)
    }

    /// LUFS; −∞ for silence.
    pub fn integrated(&self) -> Result<f64> {
        self.0.loudness_global()
    }
}

/// Most that an interpolation can rise over the highest of the samples that it is made of: the sum of its
/// coefficients' magnitudes. 1.9 for the crate's 4-fold one of 48 taps, 2.3 for its 2-fold one, 2.0 for the table of
/// BS.1770-5, Annex 2.
const HIGHEST_RISE: f64 = 2.5;
/// Frames that are left out or measured together, and those before them whose samples reach into them: more than the
/// 24 that the interpolation looks back at.
const GROUP: usize = 32;

/// The crate's true peak. What cannot rise above the highest peak so far is not put through it.
pub(super) struct ReferencePeak {
    meter: EbuR128,
    /// Highest peak so far, linear.
    highest: f64,
    /// The frames before the next ones: the last [`GROUP`].
    past: [Vec<f64>; 2],
    /// The meter has been fed up to here.
    is_fed: bool,
}

impl ReferencePeak {
    /// For a file.
    pub fn new(format: &FileFormat) -> Result<Self> {
        let meter = EbuR128::new(u32::from(format.channels), format.rate, Mode::TRUE_PEAK)?;
        Ok(Self { meter, highest: 0.0, past: [vec![0.0; GROUP], vec![0.0; GROUP]], is_fed: true })
    }

    /// Adds frames, a plane for each of one or two channels.
    pub fn add(&mut self, planes: &[&[f64]]) -> Result<()> {
        let frames = planes[0].len();
        let mut open: Option<usize> = None;
        let mut before = self.past[..planes.len()].iter().map(|past| highest_of(past)).fold(0.0, f64::max);
        for from in (0..frames).step_by(GROUP) {
            let to = frames.min(from + GROUP);
            let own = planes.iter().map(|plane| highest_of(&plane[from..to])).fold(0.0, f64::max);
            let matters = before.max(own) * HIGHEST_RISE > self.highest;
            // The last group may be short: what is before it still reaches behind it.
            before = if to - from == GROUP { own } else { own.max(before) };
            match (matters, open) {
                (true, None) => {
                    self.seek(planes, from)?;
                    open = Some(from);
                }
                (false, Some(start)) => {
                    self.measure(planes, start..from)?;
                    open = None;
                    self.is_fed = false;
                }
                (false, None) => self.is_fed = false,
                (true, Some(_)) => {}
            }
        }
        if let Some(start) = open {
            self.measure(planes, start..frames)?;
        }
        for (past, plane) in self.past.iter_mut().zip(planes) {
            past.extend_from_slice(&plane[frames.saturating_sub(GROUP)..]);
            past.drain(..past.len() - GROUP);
        }
        Ok(())
    }

    /// Gives the meter the frames before `at`, which count for nothing, where it has not been fed.
    fn seek(&mut self, planes: &[&[f64]], at: usize) -> Result<()> {
        if !std::mem::replace(&mut self.is_fed, true) {
            let from_past = GROUP.saturating_sub(at);
            let past = self.past.each_ref().map(|past| &past[GROUP - from_past..]);
            self.meter.seed_frames_planar_f64(&past[..planes.len()])?;
            let own: Vec<&[f64]> = planes.iter().map(|plane| &plane[at.saturating_sub(GROUP)..at]).collect();
            self.meter.seed_frames_planar_f64(&own)?;
        }
        Ok(())
    }

    fn measure(&mut self, planes: &[&[f64]], frames: std::ops::Range<usize>) -> Result<()> {
        let part: Vec<&[f64]> = planes.iter().map(|plane| &plane[frames.clone()]).collect();
        self.meter.add_frames_planar_f64(&part)?;
        for ch in 0..self.meter.channels() {
            self.highest = self.highest.max(self.meter.true_peak(ch)?);
        }
        Ok(())
    }

    /// Highest true peak of all channels, linear.
    pub fn highest(&self) -> f64 {
        self.highest
    }
}

/// The highest magnitude of samples.
pub(super) fn highest_of(samples: &[f64]) -> f64 {
    let (groups, rest) = samples.as_chunks::<8>();
    let mut lanes = [0.0f64; 8];
    for group in groups {
        for (lane, x) in lanes.iter_mut().zip(group) {
            *lane = if x.abs() > *lane { x.abs() } else { *lane };
        }
    }
    lanes.iter().chain(rest).fold(0.0, |highest, x| highest.max(x.abs()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::finish::format::{Container, Encoding};

    /// Against the crate fed with every frame, in blocks of all sizes.
    #[test]
    fn what_is_left_out_changes_nothing() {
        let mut random = testkit::Random::new(9);
        for case in 0..60 {
            let rate = [44_100, 96_000, 192_000][case % 3];
            let channels = 1 + case / 3 % 2;
            let format = FileFormat {
                container: Container::Wav,
                encoding: Encoding::Int(24),
                rate,
                channels: channels as u16,
                frames: 20_000,
            };
            let f = 0.5 * random.unit();
            let planes: Vec<Vec<f64>> = (0..channels)
                .map(|_| {
                    let wave = |n: usize| match case % 4 {
                        0 => (n as f64 * 1e-3).sin() * (std::f64::consts::TAU * f * n as f64).sin(),
                        1 => random.signed() * if n % 3000 < 40 { 0.9 } else { 0.1 },
                        2 => random.signed().powi(9),
                        // Alternating signs around one step: what rises highest.
                        _ if n % 1777 < 60 => (1.0 - (n % 1777) as f64 * 1e-3) * [1.0, -1.0][n / 3 % 2],
                        _ => 0.0,
                    };
                    (0..20_000).map(wave).collect()
                })
                .collect();
            let whole: Vec<&[f64]> = planes.iter().map(|plane| &plane[..]).collect();
            let mut all = EbuR128::new(channels as u32, rate, Mode::TRUE_PEAK).unwrap();
            all.add_frames_planar_f64(&whole).unwrap();
            let highest = (0..channels as u32).map(|ch| all.true_peak(ch).unwrap()).fold(0.0, f64::max);
            for block in [1, 31, 32, 1000, 4096] {
                let mut some = ReferencePeak::new(&format).unwrap();
                for from in (0..20_000).step_by(block) {
                    let part: Vec<&[f64]> =
                        whole.iter().map(|plane| &plane[from..(from + block).min(20_000)]).collect();
                    some.add(&part).unwrap();
                }
                assert_eq!(some.highest(), highest, "case {case} in blocks of {block}");
            }
        }
    }
}

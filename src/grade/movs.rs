//! The model output variables (MOVs) of the basic version: what each frame says, and how the frames
//! and channels are averaged (sections 4 and 5 of annex 2).

use super::data::Data;
use super::detection::detection;
use super::ear::scale::SCALE;
use super::ear::spectrum::Spectrum;
use super::ear::spread::spread;
use super::ear::{BANDS, Bands, FRAMES_PER_S};
use super::pattern::{Adaptation, Modulation, Smearing, loudness, noise_loudness};
use realfft::RealFftPlanner;

/// Left out at the start of the data for the variables that need a settled state, s.
const SETTLING_S: f64 = 0.5;
/// Noise loudness counts from this on after both signals are loud for the first time, s.
const AFTER_LOUD_S: f64 = 0.05;
/// Both are loud above this, sone.
const LOUD_SONE: f64 = 0.1;
/// Bandwidths of frames whose reference does not reach past this bin are not counted (8.1 kHz).
const NARROW_BINS: usize = 346;
/// A frame is disturbed when the noise in a band is above the mask by this ratio (1.5 dB).
const DISTURBED: f64 = 1.412_537_544_622_754_4;

/// The model output variables of the basic version.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Movs {
    /// Bandwidth of the reference, FFT bins of 23.4 Hz.
    pub bandwidth_ref: f64,
    /// Bandwidth of the test, FFT bins of 23.4 Hz.
    pub bandwidth_test: f64,
    /// Noise-to-mask ratio, dB.
    pub total_nmr: f64,
    /// Difference of the modulations of the envelopes, averaged over windows, per cent.
    pub win_mod_diff_1: f64,
    /// Average distorted block: log10 of the steps above threshold of the heard frames.
    pub adb: f64,
    /// Harmonic structure of the error, no unit.
    pub ehs: f64,
    /// Difference of the modulations, weighted by loudness, per cent.
    pub avg_mod_diff_1: f64,
    /// The same where what the test adds counts more than what it lacks, per cent.
    pub avg_mod_diff_2: f64,
    /// Loudness of the added noise, sone.
    pub rms_noise_loud: f64,
    /// Highest filtered probability of detection, 0 to 1.
    pub mfpd: f64,
    /// Share of the frames with audible noise, 0 to 1.
    pub rel_dist_frames: f64,
}

impl Movs {
    /// Name in the Recommendation and value, in its order.
    pub fn named(&self) -> [(&'static str, f64); 11] {
        [
            ("BandwidthRefB", self.bandwidth_ref),
            ("BandwidthTestB", self.bandwidth_test),
            ("TotalNMRB", self.total_nmr),
            ("WinModDiff1B", self.win_mod_diff_1),
            ("ADBB", self.adb),
            ("EHSB", self.ehs),
            ("AvgModDiff1B", self.avg_mod_diff_1),
            ("AvgModDiff2B", self.avg_mod_diff_2),
            ("RmsNoiseLoudB", self.rms_noise_loud),
            ("MFPDB", self.mfpd),
            ("RelDistFramesB", self.rel_dist_frames),
        ]
    }
}

/// A mean that is being gathered.
#[derive(Clone, Copy, Default)]
struct Mean {
    sum: f64,
    count: u32,
}

impl Mean {
    fn add(&mut self, x: f64) {
        self.sum += x;
        self.count += 1;
    }

    /// Nothing gathered: 0.
    fn get(self) -> f64 {
        if self.count == 0 { 0.0 } else { self.sum / f64::from(self.count) }
    }
}

fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let mut mean = Mean::default();
    values.for_each(|x| mean.add(x));
    mean.get()
}

/// The state and the sums of one channel.
struct Channel {
    spectrum: Spectrum,
    smearing: [Smearing; 2],
    modulation: [Modulation; 2],
    adaptation: Adaptation,
    excitation: [Bands; 2],

    bandwidths: [Mean; 2],
    nmr: Mean,
    disturbed: u32,
    /// Roots of the modulation differences of the last four frames.
    recent: [f64; 4],
    windows: Mean,
    /// Sums of weight · difference 1, weight · difference 2, and weight.
    weighted: [f64; 3],
    noise: Mean,
}

impl Channel {
    fn new(planner: &mut RealFftPlanner<f64>) -> Self {
        Self {
            spectrum: Spectrum::new(planner),
            smearing: [const { Smearing::new() }; 2],
            modulation: [const { Modulation::new() }; 2],
            adaptation: Adaptation::new(),
            excitation: [[0.0; BANDS]; 2],
            bandwidths: [Mean::default(); 2],
            nmr: Mean::default(),
            disturbed: 0,
            recent: [0.0; 4],
            windows: Mean::default(),
            weighted: [0.0; 3],
            noise: Mean::default(),
        }
    }

    /// What a frame says by itself; `late` counts the frames since the settling time. Gives the
    /// partial loudness of the noise and whether both signals are loud.
    fn frame(&mut self, late: Option<usize>) -> (f64, bool) {
        let [in_reference, in_test] = self.spectrum.bandwidths();
        if in_reference > NARROW_BINS {
            self.bandwidths[0].add(in_reference as f64);
            self.bandwidths[1].add(in_test as f64);
        }
        let energies = self.spectrum.energies();
        let patterns = [spread(&energies.reference), spread(&energies.test)];
        let mut modulation = [[0.0; BANDS]; 2];
        for side in 0..2 {
            self.excitation[side] = self.smearing[side].push(&patterns[side]);
            modulation[side] = self.modulation[side].push(&patterns[side]);
        }
        self.noise_to_mask(&energies.noise);
        if let Some(late) = late {
            self.modulation_difference(&modulation, late);
        }
        let [reference, test] = &self.excitation;
        let adapted = self.adaptation.push(reference, test);
        let noise =
            if late.is_some() { noise_loudness(&adapted, [&modulation[0], &modulation[1]]) } else { 0.0 };
        (noise, loudness(reference).min(loudness(test)) > LOUD_SONE)
    }

    /// Sections 4.5 and 4.6.
    fn noise_to_mask(&mut self, noise: &Bands) {
        let (mut sum, mut highest) = (0.0, 0.0_f64);
        for k in 0..BANDS {
            let ratio = noise[k] * SCALE.mask[k] / self.excitation[0][k];
            sum += ratio;
            highest = highest.max(ratio);
        }
        self.nmr.add(sum / BANDS as f64);
        self.disturbed += u32::from(highest > DISTURBED);
    }

    /// Section 4.2, and the windowed average of section 5.2.
    fn modulation_difference(&mut self, [reference, test]: &[Bands; 2], late: usize) {
        let loud = self.modulation[0].mean();
        let (mut first, mut second, mut weight) = (0.0, 0.0, 0.0);
        for k in 0..BANDS {
            let difference = (test[k] - reference[k]).abs();
            first += difference / (1.0 + reference[k]);
            let more = if test[k] > reference[k] { 1.0 } else { 0.1 };
            second += difference * more / (0.01 + reference[k]);
            weight += loud[k] / (loud[k] + 100.0 * SCALE.noise_03[k]);
        }
        let [first, second] = [first, second].map(|sum| 100.0 * sum / BANDS as f64);
        self.weighted[0] += weight * first;
        self.weighted[1] += weight * second;
        self.weighted[2] += weight;
        self.recent[late % 4] = first.sqrt();
        if late >= 3 {
            self.windows.add((self.recent.iter().sum::<f64>() / 4.0).powi(4));
        }
    }
}

/// All variables of the data.
pub fn movs(data: &Data) -> Movs {
    let mut planner = RealFftPlanner::new();
    let mut channels: Vec<Channel> = data.channels().map(|_| Channel::new(&mut planner)).collect();
    let settled = (SETTLING_S * FRAMES_PER_S).ceil() as usize;
    let after_loud = (AFTER_LOUD_S * FRAMES_PER_S).ceil() as usize;

    let (mut ehs, mut steps) = (Mean::default(), Mean::default());
    let (mut filtered, mut mfpd) = (0.0_f64, 0.0_f64);
    let mut first_loud = None;
    let mut noises = vec![0.0; channels.len()];
    for frame in 0..data.frames() {
        let late = frame.checked_sub(settled);
        let mut loud = false;
        for ((channel, [reference, test]), noise) in channels.iter_mut().zip(data.channels()).zip(&mut noises)
        {
            channel.spectrum.take(reference, test, data.start(frame));
            let said = channel.frame(late);
            *noise = said.0;
            loud |= said.1;
        }
        if loud && first_loud.is_none() {
            first_loud = Some(frame);
        }
        if late.is_some() && first_loud.is_some_and(|first| frame >= first + after_loud) {
            channels.iter_mut().zip(&noises).for_each(|(channel, noise)| channel.noise.add(noise * noise));
        }
        if channels.iter().any(|channel| channel.spectrum.is_heard()) {
            channels.iter_mut().for_each(|channel| ehs.add(channel.spectrum.harmonic_structure()));
        }
        let found = detection(channels.iter().map(|channel| channel.excitation.each_ref()));
        if found.probability > 0.5 {
            steps.add(found.steps);
        }
        filtered = 0.9 * filtered + 0.1 * found.probability;
        mfpd = mfpd.max(filtered);
    }

    let wide = || channels.iter().filter(|channel| channel.bandwidths[0].count > 0);
    let over = |value: fn(&Channel) -> f64| mean(channels.iter().map(value));
    Movs {
        bandwidth_ref: mean(wide().map(|channel| channel.bandwidths[0].get())),
        bandwidth_test: mean(wide().map(|channel| channel.bandwidths[1].get())),
        total_nmr: over(|channel| 10.0 * (channel.nmr.get() + 1e-12).log10()),
        win_mod_diff_1: over(|channel| channel.windows.get().sqrt()),
        adb: match steps.count {
            0 => 0.0,
            _ if steps.sum == 0.0 => -0.5,
            _ => steps.get().log10(),
        },
        ehs: 1000.0 * ehs.get(),
        avg_mod_diff_1: over(|channel| channel.weighted[0] / channel.weighted[2]),
        avg_mod_diff_2: over(|channel| channel.weighted[1] / channel.weighted[2]),
        rms_noise_loud: over(|channel| channel.noise.get().sqrt()),
        mfpd,
        rel_dist_frames: over(|channel| f64::from(channel.disturbed) / f64::from(channel.nmr.count)),
    }
}

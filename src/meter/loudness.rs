//! Loudness of one programme: samples of up to any number of channels in (full scale ±1.0),
//! momentary, short-term and integrated loudness in LUFS and loudness range in LU out.
//!
//! After ITU-R BS.1770-5, EBU Tech 3341 v4 and Tech 3342 v4. Energies are kept in cells of 10 ms;
//! every window is a sum of whole cells, so no figure depends on the block size and the maxima of
//! momentary and short-term loudness see a new window each 10 ms (Tech 3341 tests 13 and 14 need
//! 20 ms or finer).

use crate::dsp::k_weighting::KWeighting;
use crate::dsp::loudness_gate::{LoudnessGate, loudness};
use multiversion::multiversion;

/// Cells per second.
const CELLS_PER_SECOND: u32 = 100;
/// Cells in the momentary window of 400 ms.
const MOMENTARY_CELLS: usize = 40;
/// Cells in the short-term window of 3 s.
const SHORT_TERM_CELLS: usize = 300;
/// Cells between two gating blocks: 100 ms, an overlap of 75 %.
const BLOCK_HOP_CELLS: u64 = 10;

/// Weight of a channel in the sum of powers, BS.1770-5, table 3.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ChannelRole {
    /// Left, right, centre: 1.0.
    Front,
    /// The one channel of a mono programme that two speakers play: 2.0, as left and right together.
    DualMono,
    /// Left and right surround: 1.41.
    Surround,
    /// Low-frequency effects, or a lane without a signal: left out.
    Unused,
}

impl ChannelRole {
    /// The factor on the channel's mean square.
    pub fn weight(self) -> f64 {
        match self {
            ChannelRole::Front => 1.0,
            ChannelRole::DualMono => 2.0,
            ChannelRole::Surround => 1.41,
            ChannelRole::Unused => 0.0,
        }
    }

    /// The usual layout for a number of channels: mono, stereo, L R C, L R Ls Rs, 5.0 (L R C Ls
    /// Rs) and 5.1 (L R C LFE Ls Rs). Further channels are left out.
    pub fn layout(channels: usize) -> Vec<ChannelRole> {
        use ChannelRole::{Front, Surround, Unused};
        match channels {
            0..=3 => vec![Front; channels],
            4 => vec![Front, Front, Surround, Surround],
            5 => vec![Front, Front, Front, Surround, Surround],
            _ => {
                let mut layout = vec![Front, Front, Front, Unused, Surround, Surround];
                layout.resize(channels, Unused);
                layout
            }
        }
    }
}

/// What a programme of one channel is measured as.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum MonoAs {
    /// As two speakers play it, both with the same signal: 3.01 LU more than one channel. Music in mono is
    /// played so, beside stereo songs.
    #[default]
    Stereo,
    /// As one channel.
    Mono,
}

impl MonoAs {
    /// The roles of the channels of a programme with 1 or 2 of them.
    pub fn roles(self, channels: usize) -> &'static [ChannelRole] {
        match (channels, self) {
            (1, Self::Stereo) => &[ChannelRole::DualMono],
            (1, Self::Mono) => &[ChannelRole::Front],
            _ => &[ChannelRole::Front; 2],
        }
    }
}

/// Two channels that are filtered together.
#[derive(Clone, Debug)]
struct ChannelPair {
    filter: KWeighting,
    /// Weighted energy of the cell under way, per channel.
    energy: [f64; 2],
    weight: [f64; 2],
}

/// The meter.
#[derive(Clone, Debug)]
pub struct LoudnessMeter {
    sample_rate: u32,
    channels: usize,
    pairs: Vec<ChannelPair>,
    /// Frames still missing to the end of the cell under way.
    missing: usize,
    /// Carry of the division of the sample rate into cells, so that 100 cells are one second.
    carry: u32,
    /// The last [`SHORT_TERM_CELLS`] cells as summed energy, a ring.
    cells: Box<[f64]>,
    /// Cells since the last reset of everything.
    total: u64,
    /// Whether the integrated measurement is running.
    running: bool,
    /// Cells that the running measurement has seen without a break.
    fresh: u64,
    /// Gating blocks of 400 ms.
    blocks: LoudnessGate,
    /// Short-term values for the range.
    spread: LoudnessGate,
    /// Highest mean squares of the measurement.
    max_momentary: f64,
    max_short_term: f64,
}

impl LoudnessMeter {
    /// The gating blocks of the integrated loudness.
    pub fn gate(&self) -> &LoudnessGate {
        &self.blocks
    }

    /// For a sample rate in Hz and the usual layout of so many channels; see [`ChannelRole::layout`].
    pub fn new(sample_rate: u32, channels: usize) -> Self {
        Self::with_layout(sample_rate, &ChannelRole::layout(channels))
    }

    /// For a sample rate in Hz and one role per channel.
    pub fn with_layout(sample_rate: u32, layout: &[ChannelRole]) -> Self {
        let pairs = layout
            .chunks(2)
            .map(|pair| ChannelPair {
                filter: KWeighting::new(f64::from(sample_rate)),
                energy: [0.0; 2],
                weight: [pair[0].weight(), pair.get(1).map_or(0.0, |c| c.weight())],
            })
            .collect();
        let mut meter = Self {
            sample_rate,
            channels: layout.len(),
            pairs,
            missing: 0,
            carry: 0,
            cells: vec![0.0; SHORT_TERM_CELLS].into(),
            total: 0,
            running: true,
            fresh: 0,
            blocks: LoudnessGate::new(),
            spread: LoudnessGate::new(),
            max_momentary: 0.0,
            max_short_term: 0.0,
        };
        meter.next_cell();
        meter
    }

    /// Feeds planar frames: one slice per channel, all of the same length.
    pub fn feed(&mut self, planes: &[&[f32]]) {
        debug_assert_eq!(planes.len(), self.channels);
        let frames = planes.first().map_or(0, |plane| plane.len());
        let mut at = 0;
        while at < frames {
            let n = self.missing.min(frames - at);
            for (pair, planes) in self.pairs.iter_mut().zip(planes.chunks(2)) {
                let a = &planes[0][at..at + n];
                // An odd last channel runs twice, the second time with weight 0.
                let b = planes.get(1).map_or(a, |b| &b[at..at + n]);
                pair.filter.add_energy([a, b], &mut pair.energy);
            }
            at += n;
            self.missing -= n;
            if self.missing == 0 {
                self.close_cell();
            }
        }
    }

    /// Feeds two meters, each as [`Self::feed`] does. Of one or two channels and in step with each other, as
    /// two that are always fed together, they cost as much as one.
    pub fn feed_both<'p>(meters: [&mut Self; 2], planes: [&[&'p [f32]]; 2]) {
        let [a, b] = meters;
        let frames = planes[0].first().map_or(0, |plane| plane.len());
        let is_pair = |meter: &Self, planes: &[&[f32]]| {
            meter.pairs.len() == 1 && planes.first().is_some_and(|plane| plane.len() == frames)
        };
        let in_step = a.sample_rate == b.sample_rate && a.missing == b.missing;
        if !(in_step && is_pair(a, planes[0]) && is_pair(b, planes[1])) {
            a.feed(planes[0]);
            b.feed(planes[1]);
            return;
        }
        let mut at = 0;
        while at < frames {
            let n = a.missing.min(frames - at);
            // An odd last channel runs twice, the second time with weight 0. (Written out: maps over arrays are not
            // inlined.)
            let [first, second] = planes;
            let channel = |planes: &[&'p [f32]], c: usize| -> &'p [f32] {
                &planes[c.min(planes.len() - 1)][at..at + n]
            };
            let channels = [[channel(first, 0), channel(first, 1)], [channel(second, 0), channel(second, 1)]];
            add_energies([&mut a.pairs[0], &mut b.pairs[0]], channels);
            at += n;
            for meter in [&mut *a, &mut *b] {
                meter.missing -= n;
                if meter.missing == 0 {
                    meter.close_cell();
                }
            }
        }
    }

    /// Feeds interleaved frames; a last incomplete frame is left out.
    pub fn feed_interleaved(&mut self, samples: &[f32]) {
        const STEP: usize = 256;
        let channels = self.channels;
        let mut planes = vec![[0.0f32; STEP]; channels];
        for part in samples.chunks(STEP * channels.max(1)) {
            let frames = part.len() / channels;
            for (c, plane) in planes.iter_mut().enumerate() {
                for (to, frame) in plane.iter_mut().zip(part.chunks_exact(channels)) {
                    *to = frame[c];
                }
            }
            let slices: Vec<&[f32]> = planes.iter().map(|plane| &plane[..frames]).collect();
            self.feed(&slices);
        }
    }

    fn next_cell(&mut self) {
        self.carry += self.sample_rate % CELLS_PER_SECOND;
        self.missing = (self.sample_rate / CELLS_PER_SECOND + self.carry / CELLS_PER_SECOND) as usize;
        self.carry %= CELLS_PER_SECOND;
    }

    fn close_cell(&mut self) {
        let mut energy = 0.0;
        for pair in &mut self.pairs {
            energy += pair.weight[0] * pair.energy[0] + pair.weight[1] * pair.energy[1];
            pair.energy = [0.0; 2];
            pair.filter.flush();
        }
        self.cells[(self.total % SHORT_TERM_CELLS as u64) as usize] = energy;
        self.total += 1;
        self.next_cell();
        if !self.running {
            return;
        }
        self.fresh += 1;
        // Windows of the measurement hold nothing from before its start: that part is silence.
        let fresh = self.fresh.min(SHORT_TERM_CELLS as u64) as usize;
        let momentary = self.window(MOMENTARY_CELLS, fresh.min(MOMENTARY_CELLS));
        let short_term = self.window(SHORT_TERM_CELLS, fresh);
        self.max_momentary = self.max_momentary.max(momentary);
        self.max_short_term = self.max_short_term.max(short_term);
        if self.fresh >= MOMENTARY_CELLS as u64
            && (self.fresh - MOMENTARY_CELLS as u64).is_multiple_of(BLOCK_HOP_CELLS)
        {
            self.blocks.add(momentary);
        }
        if self.fresh >= SHORT_TERM_CELLS as u64
            && (self.fresh - SHORT_TERM_CELLS as u64).is_multiple_of(BLOCK_HOP_CELLS)
        {
            self.spread.add(short_term);
        }
    }

    /// Cells of 10 ms closed so far.
    pub fn cells_closed(&self) -> u64 {
        self.total
    }

    /// Weighted mean square of the last `cells` of 10 ms, 300 at most.
    pub fn mean_square(&self, cells: usize) -> f64 {
        let cells = cells.clamp(1, SHORT_TERM_CELLS);
        self.window(cells, cells)
    }

    /// Mean square over the last `cells`, of which only the newest `of` hold signal.
    fn window(&self, cells: usize, of: usize) -> f64 {
        let end = (self.total % SHORT_TERM_CELLS as u64) as usize;
        let (newest, older) = (&self.cells[..end], &self.cells[end..]);
        let sum = if of <= end {
            sum(&newest[end - of..])
        } else {
            sum(&older[older.len() - (of - end)..]) + sum(newest)
        };
        sum / (cells as f64 * f64::from(self.sample_rate) / f64::from(CELLS_PER_SECOND))
    }

    /// Momentary loudness: the last 400 ms, LUFS.
    pub fn momentary(&self) -> f64 {
        loudness(self.window(MOMENTARY_CELLS, MOMENTARY_CELLS))
    }

    /// Short-term loudness: the last 3 s, LUFS.
    pub fn short_term(&self) -> f64 {
        loudness(self.window(SHORT_TERM_CELLS, SHORT_TERM_CELLS))
    }

    /// Integrated loudness of the measurement, LUFS; −∞ before the first gating block.
    pub fn integrated(&self) -> f64 {
        self.blocks.integrated()
    }

    /// Loudness range of the measurement, LU. Not meaningful under a minute (Tech 3342).
    pub fn range(&self) -> f64 {
        self.spread.range()
    }

    /// Highest momentary loudness of the measurement, LUFS.
    pub fn max_momentary(&self) -> f64 {
        loudness(self.max_momentary)
    }

    /// Highest short-term loudness of the measurement, LUFS.
    pub fn max_short_term(&self) -> f64 {
        loudness(self.max_short_term)
    }

    /// Starts or pauses the measurement (integrated, range, maxima). Momentary and short-term
    /// loudness always run. No window spans a pause.
    pub fn run(&mut self, running: bool) {
        if running && !self.running {
            self.fresh = 0;
        }
        self.running = running;
    }

    /// Whether the measurement is running.
    pub fn is_running(&self) -> bool {
        self.running
    }

    /// Begins a new measurement; running or paused stays as it is.
    pub fn restart(&mut self) {
        self.fresh = 0;
        self.blocks.reset();
        self.spread.reset();
        self.max_momentary = 0.0;
        self.max_short_term = 0.0;
    }

    /// Clears everything, the filters' state too.
    pub fn reset(&mut self) {
        self.restart();
        for pair in &mut self.pairs {
            pair.filter.reset();
            pair.energy = [0.0; 2];
        }
        self.cells.fill(0.0);
        self.total = 0;
        self.carry = 0;
        self.next_cell();
    }
}

/// Two pairs of channels through the same filter.
fn add_energies([a, b]: [&mut ChannelPair; 2], [[a0, a1], [b0, b1]]: [[&[f32]; 2]; 2]) {
    if a.filter.rests(&[a0, a1]) && b.filter.rests(&[b0, b1]) {
        return;
    }
    let mut both = KWeighting::beside(&a.filter, &b.filter);
    let mut energy = [a.energy[0], a.energy[1], b.energy[0], b.energy[1]];
    add_energy(&mut both, [a0, a1, b0, b1], &mut energy);
    both.part(&mut a.filter, &mut b.filter);
    a.energy = [energy[0], energy[1]];
    b.energy = [energy[2], energy[3]];
}

/// [`KWeighting::add_energy`] for the widest registers that the processor has; the same bits in all. (States
/// come by reference: taken apart in here, they would be worked on in halves.)
#[multiversion(targets("x86_64+avx2"))]
fn add_energy(filter: &mut KWeighting<4>, channels: [&[f32]; 4], energy: &mut [f64; 4]) {
    filter.add_energy(channels, energy);
}

/// Sum in four lanes: the order is fixed and short enough for the processor to overlap.
fn sum(values: &[f64]) -> f64 {
    let mut lanes = [0.0; 4];
    let (fours, rest) = values.as_chunks::<4>();
    for four in fours {
        for (lane, value) in lanes.iter_mut().zip(four) {
            *lane += value;
        }
    }
    (lanes[0] + lanes[1]) + (lanes[2] + lanes[3]) + rest.iter().sum::<f64>()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tone(seconds: f64, level: f64) -> Vec<f32> {
        let gain = 10f64.powf(level / 20.0);
        (0..(seconds * 48_000.0) as usize)
            .map(|n| (gain * (std::f64::consts::TAU * 997.0 * n as f64 / 48_000.0).sin()) as f32)
            .collect()
    }

    /// BS.1770-5, Annex 1: a 0 dBFS sine of 997 Hz in one front channel reads −3.01 LKFS.
    #[test]
    fn a_full_scale_tone_in_one_channel_reads_minus_3_01() {
        let mut meter = LoudnessMeter::new(48_000, 1);
        meter.feed(&[&tone(2.0, 0.0)]);
        assert!((meter.integrated() + 3.0103).abs() < 0.005, "{}", meter.integrated());
    }

    /// The version for this processor against the one for every processor.
    #[test]
    fn wider_registers_change_no_bit() {
        let mut random = testkit::Random::new(12);
        let (mut wide, mut plain) = (KWeighting::<4>::new(44_100.0), KWeighting::<4>::new(44_100.0));
        let mut energies = [[0.0; 4]; 2];
        for _ in 0..300 {
            let len = 1 + (31.0 * random.unit()) as usize;
            let x: [Vec<f32>; 4] =
                std::array::from_fn(|_| (0..len).map(|_| random.signed() as f32).collect());
            let channels = x.each_ref().map(|channel| &channel[..]);
            add_energy(&mut wide, channels, &mut energies[0]);
            plain.add_energy(channels, &mut energies[1]);
            assert_eq!(energies[0].map(f64::to_bits), energies[1].map(f64::to_bits));
        }
    }

    #[test]
    fn a_pause_leaves_the_measurement_as_it_was() {
        let (loud, quiet) = (tone(5.0, -20.0), tone(5.0, -26.0));
        let mut meter = LoudnessMeter::new(48_000, 2);
        meter.feed(&[&quiet, &quiet]);
        let before = (meter.integrated(), meter.max_momentary());
        meter.run(false);
        meter.feed(&[&loud, &loud]);
        assert_eq!((meter.integrated(), meter.max_momentary()), before);
        assert!((meter.short_term() + 20.0).abs() < 0.02);
        meter.run(true);
        meter.feed(&[&quiet, &quiet]);
        assert!((meter.integrated() - before.0).abs() < 0.01);
        meter.restart();
        assert_eq!(meter.integrated(), f64::NEG_INFINITY);
    }

    #[test]
    fn block_size_and_layout_of_memory_change_no_digit() {
        let left = tone(2.3, -18.0);
        let right: Vec<f32> = left.iter().map(|x| x * 0.5).collect();
        let mut whole = LoudnessMeter::new(44_100, 2);
        whole.feed(&[&left, &right]);
        let mut parts = LoudnessMeter::new(44_100, 2);
        for (l, r) in left.chunks(7).zip(right.chunks(7)) {
            parts.feed(&[l, r]);
        }
        let mut woven = LoudnessMeter::new(44_100, 2);
        let frames: Vec<f32> = left.iter().zip(&right).flat_map(|(&l, &r)| [l, r]).collect();
        woven.feed_interleaved(&frames);
        for other in [parts, woven] {
            assert_eq!(whole.integrated(), other.integrated());
            assert_eq!(whole.momentary(), other.momentary());
            assert_eq!(whole.max_short_term(), other.max_short_term());
        }
    }
}

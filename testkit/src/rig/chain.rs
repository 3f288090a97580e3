//! Runs the whole chain and measures, block by block, how much louder it says that it plays and how much
//! louder it does.

use crate::Random;
use lintel::chain::Chain;
use lintel::dsp::db;
use lintel::dsp::k_weighting::KWeighting;
use lintel::settings::Settings;

/// Hz.
pub const RATE_HZ: f64 = 48_000.0;

/// A chain with a K-weighted meter on its input and its output.
pub struct MeasuredChain {
    /// The chain.
    pub chain: Chain,
    weighting: KWeighting<4>,
}

/// What one block gave.
#[derive(Clone, Copy, Debug)]
pub struct BlockLevels {
    /// What the chain says that the output is louder by, at the end of the block, dB.
    pub stated_db: f64,
    /// K-weighted energy of input and output.
    pub energy: [f64; 2],
}

impl MeasuredChain {
    /// At [`RATE_HZ`], with these settings from the start.
    pub fn new(settings: &Settings) -> Self {
        let mut chain = Chain::new(RATE_HZ);
        chain.set(settings);
        chain.reset();
        Self { chain, weighting: KWeighting::new(RATE_HZ) }
    }

    /// Runs over `input` in blocks of `size` frames.
    pub fn run(&mut self, input: [&[f32]; 2], size: usize) -> Vec<BlockLevels> {
        let Self { chain, weighting } = self;
        let blocks = input[0].chunks(size).zip(input[1].chunks(size));
        let block = |(left, right): (&[f32], &[f32])| {
            let mut energy = [0.0; 4];
            let (mut left, mut right) = (left.to_vec(), right.to_vec());
            chain.process(&mut [&mut left, &mut right], |tap| {
                weighting.add_energy([tap.before[0], tap.before[1], tap.after[0], tap.after[1]], &mut energy);
            });
            BlockLevels {
                stated_db: chain.louder_by_db(),
                energy: [energy[0] + energy[1], energy[2] + energy[3]],
            }
        };
        blocks.map(block).collect()
    }
}

/// Output over input of these blocks together, K-weighted, dB.
pub fn louder_db(blocks: &[BlockLevels]) -> f64 {
    let sum = |signal: usize| blocks.iter().map(|block| block.energy[signal]).sum::<f64>();
    db::from_power(sum(1) / sum(0))
}

/// Steady white noise, near −20 dBFS: what changes from one half second to the next is the chain's.
pub fn noise(frames: usize) -> Vec<f32> {
    let mut random = Random::new(1);
    (0..frames).map(|_| (0.15 * random.signed()) as f32).collect()
}

/// Struck tones that decay, four to the second and of unlike strength, over soft noise: music's own levels
/// come and go.
pub fn strikes(frames: usize) -> Vec<f32> {
    let strike = |n: usize| {
        let (beat, at) = (n / 12_000, n % 12_000);
        let (hz, level) = ([220.0, 330.0, 440.0, 277.2][beat % 4], [0.8, 0.3, 0.5, 0.4][beat % 4]);
        let t = at as f64 / RATE_HZ;
        level * (-6.0 * t).exp() * (std::f64::consts::TAU * hz * t).sin()
    };
    noise(frames).iter().enumerate().map(|(n, hiss)| (strike(n) + 0.02 * f64::from(*hiss)) as f32).collect()
}

/// Half a second, frames.
pub const HALF_SECOND: usize = 24_000;

/// The compressor at −30 dB, 3 : 1; `on` and `auto_makeup` as given.
pub fn compressing(on: bool, auto_makeup: bool) -> Settings {
    let mut settings = Settings::default();
    let compressor = &mut settings.compressor;
    (compressor.on, compressor.auto_makeup) = (on, auto_makeup);
    (compressor.threshold, compressor.ratio) = (-30.0, 3.0);
    settings
}

/// Output over input of each half second, dB.
pub fn half_seconds_db(chain: &mut MeasuredChain, input: &[f32]) -> Vec<f64> {
    chain
        .run([input, input], HALF_SECOND)
        .iter()
        .map(|block| louder_db(std::slice::from_ref(block)))
        .collect()
}

/// After `from` over three seconds, the settings become `to`: stated minus heard, dB, `seconds` later. Heard
/// is the second half of that time. The input must last three seconds and the longest of `seconds`.
pub fn stated_minus_heard_db<const N: usize>(
    input: [&[f32]; 2],
    from: &Settings,
    to: &Settings,
    seconds: [f64; N],
) -> [f64; N] {
    const BLOCK: usize = 480;
    let before = (3.0 * RATE_HZ) as usize;
    let mut chain = MeasuredChain::new(from);
    chain.run(input.map(|ch| &ch[..before]), BLOCK);
    chain.chain.set(to);
    let blocks = chain.run(input.map(|ch| &ch[before..]), BLOCK);
    let block = |seconds: f64| (seconds * RATE_HZ) as usize / BLOCK;
    seconds.map(|s| blocks[block(s) - 1].stated_db - louder_db(&blocks[block(0.5 * s)..block(s)]))
}

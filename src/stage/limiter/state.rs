//! What the limiter keeps between two chunks: settings and a sample rate in Hz in, the latency and the
//! reductions of the last block out. [`super::work`] moves it on.

use super::curve::SoftClip;
use super::demand::LevelDetector;
use super::final_gain::FinalGain;
use super::gains::Gains;
use super::masking::Masking;
use super::persistent::Persistent;
use super::steps::{STEP_FRAMES, STEPS};
use crate::dsp::chunk_ring::ChunkRing;
use crate::dsp::db::{self, DB_PER_OCTAVE};
use crate::dsp::gain::Gain;
use crate::dsp::half_band::AHEAD;
use crate::dsp::smooth::{Fade, Smooth};
use crate::dsp::{CHANNELS, CHUNK};
use crate::settings::LimiterSettings;

/// Seconds by which the persistent gain knows the excess before it acts.
const PERSISTENT_AHEAD_S: f64 = 0.006;

/// One channel's part of the chunk that is being gathered or given out.
pub(super) type Lanes<T> = [[T; CHUNK]; CHANNELS];

/// Drive and limiter.
#[derive(Clone, Debug)]
pub struct Limiter {
    pub(super) drive: Gain,
    /// Linear; travels with the signal.
    pub(super) ceiling: Smooth,
    /// 0 = each channel for itself, 1 = one common reduction.
    pub(super) link: Smooth,
    /// Most that the curve may take, log2 units.
    pub(super) soft_clip: Smooth,
    pub(super) on: Fade,
    /// The switch as it is set.
    pub(super) wanted_on: bool,
    /// Nothing is worked out: see [`super::off`].
    pub(super) is_off: bool,
    /// Chunks until the stage, switched on, may be heard.
    pub(super) filling: usize,
    pub(super) removed_only: Fade,
    pub(super) true_peak: bool,

    pub(super) detectors: [LevelDetector; CHANNELS],
    pub(super) masking: Masking,
    pub(super) persistent: Persistent,
    /// The persistent reduction at the end of each step, log2 units.
    pub(super) standing: ChunkRing<f32, STEPS>,
    pub(super) last_standing: f32,
    pub(super) persistent_delay: usize,
    pub(super) gains: [Gains; CHANNELS],
    /// Gain and knee (log2 units below the ceiling) at the end of the last step.
    pub(super) last_gain: [f64; CHANNELS],
    pub(super) last_knee: [f32; CHANNELS],
    /// Chunks for which the ceiling has not moved.
    pub(super) still: usize,
    /// Chunks since there was any reduction to work out.
    pub(super) quiet: usize,
    /// Nothing behind the detectors is worked out.
    pub(super) resting: bool,
    /// Chunks of silence at rest.
    pub(super) silent: usize,
    /// Chunks in which both channels were given the same; the first then works for both.
    pub(super) alike: usize,
    pub(super) one: bool,
    /// Chunks after which nothing of the past is left.
    pub(super) memory: usize,

    pub(super) curves: [SoftClip; CHANNELS],
    /// Level of the knee of each frame, linear; and whether it is below the ceiling in a chunk.
    pub(super) knees: [ChunkRing<f32>; CHANNELS],
    pub(super) kneed: [bool; 4],
    /// Chunks since the curve has been open.
    pub(super) closed: usize,
    pub(super) last: FinalGain,

    /// Driven samples.
    pub(super) signal: [ChunkRing<f64>; CHANNELS],
    /// The ceiling of each frame, an exact f32.
    pub(super) limit: ChunkRing<f64>,
    /// Gains, and the ratio by which the curve lowers, of the frames on their way.
    pub(super) applied: [ChunkRing<f32>; CHANNELS],
    pub(super) ratio: ChunkRing<f32>,

    /// Driven samples of the chunk that is being gathered.
    pub(super) input: Lanes<f64>,
    /// The limited samples that are being given out.
    pub(super) limited: Lanes<f64>,
    /// What belongs to them: reduction and clipping in dB, the more reduced channel; the ceiling.
    pub(super) reduction: [f32; CHUNK],
    pub(super) clip: [f32; CHUNK],
    pub(super) ready_limit: [f64; CHUNK],

    /// For the last block.
    pub(super) reduction_db: [f32; CHUNK],
    pub(super) clip_db: [f32; CHUNK],
    pub(super) limit_out: [f32; CHUNK],
    /// Samples on which the final clamp has acted since the reset.
    #[cfg(test)]
    pub(super) clamped: usize,
}

/// Largest f32 that is not above `value` (≥ 0).
pub(super) fn floor_f32(value: f64) -> f64 {
    let near = value as f32;
    f64::from(if f64::from(near) > value { near.next_down() } else { near })
}

impl Limiter {
    /// With the default settings, in silence.
    pub fn new(sample_rate: f64) -> Self {
        let settings = LimiterSettings::default();
        let gains: [Gains; CHANNELS] = std::array::from_fn(|_| Gains::new(sample_rate));
        let last = FinalGain::new(sample_rate);
        let to_gain = AHEAD + STEP_FRAMES * gains[0].delay();
        let delay = to_gain + SoftClip::DELAY + last.delay();
        let wait = gains[0].wait();
        let ahead = super::steps::steps_of(PERSISTENT_AHEAD_S, sample_rate);
        let persistent_delay = wait.saturating_sub(ahead);
        let chunks = |seconds: f64| (seconds * sample_rate / CHUNK as f64).ceil() as usize;
        let memory = gains[0].memory() / STEPS + chunks(0.25) + 16;
        let mut new = Self {
            drive: Gain::new(sample_rate),
            ceiling: Smooth::new(1.0, 0.02, 1e-7, sample_rate),
            link: Smooth::new(1.0, 0.02, 1e-5, sample_rate),
            soft_clip: Smooth::new(1.0, 0.02, 1e-5, sample_rate),
            on: Fade::new(true, 0.02, sample_rate),
            wanted_on: true,
            is_off: false,
            filling: 0,
            removed_only: Fade::new(false, 0.02, sample_rate),
            true_peak: settings.true_peak,
            detectors: Default::default(),
            masking: Masking::new(sample_rate),
            persistent: Persistent::new(sample_rate),
            standing: ChunkRing::new(persistent_delay),
            last_standing: 0.0,
            persistent_delay,
            gains,
            last_gain: [1.0; CHANNELS],
            last_knee: [0.0; CHANNELS],
            still: 0,
            quiet: usize::MAX,
            resting: false,
            silent: 0,
            alike: 0,
            one: false,
            memory,
            curves: Default::default(),
            knees: std::array::from_fn(|_| ChunkRing::new(SoftClip::KNEE_DELAY)),
            kneed: [false; 4],
            closed: usize::MAX,
            // Further back than the samples come out: see `wake`.
            signal: std::array::from_fn(|_| ChunkRing::new(delay + 2 * CHUNK)),
            limit: ChunkRing::new(delay),
            applied: std::array::from_fn(|_| ChunkRing::new(SoftClip::DELAY + last.delay())),
            ratio: ChunkRing::new(SoftClip::DELAY + last.delay()),
            last,
            input: [[0.0; CHUNK]; CHANNELS],
            limited: [[0.0; CHUNK]; CHANNELS],
            reduction: [0.0; CHUNK],
            clip: [0.0; CHUNK],
            ready_limit: [0.0; CHUNK],
            reduction_db: [0.0; CHUNK],
            clip_db: [0.0; CHUNK],
            limit_out: [0.0; CHUNK],
            #[cfg(test)]
            clamped: 0,
        };
        new.set(&settings);
        new.jump();
        new.reset();
        new
    }

    /// Frames from the driven sample to the one that comes out, but for the gathering.
    pub(super) fn delay(&self) -> usize {
        self.to_gain() + SoftClip::DELAY + self.last.delay()
    }

    /// Frames from the driven sample to its gain.
    pub(super) fn to_gain(&self) -> usize {
        AHEAD + STEP_FRAMES * self.gains[0].delay()
    }

    /// Frames from in to out, whatever the settings.
    pub fn latency(&self) -> usize {
        CHUNK + self.delay()
    }

    /// Frames after the last sound in until there is only silence out: the latency, and what the
    /// curve's way down rings.
    pub fn tail(&self) -> usize {
        self.latency() + AHEAD
    }

    /// New targets. Drive, ceiling, link, soft clip, on/off and removed-only move smoothly (switched on, the
    /// stage is heard about 20 ms later); a new look-ahead cross-fades; release and true peak
    /// act on what the gain does next.
    pub fn set(&mut self, settings: &LimiterSettings) {
        self.drive.set(f64::from(settings.drive));
        self.ceiling.set(db::to_gain(f64::from(settings.ceiling)));
        self.link.set((f64::from(settings.stereo_link) * 0.01).clamp(0.0, 1.0));
        self.soft_clip.set(f64::from(settings.soft_clip).max(0.0) / DB_PER_OCTAVE);
        self.wanted_on = settings.on;
        self.removed_only.set(settings.removed_only);
        self.true_peak = settings.true_peak;
        for gains in &mut self.gains {
            gains.set(f64::from(settings.look_ahead) * 1e-3, f64::from(settings.release) * 1e-3);
        }
    }

    /// All targets at once. Before any sound only (it clicks otherwise).
    pub fn jump(&mut self) {
        self.still = 0;
        self.drive.jump();
        self.ceiling.jump();
        self.link.jump();
        self.soft_clip.jump();
        self.removed_only.jump();
        self.gains.iter_mut().for_each(Gains::jump);
        self.jump_switch();
    }

    /// Forgets all sound, and every gain that came of it.
    pub fn reset(&mut self) {
        self.persistent.reset();
        self.standing.fill(0.0);
        self.last_standing = 0.0;
        self.still = usize::MAX;
        self.signal.iter_mut().for_each(|s| s.fill(0.0));
        let limit = floor_f32(self.ceiling.end());
        self.limit.fill(limit);
        self.reset_work();
        self.input = [[0.0; CHUNK]; CHANNELS];
        self.limited = [[0.0; CHUNK]; CHANNELS];
        self.reduction = [0.0; CHUNK];
        self.clip = [0.0; CHUNK];
        self.ready_limit = [limit; CHUNK];
        self.reduction_db = [0.0; CHUNK];
        self.clip_db = [0.0; CHUNK];
        self.limit_out = [limit as f32; CHUNK];
    }

    /// Control tick.
    #[inline]
    pub fn tick(&mut self) {
        self.drive.tick();
        self.ceiling.tick();
        self.link.tick();
        self.soft_clip.tick();
        self.tick_switch();
        self.removed_only.tick();
    }

    /// Reduction by gain of each frame of the last block in dB, ≥ 0, the larger of both channels.
    pub fn reduction_db(&self) -> &[f32; CHUNK] {
        &self.reduction_db
    }

    /// What the curve takes off the highest point of each frame of the last block in dB, ≥ 0, the
    /// larger of both channels. It comes on top of the reduction by gain.
    pub fn clip_db(&self) -> &[f32; CHUNK] {
        &self.clip_db
    }

    /// [`limit`](Self::limit) where it bounds every sample: with the stage on and heard as it is.
    pub fn bounds(&self) -> Option<&[f32; CHUNK]> {
        (self.on.is_wet() && self.removed_only.is_dry()).then(|| self.limit())
    }

    /// The ceiling that each frame of the last block keeps, linear. It follows the parameter
    /// later by the latency and is an exact f32, so that no rounding can cross it. With the stage
    /// off, or while removed signal only is heard, it bounds nothing.
    pub fn limit(&self) -> &[f32; CHUNK] {
        &self.limit_out
    }
}

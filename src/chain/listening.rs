//! What is heard: the result, the untouched input (bypass, compare) or a reference, level-matched while comparing.
//! Samples of input and result in, samples of the output out.

use super::edge::{EdgeSample, clean};
use super::faded::FADE_S;
use super::reference::ReferencePlayer;
use crate::dsp::loudness_match::LoudnessMatch;
use crate::dsp::smooth::{Fade, Smooth};
use crate::dsp::{Block, CHANNELS, CHUNK, db};
use crate::settings::{Compare, Settings};

/// 63 % time of the listening gains of level-matched comparison, seconds.
const LISTENING_GLIDE_S: f64 = 0.05;

/// Loudness at which a reference is heard before any of the music has been measured, LUFS: the target of
/// EBU R 128, so that it does not startle.
const UNMEASURED_LUFS: f64 = -23.0;

/// The switches and gains of listening.
pub struct Listening {
    compare: Compare,
    bypass: Fade,
    /// 1 = the untouched input is heard (compare: before).
    before: Fade,
    /// The reference of compare.
    pub reference: ReferencePlayer,
    /// Gains of input, result and reference, linear, at most 1.
    gains: [Smooth; 3],
    /// Measures how much louder the result is than the untouched input.
    loudness_match: LoudnessMatch,
}

impl Listening {
    /// Normal operation at `sample_rate` Hz.
    pub fn new(sample_rate: f64) -> Self {
        let fade = || Fade::new(false, FADE_S, sample_rate);
        Self {
            compare: Compare::Off,
            bypass: fade(),
            before: fade(),
            reference: ReferencePlayer::new(sample_rate),
            gains: [Smooth::new(1.0, LISTENING_GLIDE_S, 1e-6, sample_rate); 3],
            loudness_match: LoudnessMatch::new(sample_rate),
        }
    }

    /// New targets.
    pub fn set(&mut self, settings: &Settings) {
        self.compare = settings.compare;
        self.bypass.set(settings.bypass);
        self.before.set(settings.compare == Compare::Before);
        self.reference.set(settings.compare == Compare::Reference);
    }

    /// A control that changes the result has moved; `known_gain_db` of the change is known to be a gain.
    pub fn control_moved(&mut self, known_gain_db: f64) {
        self.loudness_match.control_moved(known_gain_db);
    }

    /// Jumps to the targets; the gains glide on.
    pub fn jump(&mut self) {
        self.bypass.jump();
        self.before.jump();
        self.reference.jump();
    }

    /// Forgets what was measured.
    pub fn reset(&mut self) {
        self.loudness_match.reset();
        self.reference.restart();
        self.set_gains();
        self.gains.iter_mut().for_each(Smooth::jump);
    }

    /// Control tick, before the first frame of each chunk.
    #[inline]
    pub fn tick(&mut self) {
        self.bypass.tick();
        self.before.tick();
        self.reference.tick();
        self.set_gains();
        for gain in &mut self.gains {
            gain.tick();
        }
    }

    /// How much louder the result is than the untouched input, dB.
    pub fn louder_by_db(&self) -> f64 {
        self.loudness_match.difference_db()
    }

    /// With compare on, the louder of input, result and reference are turned down.
    #[inline]
    fn set_gains(&mut self) {
        let gains_db = match self.compare {
            Compare::Off => [0.0; 3],
            Compare::Before | Compare::After | Compare::Reference => self.levels_db(),
        };
        for (gain, db) in self.gains.iter_mut().zip(gains_db) {
            gain.set(db::to_gain(db));
        }
    }

    /// What brings input, result and reference to the loudness of the quietest, dB. The input's loudness is
    /// that of everything since the reset, as the reference's is that of its whole file.
    pub fn levels_db(&self) -> [f64; 3] {
        let louder_by = self.louder_by_db();
        let programme = self.loudness_match.programme_lufs();
        let pair = |quietest: f64| [quietest, quietest - louder_by];
        match self.reference.loudness() {
            Some(loudness) if programme.is_finite() => {
                let reference = loudness - programme;
                let [before, after] = pair(louder_by.min(0.0).min(reference));
                [before, after, before - reference]
            }
            Some(loudness) => {
                let [before, after] = pair(louder_by.min(0.0));
                [before, after, (UNMEASURED_LUFS - loudness).min(0.0)]
            }
            None => {
                let [before, after] = pair(louder_by.min(0.0));
                [before, after, 0.0]
            }
        }
    }

    /// Measures the same frames of input and result.
    #[inline]
    pub fn measure(
        &mut self,
        before: &[[f32; CHUNK]; CHANNELS],
        after: &[[f32; CHUNK]; CHANNELS],
        frames: usize,
    ) {
        self.loudness_match
            .feed([0, 1].map(|ch| &before[ch][..frames]), [0, 1].map(|ch| &after[ch][..frames]));
    }

    /// What is heard is the sound that comes in, and the measurement has no past.
    pub fn rests(&self) -> bool {
        self.reference.is_silent() && self.loudness_match.rests()
    }

    /// Measures silence while [`Self::rests`].
    pub fn pass_silence(&mut self, frames: usize) {
        self.loudness_match.feed_silence(frames);
    }

    /// Writes what is heard: the result, or what bypass and compare ask for.
    /// `block` holds the result, `after` the same in single precision, `before` the input; they go to `io` from
    /// frame `done` on.
    #[inline]
    pub fn write<S: EdgeSample>(
        &mut self,
        io: &mut [&mut [S]],
        done: usize,
        block: &Block,
        [before, after]: [&[[f32; CHUNK]; CHANNELS]; 2],
    ) {
        let len = block.len;
        let is_result = self.before.is_dry()
            && self.reference.is_silent()
            && self.bypass.is_dry()
            && self.gains.iter().all(|gain| gain.is_still() && gain.end() == 1.0);
        let is_mono = io.len() == 1;
        for (ch, out) in io.iter_mut().enumerate().take(CHANNELS) {
            let out = &mut out[done..done + len];
            if is_result {
                S::write(&block.ch[ch], &after[ch], out);
                continue;
            }
            if self.bypass.is_wet() {
                for (out, &x) in out.iter_mut().zip(&before[ch]) {
                    *out = S::from_f32(x);
                }
                continue;
            }
            for (i, out) in out.iter_mut().enumerate() {
                let dry = clean(f64::from(before[ch][i]));
                let wet = block.ch[ch][i];
                let at = block.start + i;
                let (m, b) = (self.before.at(at), self.bypass.at(at));
                let [dry_gain, wet_gain, reference_gain] = [0, 1, 2].map(|n: usize| self.gains[n].at(at));
                let mut heard = wet * wet_gain * (1.0 - m) + dry * dry_gain * m;
                if !self.reference.is_silent() {
                    let reference = self.reference.sample(ch, is_mono, i) * reference_gain;
                    heard += (reference - heard) * self.reference.share(at);
                }
                *out = S::from_f64(heard + (dry - heard) * b);
            }
        }
        self.reference.advance(len);
    }
}

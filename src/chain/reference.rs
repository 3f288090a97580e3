//! Plays a reference in place of the result: a sound at the chain's rate in, samples of it out while it is
//! heard. A sound is exchanged only while it is silent, so that an exchange makes no click, and nothing is
//! freed here: what was exchanged waits until the owner takes it back.

use super::faded::FADE_S;
use crate::dsp::CHANNELS;
use crate::dsp::smooth::Fade;

/// A reference as it is heard.
#[derive(Debug, Default)]
pub struct ReferenceSound {
    channels: [Vec<f32>; CHANNELS],
    /// Sample rate, Hz.
    rate: u32,
    /// Integrated loudness, LUFS.
    loudness: f64,
    /// Frame at which it is first heard.
    start: usize,
}

impl ReferenceSound {
    /// Two channels of equal length at `rate` Hz, full scale ±1.0; their integrated loudness, LUFS; the frame at which playing begins (after the end it goes on from the first frame).
    ///
    /// # Panics
    /// If the channels differ in length or are empty.
    pub fn new(channels: [Vec<f32>; CHANNELS], rate: u32, loudness: f64, start: usize) -> Self {
        let frames = channels[0].len();
        assert!(frames > 0 && channels[1].len() == frames, "a reference has two equally long channels");
        Self { channels, rate, loudness, start: start % frames }
    }

    /// Sample rate, Hz.
    pub fn rate(&self) -> u32 {
        self.rate
    }

    /// Integrated loudness, LUFS.
    pub fn loudness(&self) -> f64 {
        self.loudness
    }

    /// Number of frames.
    pub fn frames(&self) -> usize {
        self.channels[0].len()
    }
}

/// The sound to play next, or none; what it replaces comes back.
type Offer = Option<Box<ReferenceSound>>;

/// Plays one reference over and over while it is heard, and stands still otherwise.
#[derive(Debug)]
pub struct ReferencePlayer {
    sound: Offer,
    /// Waits until the present sound has faded out.
    next: Option<Offer>,
    /// Waits until it is taken back.
    replaced: Offer,
    /// Next frame of the sound.
    at: usize,
    /// It is asked for.
    wanted: bool,
    heard: Fade,
}

impl ReferencePlayer {
    /// Without a sound, at `sample_rate` Hz.
    pub fn new(sample_rate: f64) -> Self {
        Self {
            sound: None,
            next: None,
            replaced: None,
            at: 0,
            wanted: false,
            heard: Fade::new(false, FADE_S, sample_rate),
        }
    }

    /// Whether [`offer`](Self::offer) takes something now.
    pub fn takes_offers(&self) -> bool {
        self.next.is_none() && self.replaced.is_none()
    }

    /// Replaces the sound, or removes it, at the next tick at which it is not heard. Gives the offer back
    /// while an earlier exchange is not over.
    ///
    /// # Errors
    /// The offer itself, if it was not taken.
    pub fn offer(&mut self, next: Offer) -> Result<(), Offer> {
        if !self.takes_offers() {
            return Err(next);
        }
        self.next = Some(next);
        Ok(())
    }

    /// What was replaced, once.
    pub fn take_replaced(&mut self) -> Offer {
        self.replaced.take()
    }

    /// Loudness of the sound, LUFS.
    pub fn loudness(&self) -> Option<f64> {
        self.sound.as_deref().map(ReferenceSound::loudness)
    }

    /// Whether it is to be heard.
    pub fn set(&mut self, wanted: bool) {
        self.wanted = wanted;
    }

    /// Control tick.
    #[inline]
    pub fn tick(&mut self) {
        if self.heard.is_dry()
            && let Some(next) = self.next.take()
        {
            self.replaced = std::mem::replace(&mut self.sound, next);
            self.restart();
        }
        self.heard.set(self.is_wanted());
        self.heard.tick();
    }

    /// Back to where playing begins.
    pub fn restart(&mut self) {
        self.at = self.sound.as_deref().map_or(0, |sound| sound.start);
    }

    /// Jumps to the end of the fade.
    pub fn jump(&mut self) {
        self.heard.set(self.is_wanted());
        self.heard.jump();
    }

    #[inline]
    fn is_wanted(&self) -> bool {
        self.wanted && self.next.is_none() && self.sound.is_some()
    }

    /// Not heard through the present chunk.
    #[inline]
    pub fn is_silent(&self) -> bool {
        self.heard.is_dry()
    }

    /// Its share of what is heard after frame `i` of the present chunk, 0 to 1.
    #[inline]
    pub fn share(&self, i: usize) -> f64 {
        self.heard.at(i)
    }

    /// Sample of a channel `ahead` frames from now; the mean of both for a host with one channel.
    #[inline]
    pub fn sample(&self, channel: usize, is_mono: bool, ahead: usize) -> f64 {
        let Some(sound) = self.sound.as_deref() else { return 0.0 };
        let at = (self.at + ahead) % sound.frames();
        let [left, right] = [0, 1].map(|ch: usize| f64::from(sound.channels[ch][at]));
        if is_mono { 0.5 * (left + right) } else { [left, right][channel] }
    }

    /// Goes on by `frames` while it is heard.
    #[inline]
    pub fn advance(&mut self, frames: usize) {
        if !self.is_silent()
            && let Some(sound) = self.sound.as_deref()
        {
            self.at = (self.at + frames) % sound.frames();
        }
    }
}

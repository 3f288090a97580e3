//! Control values that move without a click.
//!
//! A target set at any frame takes effect at the next control tick. From tick to tick the value
//! follows a one-pole curve; inside a chunk it is a straight line, so that a per-sample gain has
//! no step anywhere.

use super::CHUNK;

/// A value that moves to a target: one pole per control tick, linear in between.
#[derive(Clone, Copy, Debug)]
pub struct Smooth {
    target: f64,
    from: f64,
    to: f64,
    /// Share of the remaining way that is *left* after a tick: exp(−CHUNK / (τ·fs)).
    keep: f64,
    /// Distance from the target below which the value is the target, in the value's own unit.
    snap: f64,
}

impl Smooth {
    /// `value` to start with; `tau` = seconds to cover 63 % (1 − 1/e) of a step; `snap` = distance
    /// at which the target counts as reached.
    pub fn new(value: f64, tau: f64, snap: f64, sample_rate: f64) -> Self {
        let keep = (-(CHUNK as f64) / (tau * sample_rate)).exp();
        Self { target: value, from: value, to: value, keep, snap }
    }

    /// New target; reached smoothly.
    #[inline]
    pub fn set(&mut self, target: f64) {
        self.target = target;
    }

    /// The value it is heading for.
    #[inline]
    pub fn target(&self) -> f64 {
        self.target
    }

    /// Jumps to the target. For activation and reset only: in the middle of sound it clicks.
    pub fn jump(&mut self) {
        self.from = self.target;
        self.to = self.target;
    }

    /// One control tick: the line for the coming chunk. True while the value moves.
    #[inline]
    pub fn tick(&mut self) -> bool {
        self.from = self.to;
        if self.from == self.target {
            return false;
        }
        self.to = self.target + (self.from - self.target) * self.keep;
        if (self.to - self.target).abs() <= self.snap {
            self.to = self.target;
        }
        true
    }

    /// Value after frame `i` (0 to CHUNK − 1) of the present chunk; the last frame gives exactly
    /// the end value.
    #[inline]
    pub fn at(&self, i: usize) -> f64 {
        if self.is_still() {
            return self.to;
        }
        self.from + (self.to - self.from) * ((i + 1) as f64 / CHUNK as f64)
    }

    /// Value at the end of the present chunk.
    #[inline]
    pub fn end(&self) -> f64 {
        self.to
    }

    /// True when the present chunk has one value only.
    #[inline]
    pub fn is_still(&self) -> bool {
        self.from == self.to
    }
}

/// An on/off that cross-fades: 0 = dry, 1 = wet, straight line over `seconds`.
#[derive(Clone, Copy, Debug)]
pub struct Fade {
    on: bool,
    from: f64,
    to: f64,
    step: f64,
}

impl Fade {
    /// Starts fully `on` or off; a full fade takes `seconds` (rounded up to whole chunks).
    pub fn new(on: bool, seconds: f64, sample_rate: f64) -> Self {
        let mix = if on { 1.0 } else { 0.0 };
        let chunks = (seconds * sample_rate / CHUNK as f64).ceil().max(1.0);
        Self { on, from: mix, to: mix, step: 1.0 / chunks }
    }

    /// Where to fade to.
    #[inline]
    pub fn set(&mut self, on: bool) {
        self.on = on;
    }

    /// Jumps to the end of the fade. For activation and reset only.
    pub fn jump(&mut self) {
        self.to = if self.on { 1.0 } else { 0.0 };
        self.from = self.to;
    }

    /// One control tick. True when this tick leaves the fully dry state (the stage must then
    /// start from a clean state).
    #[inline]
    pub fn tick(&mut self) -> bool {
        self.from = self.to;
        self.to = if self.on { (self.to + self.step).min(1.0) } else { (self.to - self.step).max(0.0) };
        self.from == 0.0 && self.to > 0.0
    }

    /// Mix after frame `i` of the present chunk, 0 to 1.
    #[inline]
    pub fn at(&self, i: usize) -> f64 {
        self.from + (self.to - self.from) * ((i + 1) as f64 / CHUNK as f64)
    }

    /// Fully dry through the present chunk: the stage need not run.
    #[inline]
    pub fn is_dry(&self) -> bool {
        self.from == 0.0 && self.to == 0.0
    }

    /// Fully wet through the present chunk.
    #[inline]
    pub fn is_wet(&self) -> bool {
        self.from == 1.0 && self.to == 1.0
    }
}

/// The straight line of a fade with its two corners rounded: 3m² − 2m³, exact at 0 and 1.
#[inline]
pub fn smoothstep(mix: f64) -> f64 {
    mix * mix * (3.0 - 2.0 * mix)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn covers_63_percent_in_tau_and_arrives() {
        let fs = 48_000.0;
        let mut value = Smooth::new(0.0, 0.02, 1e-6, fs);
        value.set(1.0);
        for _ in 0..(0.02 * fs) as usize / CHUNK {
            value.tick();
        }
        assert!((value.end() - 0.632).abs() < 0.005, "{}", value.end());
        for _ in 0..1000 {
            value.tick();
        }
        assert_eq!(value.end(), 1.0);
        assert!(value.is_still());
    }

    #[test]
    fn a_line_has_no_step_between_chunks() {
        let mut value = Smooth::new(0.0, 0.01, 1e-6, 44_100.0);
        value.set(1.0);
        let mut last = 0.0;
        for _ in 0..50 {
            value.tick();
            for i in 0..CHUNK {
                assert!(value.at(i) - last < 0.08 / CHUNK as f64 * 1.01);
                last = value.at(i);
            }
        }
    }

    #[test]
    fn a_fade_reaches_both_ends_exactly() {
        let mut fade = Fade::new(false, 0.01, 48_000.0);
        fade.set(true);
        assert!(fade.tick());
        for _ in 0..20 {
            assert!(!fade.tick());
        }
        assert!(fade.is_wet());
        assert_eq!(fade.at(5), 1.0);
    }
}

//! EQ and compressor in the order that is set.
//!
//! When the order changes, both orders run side by side for [`SWAP_FADE_S`] and cross-fade: the new one
//! begins with a copy of the old one's state, so that the compressor stays at its reduction.

use super::faded::{FADE_S, faded};
use crate::dsp::smooth::Fade;
use crate::dsp::{Block, CHANNELS, CHUNK};
use crate::settings::{Settings, StageOrder};
use crate::stage::compressor::Compressor;
use crate::stage::eq::{Eq, EqCurve};

/// Seconds of the cross-fade from one order to the other (own choice: the reduction of the old order
/// has time to become that of the new one, and no beat of the two is heard).
const SWAP_FADE_S: f64 = 0.03;

/// One order of the two stages, with their state.
#[derive(Clone, Debug)]
struct StagePair {
    order: StageOrder,
    eq: Eq,
    compressor: Compressor,
}

/// What the cross-fades of the two switches say at a tick.
#[derive(Clone, Copy, Debug)]
struct Switches {
    eq_on: Fade,
    comp_on: Fade,
    /// The compressor is neither heard nor measuring.
    comp_idle: bool,
}

/// Which stages have new settings.
#[derive(Clone, Copy, Debug)]
pub struct Changed {
    /// The EQ.
    pub eq: bool,
    /// The compressor.
    pub compressor: bool,
}

/// Both stages, their switches and their order.
#[derive(Clone, Debug)]
pub struct OrderedStages {
    /// The order that runs.
    current: StagePair,
    /// While the order changes: the coming one.
    coming: StagePair,
    wanted: StageOrder,
    /// 0 = the current order alone, 1 = the coming one alone.
    swap: Fade,
    switches: Switches,
    /// Reduction as it is heard, dB, of the last block.
    heard_reduction_db: [f32; CHUNK],
    /// Length of the last block, frames.
    len: usize,
}

impl OrderedStages {
    /// Default settings at `sample_rate` Hz.
    pub fn new(sample_rate: f64) -> Self {
        let pair = StagePair {
            order: StageOrder::default(),
            eq: Eq::new(sample_rate),
            compressor: Compressor::new(sample_rate),
        };
        Self {
            current: pair.clone(),
            coming: pair,
            wanted: StageOrder::default(),
            swap: Fade::new(false, SWAP_FADE_S, sample_rate),
            switches: Switches {
                eq_on: Fade::new(true, FADE_S, sample_rate),
                comp_on: Fade::new(false, FADE_S, sample_rate),
                comp_idle: true,
            },
            heard_reduction_db: [0.0; CHUNK],
            len: 0,
        }
    }

    /// New targets.
    pub fn set(&mut self, settings: &Settings, changed: Changed) {
        self.current.set(settings, changed);
        if self.is_swapping() {
            self.coming.set(settings, changed);
        }
        self.switches.eq_on.set(settings.eq.on);
        self.switches.comp_on.set(settings.compressor.on);
        self.wanted = settings.order;
    }

    /// Solos an EQ band (0 to 4), or none.
    pub fn solo(&mut self, band: Option<usize>) {
        self.current.eq.solo(band);
        self.coming.eq.solo(band);
    }

    /// To the targets at once.
    pub fn jump(&mut self) {
        self.current.order = self.wanted;
        self.end_swap();
        self.current.eq.jump();
        self.current.compressor.jump();
        self.switches.eq_on.jump();
        self.switches.comp_on.jump();
    }

    /// Clears all signal.
    pub fn reset(&mut self) {
        self.current.eq.reset();
        self.current.compressor.reset();
        self.heard_reduction_db = [0.0; CHUNK];
        self.len = 0;
    }

    fn end_swap(&mut self) {
        self.swap.set(false);
        self.swap.jump();
    }

    fn is_swapping(&self) -> bool {
        !self.swap.is_dry()
    }

    /// Control tick, before the first frame of each chunk.
    #[inline]
    pub fn tick(&mut self, auto_makeup: bool) {
        self.swap.tick();
        if self.swap.is_wet() {
            std::mem::swap(&mut self.current, &mut self.coming);
            self.end_swap();
        }
        if !self.is_swapping() && self.current.order != self.wanted {
            self.coming.clone_from(&self.current);
            self.coming.order = self.wanted;
            self.coming.compressor.input_changes();
            self.swap.set(true);
            self.swap.tick();
        }
        let fresh_eq = self.switches.eq_on.tick();
        self.switches.comp_on.tick();
        let comp_runs = !self.switches.comp_on.is_dry() || auto_makeup;
        let fresh_comp = comp_runs && self.switches.comp_idle;
        self.switches.comp_idle = !comp_runs;
        for pair in [&mut self.current, &mut self.coming] {
            if fresh_eq {
                pair.eq.reset();
            }
            if fresh_comp {
                pair.compressor.reset_signal();
            }
        }
        self.current.tick();
        if self.is_swapping() {
            self.coming.tick();
        }
    }

    /// Processes in place; `dry` is scratch.
    #[inline]
    pub fn process(&mut self, block: &mut Block, dry: &mut [[f64; CHUNK]; CHANNELS]) {
        self.len = block.len;
        if !self.is_swapping() {
            self.current.process(&self.switches, block, dry);
            self.heard_reduction_db = *self.current.compressor.heard_reduction_db();
        } else {
            let mut other = block.clone();
            self.current.process(&self.switches, block, dry);
            self.coming.process(&self.switches, &mut other, dry);
            for (now, coming) in block.ch.iter_mut().zip(&other.ch) {
                for i in 0..block.len {
                    now[i] += (coming[i] - now[i]) * self.swap.at(block.start + i);
                }
            }
            let reductions = [&self.current, &self.coming].map(|pair| pair.compressor.heard_reduction_db());
            for (i, heard) in self.heard_reduction_db[..block.len].iter_mut().enumerate() {
                let [now, coming] = reductions.map(|reduction| reduction[i]);
                *heard = now + (coming - now) * self.swap.at(block.start + i) as f32;
            }
        }
        // What is not heard is not shown: the reduction follows the switch.
        let comp_on = &self.switches.comp_on;
        if comp_on.is_dry() {
            self.heard_reduction_db = [0.0; CHUNK];
        } else if !comp_on.is_wet() {
            for (i, heard) in self.heard_reduction_db[..block.len].iter_mut().enumerate() {
                *heard *= comp_on.at(block.start + i) as f32;
            }
        }
    }

    /// Silence passes as it is and changes nothing.
    pub fn rests(&self) -> bool {
        !self.is_swapping()
            && self.current.eq.passes_silence()
            && (self.switches.comp_idle || self.current.compressor.rests())
    }

    /// Takes silence in while [`Self::rests`].
    pub fn pass_silence(&mut self) {
        if !self.switches.comp_idle {
            self.current.compressor.pass_silence();
        }
    }

    /// The compressor's reduction as it is heard, dB ≥ 0, of the last block.
    #[inline]
    pub fn heard_reduction_db(&self) -> &[f32] {
        &self.heard_reduction_db[..self.len]
    }

    /// The EQ is left out.
    pub fn eq_is_dry(&self) -> bool {
        self.switches.eq_on.is_dry()
    }

    /// Counts the changes of [`Self::curve`]. (After a change of the order it is the other EQ that counts.)
    pub fn curve_changes(&self) -> (StageOrder, u64) {
        (self.current.order, self.current.eq.curve_changes())
    }

    /// A band is on its way to its targets, or will be with the next tick.
    pub fn curve_moves(&self) -> bool {
        !self.current.eq.is_at_rest()
    }

    /// The EQ's running coefficients.
    pub fn curve(&self) -> EqCurve {
        self.current.eq.curve()
    }

    /// Detector level, dBFS, and reduction, dB, at the last frame; (−∞, 0) while not heard.
    pub fn compressor_point(&self) -> (f64, f64) {
        if self.switches.comp_on.is_dry() {
            return (f64::NEG_INFINITY, 0.0);
        }
        let compressor = &self.current.compressor;
        (compressor.level_db(), f64::from(compressor.reduction_db()[self.len.max(1) - 1]))
    }

    /// Make-up in dB that the compressor applies now; 0 while it is not heard.
    pub fn makeup_db(&self) -> f64 {
        if self.switches.comp_on.is_dry() { 0.0 } else { self.current.compressor.makeup_db() }
    }
}

impl StagePair {
    fn set(&mut self, settings: &Settings, changed: Changed) {
        if changed.eq {
            self.eq.set(&settings.eq);
        }
        if changed.compressor {
            self.compressor.set(&settings.compressor);
        }
    }

    #[inline]
    fn tick(&mut self) {
        self.eq.tick();
        self.compressor.tick();
    }

    #[inline]
    fn process(&mut self, switches: &Switches, block: &mut Block, dry: &mut [[f64; CHUNK]; CHANNELS]) {
        if self.order == StageOrder::EqFirst {
            self.equalize(switches, block, dry);
            self.compress(switches, block, dry);
        } else {
            self.compress(switches, block, dry);
            self.equalize(switches, block, dry);
        }
    }

    #[inline]
    fn equalize(&mut self, switches: &Switches, block: &mut Block, dry: &mut [[f64; CHUNK]; CHANNELS]) {
        faded(&switches.eq_on, block, dry, |block| self.eq.process(block));
    }

    #[inline]
    fn compress(&mut self, switches: &Switches, block: &mut Block, dry: &mut [[f64; CHUNK]; CHANNELS]) {
        if switches.comp_on.is_dry() && !switches.comp_idle {
            // Not heard, but auto make-up keeps measuring: switched in, it is right at once.
            self.compressor.process(&mut block.clone());
        }
        faded(&switches.comp_on, block, dry, |block| self.compressor.process(block));
    }
}

//! The audio thread's side of an instance.

use crate::chain::ChainReadout;
use crate::tap_ring::{Tap, TapSender, Transport};

/// Sends taps to the analysis and readouts to the window. Owned by the audio thread.
pub struct InstanceSender {
    pub(super) readouts: rtrb::Producer<ChainReadout>,
    pub(super) taps: TapSender,
    /// Sample rate of the analysis, Hz.
    pub(super) sample_rate: f64,
    /// Channels of the analysis.
    pub(super) channels: usize,
}

impl InstanceSender {
    /// Whether its analysis has this sample rate in Hz and this number of channels.
    pub fn fits(&self, sample_rate: f64, channels: usize) -> bool {
        self.sample_rate == sample_rate && self.channels == channels
    }

    /// Feeds the analysis. Wait-free, without allocation.
    #[inline]
    pub fn feed(&mut self, tap: &Tap, transport: Transport) {
        self.taps.push(tap, transport);
    }

    /// Sends a readout if there is room; a full ring means that no window reads it.
    pub fn readout(&mut self, readout: impl FnOnce() -> ChainReadout) {
        if self.readouts.slots() > 0 {
            let _ = self.readouts.push(readout());
        }
    }
}

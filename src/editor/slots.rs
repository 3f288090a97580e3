//! The two slots of settings, A and B: which one is in use, and the settings of the other.

use serde::{Deserialize, Serialize};

/// Saved with the session as part of the window state.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Slots {
    /// Slot in use: 0 = A, 1 = B.
    pub slot: usize,
    /// Settings of the other slot, as a settings file; empty = defaults.
    pub other_slot: String,
}

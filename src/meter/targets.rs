//! Delivery targets: loudness in LUFS and highest true peak in dBTP, with the source of each.
//!
//! The user's own delivery specification comes first: [`Target::own`] stands before this list.

/// What a delivery asks for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Target {
    /// Neutral name.
    pub name: &'static str,
    /// Integrated loudness, LUFS.
    pub loudness: f64,
    /// Distance from `loudness` that still counts as on target, LU.
    pub tolerance: f64,
    /// Highest true peak, dBTP.
    pub true_peak: f64,
    /// Where the figures come from.
    pub source: &'static str,
}

impl Target {
    /// A specification of the user's own: loudness in LUFS, highest true peak in dBTP.
    pub const fn own(loudness: f64, true_peak: f64) -> Self {
        Self { name: "own", loudness, tolerance: 0.5, true_peak, source: "the delivery's own specification" }
    }

    /// Loudness that counts as on target, LUFS.
    pub fn band(&self) -> std::ops::RangeInclusive<f64> {
        self.loudness - self.tolerance..=self.loudness + self.tolerance
    }

    /// The target of that name, [`Target::own`] excepted.
    pub fn named(name: &str) -> Option<Self> {
        TARGETS.iter().find(|target| target.name == name).copied()
    }
}

impl Default for Target {
    /// The first of the list.
    fn default() -> Self {
        TARGETS[0]
    }
}

/// Targets to choose from.
pub const TARGETS: [Target; 5] = [
    Target {
        name: "streaming",
        loudness: -14.0,
        tolerance: 1.0,
        true_peak: -1.0,
        source: "AES TD1008 (2021), album mode: loudest track at −14 LUFS (from secondary sources)",
    },
    Target {
        name: "quiet streaming",
        loudness: -16.0,
        tolerance: 1.0,
        true_peak: -1.0,
        source: "AES TD1008 (2021), music per track: −16 LUFS (from secondary sources)",
    },
    Target {
        name: "speech",
        loudness: -18.0,
        tolerance: 1.0,
        true_peak: -1.0,
        source: "AES TD1008 (2021), speech: −18 LUFS (from secondary sources)",
    },
    Target {
        name: "broadcast",
        loudness: -23.0,
        tolerance: 0.2,
        true_peak: -1.0,
        source: "EBU R 128 v5 (2023), items h, i, m: −23.0 LUFS, ±0.2 LU for measurement error, −1 dBTP",
    },
    Target {
        name: "album-loud",
        loudness: -11.0,
        tolerance: 1.0,
        true_peak: -1.0,
        source: "common practice, no source",
    },
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_tolerance_of_broadcast_is_0_2_and_of_streaming_1_lu() {
        let width = |name| {
            let band = Target::named(name).unwrap().band();
            band.end() - band.start()
        };
        assert!((width("broadcast") - 0.4).abs() < 1e-9 && (width("streaming") - 2.0).abs() < 1e-9);
    }

    #[test]
    fn broadcast_is_what_r_128_says() {
        let broadcast = Target::named("broadcast").unwrap();
        assert_eq!((broadcast.loudness, broadcast.true_peak), (-23.0, -1.0));
        assert!(TARGETS.iter().all(|target| !target.source.is_empty()));
        assert_eq!(Target::named("own"), None);
    }
}

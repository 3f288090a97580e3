//! Everything that a user can set, as plain values: what the plugin's parameters, a settings file
//! and the command line all end up as.
//!
//! Ranges, units, defaults, names and texts stand in [`crate::params`]; the stages clamp nothing
//! that the table has already bounded.

/// Number of EQ bands.
pub const BANDS: usize = 5;

/// The whole setting of the chain.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Settings {
    /// The untouched input, delayed by the latency, bit for bit.
    pub bypass: bool,
    pub input: InputSettings,
    pub order: StageOrder,
    pub eq: EqSettings,
    pub compressor: CompressorSettings,
    pub limiter: LimiterSettings,
    pub compare: Compare,
}

/// The first gain: gives back the headroom that a bounce at full scale has used up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InputSettings {
    pub trim_on: bool,
    /// Gain in dB, −24 to +12.
    pub trim: f32,
}

/// Which of the two middle stages comes first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum StageOrder {
    #[default]
    EqFirst,
    CompressorFirst,
}

/// Listening at equal loudness. The louder of the two sides is turned down, never the quieter up,
/// so that a comparison cannot clip or startle.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Compare {
    /// Normal operation.
    #[default]
    Off,
    /// The untouched input, level-matched.
    Before,
    /// The processed signal, level-matched.
    After,
}

/// The five EQ bands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EqSettings {
    pub on: bool,
    pub bands: [BandSettings; BANDS],
}

/// One EQ band.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BandSettings {
    pub on: bool,
    pub kind: BandKind,
    /// Hz, 10 to 24 000 (held below 0.49 of the sample rate).
    pub freq: f32,
    /// dB, −12 to +12. Cuts have none.
    pub gain: f32,
    /// Cookbook Q, 0.1 to 10.
    pub q: f32,
    /// For the cuts only.
    pub slope: Slope,
    pub channel: BandChannel,
}

/// Shape of a band.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BandKind {
    LowShelf,
    Bell,
    HighShelf,
    /// Removes what lies below the frequency (a high-pass).
    LowCut,
    /// Removes what lies above the frequency (a low-pass).
    HighCut,
}

/// Steepness of a cut.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Slope {
    Db6,
    #[default]
    Db12,
    Db18,
    Db24,
}

/// What a band works on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum BandChannel {
    #[default]
    Stereo,
    /// (L + R) / 2
    Mid,
    /// (L − R) / 2
    Side,
}

/// The gentle compressor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CompressorSettings {
    pub on: bool,
    /// dBFS, −60 to 0.
    pub threshold: f32,
    /// n : 1, 1.2 to 6.
    pub ratio: f32,
    /// dB, whole width, 0 to 24.
    pub knee: f32,
    /// ms, 63 % definition, 0.1 to 120.
    pub attack: f32,
    /// ms, 63 % definition, 20 to 1500. With `auto_release`: of the fast path.
    pub release: f32,
    /// Programme-dependent release: short peaks let go fast, sustained level slowly.
    pub auto_release: bool,
    /// Detector window in ms: 0 = peak, up to 50 = mean square over that time constant.
    pub rms_window: f32,
    /// Side-chain low cut, Hz, 20 to 300.
    pub sidechain_low_cut: f32,
    /// %, 0 = each channel for itself, 100 = one common reduction.
    pub stereo_link: f32,
    /// %, 0 = dry, 100 = compressed.
    pub mix: f32,
    /// dB, −6 to +12.
    pub makeup: f32,
    /// Make-up held at equal loudness (K-weighted, slow) instead of `makeup`.
    pub auto_makeup: bool,
}

/// Drive and the look-ahead limiter that stands last.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LimiterSettings {
    pub on: bool,
    /// dB into the ceiling, 0 to +24.
    pub drive: f32,
    /// dBTP (dBFS with `true_peak` off), −12 to 0.
    pub ceiling: f32,
    /// ms, 1 to 10. The latency is that of the longest, always.
    pub look_ahead: f32,
    /// ms, 63 % definition, of the fast path, 10 to 1000.
    pub release: f32,
    /// %, 0 = each channel for itself, 100 = one common reduction (the image stays put).
    pub stereo_link: f32,
    /// Detect peaks between the samples too.
    pub true_peak: bool,
    /// Hear removed signal only: the driven input minus the output.
    pub removed_only: bool,
}

impl Default for InputSettings {
    fn default() -> Self {
        Self { trim_on: true, trim: 0.0 }
    }
}

impl Default for EqSettings {
    fn default() -> Self {
        let band = |kind, freq, q| BandSettings {
            on: true,
            kind,
            freq,
            gain: 0.0,
            q,
            slope: Slope::Db12,
            channel: BandChannel::Stereo,
        };
        Self {
            on: true,
            bands: [
                band(BandKind::LowShelf, 90.0, 0.71),
                band(BandKind::Bell, 240.0, 1.0),
                band(BandKind::Bell, 900.0, 1.0),
                band(BandKind::Bell, 3200.0, 1.0),
                band(BandKind::HighShelf, 9500.0, 0.71),
            ],
        }
    }
}

impl Default for CompressorSettings {
    /// Off; when switched on, what common practice (no source) calls gentle: about 2 : 1, a slow
    /// attack, a wide knee, 1 to 3 dB on the loud passages.
    fn default() -> Self {
        Self {
            on: false,
            threshold: -18.0,
            ratio: 2.0,
            knee: 6.0,
            attack: 30.0,
            release: 150.0,
            auto_release: true,
            rms_window: 5.0,
            sidechain_low_cut: 60.0,
            stereo_link: 100.0,
            mix: 100.0,
            makeup: 0.0,
            auto_makeup: false,
        }
    }
}

impl Default for LimiterSettings {
    fn default() -> Self {
        Self {
            on: true,
            drive: 0.0,
            ceiling: -1.0,
            look_ahead: 5.0,
            release: 120.0,
            stereo_link: 100.0,
            true_peak: true,
            removed_only: false,
        }
    }
}

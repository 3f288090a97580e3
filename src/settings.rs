//! All settings as plain values: what the plugin's parameters, a settings file and the command line
//! are converted to.
//!
//! Ranges, laws, names and texts are in the `params` module, which also clamps; the stages rely on
//! that.

/// Number of EQ bands.
pub const BANDS: usize = 5;

/// Settings of the whole chain.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Settings {
    /// Passes the input unchanged, bit for bit, delayed by the latency.
    pub bypass: bool,
    /// Input gain.
    pub input: InputSettings,
    /// Order of EQ and compressor.
    pub order: StageOrder,
    /// EQ.
    pub eq: EqSettings,
    /// Compressor.
    pub compressor: CompressorSettings,
    /// Drive and limiter.
    pub limiter: LimiterSettings,
    /// Words of the output.
    pub output: OutputSettings,
    /// Level-matched comparison.
    pub compare: Compare,
}

/// Input gain, before all stages: restores headroom when a mix reaches full scale.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InputSettings {
    /// Whether the trim is in.
    pub trim_on: bool,
    /// Gain in dB, −24 to +12.
    pub trim: f32,
}

/// Order of EQ and compressor.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum StageOrder {
    /// The compressor reacts to the equalised signal.
    #[default]
    EqFirst,
    /// The EQ shapes the compressed signal.
    CompressorFirst,
}

/// Level-matched comparison of input, result and a reference. The louder ones are turned down, never the
/// quieter up, so that a comparison cannot clip or become suddenly loud.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Compare {
    /// Normal operation.
    #[default]
    Off,
    /// The untouched input, level-matched.
    Before,
    /// The processed signal, level-matched.
    After,
    /// The reference, level-matched; without one the processed signal.
    Reference,
}

/// The five EQ bands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EqSettings {
    /// Whether the stage is in.
    pub on: bool,
    /// Band 1 first.
    pub bands: [BandSettings; BANDS],
}

/// One EQ band.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BandSettings {
    /// Whether the band is in.
    pub on: bool,
    /// Shape.
    pub kind: BandKind,
    /// Hz, 10 to 24 000 (held below 0.49 of the sample rate).
    pub freq: f32,
    /// dB, −12 to +12. Cuts have none.
    pub gain: f32,
    /// Cookbook Q, 0.1 to 10.
    pub q: f32,
    /// Slope of a cut; unused by bells and shelves.
    pub slope: Slope,
    /// Channels that the band processes.
    pub channel: BandChannel,
}

/// Shape of a band.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BandKind {
    /// Boosts or cuts everything below the frequency.
    LowShelf,
    /// Boosts or cuts the range around the frequency.
    Bell,
    /// Boosts or cuts everything above the frequency.
    HighShelf,
    /// Removes what is below the frequency (a high-pass).
    LowCut,
    /// Removes what is above the frequency (a low-pass).
    HighCut,
}

/// Slope of a cut.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Slope {
    /// 6 dB per octave.
    Db6,
    /// 12 dB per octave.
    #[default]
    Db12,
    /// 18 dB per octave.
    Db18,
    /// 24 dB per octave.
    Db24,
}

/// Channels that a band processes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum BandChannel {
    /// Both channels.
    #[default]
    Stereo,
    /// (L + R) / 2
    Mid,
    /// (L − R) / 2
    Side,
}

/// The compressor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CompressorSettings {
    /// Whether the stage is in.
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
    /// RMS window of the detector in ms: 0 = peak, up to 50 = mean square over that time constant.
    pub rms_window: f32,
    /// Side-chain low cut, Hz, 20 to 300.
    pub sidechain_low_cut: f32,
    /// %, 0 = each channel by itself, 100 = one common reduction.
    pub stereo_link: f32,
    /// %, 0 = dry, 100 = compressed.
    pub mix: f32,
    /// dB, −6 to +12.
    pub makeup: f32,
    /// Auto make-up (K-weighted, slow) instead of `makeup`.
    pub auto_makeup: bool,
}

/// Drive and the look-ahead limiter, the last stage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LimiterSettings {
    /// Whether the limiter is in; the drive acts always.
    pub on: bool,
    /// Gain into the limiter, dB, 0 to +24.
    pub drive: f32,
    /// Highest output level, dBTP (dBFS with `true_peak` off), −12 to 0.
    pub ceiling: f32,
    /// ms, 1 to 10. The latency is constant, that of 10 ms.
    pub look_ahead: f32,
    /// ms, 63 % definition, of the fast path, 10 to 1000.
    pub release: f32,
    /// %, 0 = each channel for itself, 100 = one common reduction (the stereo image stays).
    pub stereo_link: f32,
    /// Most that a short peak may lose to the soft curve, dB, 0 to 6; 0 = gain only.
    pub soft_clip: f32,
    /// Limits the peaks between the samples too.
    pub true_peak: bool,
    /// Monitoring: plays the removed signal only, the driven input minus the output.
    pub removed_only: bool,
}

/// Words of the output, after the limiter.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct OutputSettings {
    /// Length of the words that the output is rounded to.
    pub word_length: WordLength,
    /// Shapes the dither's noise at 44.1 and 48 kHz, here and in files of 16 and 24 bit.
    pub noise_shaping: bool,
}

/// Length of words that samples are rounded to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum WordLength {
    /// Floating point, not rounded.
    #[default]
    Off,
    /// 24 bit.
    Bits24,
    /// 20 bit.
    Bits20,
    /// 16 bit.
    Bits16,
}

impl WordLength {
    /// Bits of a word.
    pub fn bits(self) -> Option<u16> {
        match self {
            Self::Off => None,
            Self::Bits24 => Some(24),
            Self::Bits20 => Some(20),
            Self::Bits16 => Some(16),
        }
    }
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
            release: 20.0,
            stereo_link: 100.0,
            soft_clip: 6.0,
            true_peak: true,
            removed_only: false,
        }
    }
}

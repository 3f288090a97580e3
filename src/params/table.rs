//! The table of parameters.

use super::{Kind, Law, Param, Unit};
use crate::settings::{BandChannel, BandKind, Compare, Slope, StageOrder, WordLength};
use std::sync::LazyLock;

/// A number; `$at` is its place in the settings.
macro_rules! number {
    ($id:expr, $group:expr, $name:expr, $($at:ident$([$n:expr])?).+, $min:literal to $max:literal, $law:expr, $unit:ident, $help:expr) => {
        Param {
            id: $id,
            name: $name,
            group: $group,
            help: $help,
            kind: Kind::Number { min: $min, max: $max, law: $law, unit: Unit::$unit },
            read: |s| s.$($at$([$n])?).+,
            write: |s, v| s.$($at$([$n])?).+ = v,
        }
    };
}

/// A switch.
macro_rules! switch {
    ($id:expr, $group:expr, $name:expr, $($at:ident$([$n:expr])?).+, $help:expr) => {
        Param {
            id: $id,
            name: $name,
            group: $group,
            help: $help,
            kind: Kind::Switch,
            read: |s| f32::from(u8::from(s.$($at$([$n])?).+)),
            write: |s, v| s.$($at$([$n])?).+ = v >= 0.5,
        }
    };
}

/// A choice: word => variant, in the order of their index.
macro_rules! choice {
    ($id:expr, $group:expr, $name:expr, $($at:ident$([$n:expr])?).+, [$($word:literal => $variant:expr),+], $help:expr) => {
        Param {
            id: $id,
            name: $name,
            group: $group,
            help: $help,
            kind: Kind::Choice(&[$($word),+]),
            read: |s| [$($variant),+].iter().position(|v| *v == s.$($at$([$n])?).+).unwrap_or(0) as f32,
            write: |s, v| s.$($at$([$n])?).+ = [$($variant),+][v as usize],
        }
    };
}

/// What every band has. `$n` = index, `$digit` = the number people see.
macro_rules! band {
    ($n:expr, $digit:literal, $what:literal) => {
        [
            switch!(
                concat!("eq", $digit, "_on"), concat!("EQ ", $digit), concat!("EQ ", $digit, " on"), eq.bands[$n].on,
                concat!("Switches band ", $digit, " (", $what, ") in and out.")
            ),
            number!(
                concat!("eq", $digit, "_freq"), concat!("EQ ", $digit), concat!("EQ ", $digit, " frequency"), eq.bands[$n].freq,
                10.0 to 24_000.0, Law::Log, Hz,
                "Centre frequency of a bell, half-gain frequency of a shelf, corner frequency of a cut."
            ),
            number!(
                concat!("eq", $digit, "_gain"), concat!("EQ ", $digit), concat!("EQ ", $digit, " gain"), eq.bands[$n].gain,
                -12.0 to 12.0, Law::Even, Gain,
                "Boost or cut of the band; in mastering usually within 3 dB, more belongs in the mix (common practice, no source)."
            ),
            number!(
                concat!("eq", $digit, "_q"), concat!("EQ ", $digit), concat!("EQ ", $digit, " Q"), eq.bands[$n].q,
                0.1 to 10.0, Law::Log, Q,
                "Quality factor: 0.5 is broad, 1 about one and a half octaves, 4 narrow; usually 0.5 to 1.5 (common practice, no source)."
            ),
            choice!(
                concat!("eq", $digit, "_channel"), concat!("EQ ", $digit), concat!("EQ ", $digit, " channel"), eq.bands[$n].channel,
                ["stereo" => BandChannel::Stereo, "mid" => BandChannel::Mid, "side" => BandChannel::Side],
                "Signal that the band processes: both channels, mid (their sum) or side (their difference)."
            ),
        ]
    };
}

macro_rules! slope {
    ($n:expr, $digit:literal) => {
        choice!(
            concat!("eq", $digit, "_slope"), concat!("EQ ", $digit), concat!("EQ ", $digit, " slope"), eq.bands[$n].slope,
            ["6 dB/oct" => Slope::Db6, "12 dB/oct" => Slope::Db12, "18 dB/oct" => Slope::Db18, "24 dB/oct" => Slope::Db24],
            "Slope of a cut; 12 dB per octave is usual (common practice, no source), steeper slopes ring more."
        )
    };
}

static TABLE: LazyLock<Vec<Param>> = LazyLock::new(|| {
    let mut table = vec![
        switch!(
            "bypass",
            "out",
            "bypass",
            bypass,
            "Passes the input unchanged, bit for bit (subnormal numbers as zero), delayed by the latency. Caution: the level can jump; turn the monitors down first."
        ),
        choice!("compare", "out", "compare", compare,
            ["off" => Compare::Off, "before" => Compare::Before, "after" => Compare::After, "reference" => Compare::Reference],
            "Plays the input, the result or a reference level-matched: the louder ones are turned down, because louder always sounds better. Caution: before it has measured for a few seconds the level can jump; turn the monitors down first."),
        switch!("trim_on", "input", "trim on", input.trim_on, "Switches the input trim in and out."),
        number!("trim", "input", "trim", input.trim, -24.0 to 12.0, Law::Even, Gain,
            "Input gain, before all stages: restores headroom when a mix reaches full scale; usually −6 to 0 dB (common practice, no source)."),
        choice!("order", "input", "order", order,
            ["EQ first" => StageOrder::EqFirst, "compressor first" => StageOrder::CompressorFirst],
            "Order of EQ and compressor; with EQ first the compressor reacts to the corrected balance."),
        switch!("eq_on", "EQ", "EQ on", eq.on, "Switches all five bands in and out."),
    ];
    table.extend(band!(0, "1", "low shelf"));
    table.push(choice!("eq1_kind", "EQ 1", "EQ 1 kind", eq.bands[0].kind,
        ["low shelf" => BandKind::LowShelf, "bell" => BandKind::Bell, "low cut" => BandKind::LowCut],
        "Type of band 1: a low shelf changes everything below its frequency, a bell the range around it, a low cut removes what is below."));
    table.push(slope!(0, "1"));
    table.extend(band!(1, "2", "bell"));
    table.extend(band!(2, "3", "bell"));
    table.extend(band!(3, "4", "bell"));
    table.extend(band!(4, "5", "high shelf"));
    table.push(choice!("eq5_kind", "EQ 5", "EQ 5 kind", eq.bands[4].kind,
        ["high shelf" => BandKind::HighShelf, "bell" => BandKind::Bell, "high cut" => BandKind::HighCut],
        "Type of band 5: a high shelf changes everything above its frequency, a bell the range around it, a high cut removes what is above."));
    table.push(slope!(4, "5"));
    table.extend([
        switch!("comp_on", "compressor", "compressor on", compressor.on, "Switches the compressor in and out."),
        number!("comp_threshold", "compressor", "compressor threshold", compressor.threshold, -60.0 to 0.0, Law::Even, Db,
            "Level above which the compressor reduces gain; for glue, set it for 1 to 3 dB of reduction on loud passages (common practice, no source)."),
        number!("comp_ratio", "compressor", "compressor ratio", compressor.ratio, 1.2 to 6.0, Law::Log, Ratio,
            "Input change in dB per 1 dB of output change above the threshold; for glue, usually 1.5 to 2.5 (common practice, no source)."),
        number!("comp_knee", "compressor", "compressor knee", compressor.knee, 0.0 to 24.0, Law::Centre(8.0), Db,
            "Width of the gradual transition around the threshold; usually 6 to 12 dB (common practice, no source)."),
        number!("comp_attack", "compressor", "compressor attack", compressor.attack, 0.1 to 120.0, Law::Log, Ms,
            "Time to reach 63 % of the reduction; slow attacks, 20 to 50 ms, let transients through (common practice, no source)."),
        number!("comp_release", "compressor", "compressor release", compressor.release, 20.0 to 1500.0, Law::Log, Ms,
            "Time to recover 63 % of the reduction; usually 100 to 400 ms (common practice, no source)."),
        switch!("comp_auto_release", "compressor", "compressor auto release", compressor.auto_release,
            "Programme-dependent release: fast after short peaks, slow after sustained level."),
        number!("comp_rms_window", "compressor", "compressor RMS window", compressor.rms_window, 0.0 to 50.0, Law::Centre(10.0), Ms,
            "Averaging time of the detector: 0 follows peaks, longer windows follow the RMS level, closer to loudness; usually 0 to 20 ms (common practice, no source)."),
        number!("comp_sidechain_low_cut", "compressor", "compressor side-chain low cut", compressor.sidechain_low_cut, 20.0 to 300.0, Law::Log, Hz,
            "Removes bass from the detector only, not from the sound, so that bass does not cause pumping; usually 60 to 120 Hz (common practice, no source)."),
        number!("comp_stereo_link", "compressor", "compressor stereo link", compressor.stereo_link, 0.0 to 100.0, Law::Even, Percent,
            "How far both channels share one reduction; 100 % keeps the stereo image stable."),
        number!("comp_mix", "compressor", "compressor mix", compressor.mix, 0.0 to 100.0, Law::Even, Percent,
            "Share of the compressed signal in the output; below 100 % the uncompressed signal is mixed in."),
        number!("comp_makeup", "compressor", "compressor make-up", compressor.makeup, -6.0 to 12.0, Law::Even, Gain,
            "Gain after the compressor that restores the level; usually 0 to 3 dB (common practice, no source)."),
        switch!("comp_auto_makeup", "compressor", "compressor auto make-up", compressor.auto_makeup,
            "Sets the make-up automatically so that the output is as loud as the input, for a fair comparison."),
        number!("drive", "limiter", "drive", limiter.drive, 0.0 to 24.0, Law::Centre(8.0), Gain,
            "Gain into the limiter: more is louder, and peaks above the ceiling are reduced; usually 0 to 6 dB (common practice, no source). Caution: it raises the level at once; turn the monitors down first."),
        switch!("limit_on", "limiter", "limiter on", limiter.on, "Switches the limiter in and out; when off, peaks may exceed the ceiling."),
        number!("ceiling", "limiter", "ceiling", limiter.ceiling, -12.0 to 0.0, Law::Centre(-3.0), DbTp,
            "Highest output level: −1 dBTP (EBU R 128), −2 dBTP before lossy encoders (EBU Tech 3344)."),
        number!("look_ahead", "limiter", "look-ahead", limiter.look_ahead, 1.0 to 10.0, Law::Log, Ms,
            "Time before a peak at which the reduction starts; longer is smoother, usually 2 to 6 ms (common practice, no source)."),
        number!("limit_release", "limiter", "limiter release", limiter.release, 10.0 to 1000.0, Law::Log, Ms,
            "Time to recover 63 % of the reduction after a peak; what a dense passage needs throughout stays. Short is louder; usually 10 to 100 ms (common practice, no source)."),
        number!("limit_stereo_link", "limiter", "limiter stereo link", limiter.stereo_link, 0.0 to 100.0, Law::Even, Percent,
            "How far both channels share one reduction; 100 % keeps the stereo image stable."),
        number!("soft_clip", "limiter", "soft clip", limiter.soft_clip, 0.0 to 6.0, Law::Even, Db,
            "The most that a short peak loses to a soft curve instead of turning the music down; at high drive the curve also takes most of the reduction beyond 2.5 dB (own measurements). A voice or a bass alone would not mask the curve and meets it later. 0 is gain only: cleaner, and not as loud."),
        switch!("true_peak", "limiter", "true peak", limiter.true_peak,
            "Also limits the peaks between the samples (true peaks); leave it on for a release."),
        switch!("removed_only", "limiter", "removed signal only", limiter.removed_only,
            "Plays only the signal that the limiter removes; for monitoring, never for a release."),
        choice!("word_length", "out", "word length", output.word_length,
            ["off" => WordLength::Off, "24 bit" => WordLength::Bits24, "20 bit" => WordLength::Bits20, "16 bit" => WordLength::Bits16],
            "Rounds the output to words with TPDF dither, under the ceiling; only for a host that cuts the words off itself. Off is floating point, to which an export adds its own dither; files have the bits they are asked for."),
        switch!("noise_shaping", "out", "noise shaping", output.noise_shaping,
            "Moves the dither's noise to above 10 kHz, at 44.1 and 48 kHz; for 16 bit only, and never before further processing."),
    ]);
    table
});

/// Parameters of monitoring: they change what is heard and never reach a file, a preset or a slot.
pub const MONITORING_IDS: [&str; 3] = ["bypass", "compare", "removed_only"];

/// Every parameter, in the order in which hosts and documents list them.
pub fn all() -> &'static [Param] {
    &TABLE
}

/// The parameter with this id.
pub fn find(id: &str) -> Option<&'static Param> {
    all().iter().find(|param| param.id == id)
}

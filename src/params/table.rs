//! The table itself.

use super::{Kind, Law, Param, Unit};
use crate::settings::{BandChannel, BandKind, Compare, Order, Slope};
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
                concat!("tone", $digit, "_on"), concat!("tone ", $digit), concat!("tone ", $digit, " on"), tone.bands[$n].on,
                concat!("Switches band ", $digit, " (", $what, ") in and out.")
            ),
            number!(
                concat!("tone", $digit, "_freq"), concat!("tone ", $digit), concat!("tone ", $digit, " frequency"), tone.bands[$n].freq,
                10.0 to 24_000.0, Law::Log, Hz,
                "Where the band works: the middle of a bell, the half-gain point of a shelf, the corner of a cut."
            ),
            number!(
                concat!("tone", $digit, "_gain"), concat!("tone ", $digit), concat!("tone ", $digit, " gain"), tone.bands[$n].gain,
                -12.0 to 12.0, Law::Even, Gain,
                "How much the band lifts or lowers; in mastering usually within 3 dB, more belongs into the mix."
            ),
            number!(
                concat!("tone", $digit, "_q"), concat!("tone ", $digit), concat!("tone ", $digit, " Q"), tone.bands[$n].q,
                0.1 to 10.0, Law::Log, Q,
                "How narrow the band is: 0.5 is broad, 1 about one and a half octaves, 4 narrow; usually 0.5 to 1.5."
            ),
            choice!(
                concat!("tone", $digit, "_channel"), concat!("tone ", $digit), concat!("tone ", $digit, " channel"), tone.bands[$n].channel,
                ["stereo" => BandChannel::Stereo, "middle" => BandChannel::Middle, "sides" => BandChannel::Sides],
                "What the band works on: both channels, their sum (middle) or their difference (sides)."
            ),
        ]
    };
}

macro_rules! slope {
    ($n:expr, $digit:literal) => {
        choice!(
            concat!("tone", $digit, "_slope"), concat!("tone ", $digit), concat!("tone ", $digit, " slope"), tone.bands[$n].slope,
            ["6 dB/oct" => Slope::Db6, "12 dB/oct" => Slope::Db12, "18 dB/oct" => Slope::Db18, "24 dB/oct" => Slope::Db24],
            "How steeply a cut falls; 12 dB per octave is usual, the steeper the more it rings."
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
            "Lets the untouched input through, delayed by the latency, bit for bit."
        ),
        choice!("compare", "out", "compare", compare,
            ["off" => Compare::Off, "before" => Compare::Before, "after" => Compare::After],
            "Plays the untouched input or the result at equal loudness, the louder of the two turned down: louder always sounds better."),
        switch!("trim_on", "source", "trim on", trim.on, "Switches the trim in and out."),
        number!("trim", "source", "trim", trim.gain, -24.0 to 12.0, Law::Even, Gain,
            "Gain before everything: gives back the headroom of a bounce at full scale; usually −6 to 0 dB."),
        choice!("order", "source", "order", order,
            ["tone first" => Order::ToneFirst, "glue first" => Order::GlueFirst],
            "Whether tone or glue comes first; tone first lets the glue react to the corrected balance."),
        switch!("tone_on", "tone", "tone on", tone.on, "Switches all five bands in and out."),
    ];
    table.extend(band!(0, "1", "low shelf"));
    table.push(choice!("tone1_kind", "tone 1", "tone 1 kind", tone.bands[0].kind,
        ["low shelf" => BandKind::LowShelf, "bell" => BandKind::Bell, "low cut" => BandKind::LowCut],
        "The shape of band 1: a shelf lifts all below, a bell only around its middle, a cut removes what lies below."));
    table.push(slope!(0, "1"));
    table.extend(band!(1, "2", "bell"));
    table.extend(band!(2, "3", "bell"));
    table.extend(band!(3, "4", "bell"));
    table.extend(band!(4, "5", "high shelf"));
    table.push(choice!("tone5_kind", "tone 5", "tone 5 kind", tone.bands[4].kind,
        ["high shelf" => BandKind::HighShelf, "bell" => BandKind::Bell, "high cut" => BandKind::HighCut],
        "The shape of band 5: a shelf lifts all above, a bell only around its middle, a cut removes what lies above."));
    table.push(slope!(4, "5"));
    table.extend([
        switch!("glue_on", "glue", "glue on", glue.on, "Switches the compressor in and out."),
        number!("glue_threshold", "glue", "glue threshold", glue.threshold, -60.0 to 0.0, Law::Even, Db,
            "Level above which the glue starts to hold the music together; set for 1 to 3 dB of reduction on loud passages."),
        number!("glue_ratio", "glue", "glue ratio", glue.ratio, 1.2 to 6.0, Law::Log, Ratio,
            "How many dB more at the input give one dB more at the output; usually 1.5 to 2.5 for glue."),
        number!("glue_knee", "glue", "glue knee", glue.knee, 0.0 to 24.0, Law::Centre(8.0), Db,
            "Width of the gradual bend around the threshold; usually 6 to 12 dB."),
        number!("glue_attack", "glue", "glue attack", glue.attack, 0.1 to 120.0, Law::Log, Ms,
            "Time to reach 63 % of the reduction; slow (20 to 50 ms) lets the strokes through."),
        number!("glue_release", "glue", "glue release", glue.release, 20.0 to 1500.0, Law::Log, Ms,
            "Time to let go of 63 % of the reduction; usually 100 to 400 ms."),
        switch!("glue_auto_release", "glue", "glue auto release", glue.auto_release,
            "Lets go fast after short peaks and slowly after sustained level."),
        number!("glue_window", "glue", "glue detector window", glue.window, 0.0 to 50.0, Law::Centre(10.0), Ms,
            "0 follows peaks, longer windows follow the mean square, closer to what one hears; usually 0 to 20 ms."),
        number!("glue_low_cut", "glue", "glue side-chain low cut", glue.low_cut, 20.0 to 300.0, Law::Log, Hz,
            "Keeps the bass out of the detector, not out of the sound, so that it does not pump the rest; usually 60 to 120 Hz."),
        number!("glue_link", "glue", "glue link", glue.link, 0.0 to 100.0, Law::Even, Percent,
            "How much both channels share one reduction; 100 % keeps the stereo image in place."),
        number!("glue_mix", "glue", "glue mix", glue.mix, 0.0 to 100.0, Law::Even, Percent,
            "Share of the compressed signal in the output; less than 100 % keeps some of the untouched dynamics."),
        number!("glue_makeup", "glue", "glue make-up", glue.makeup, -6.0 to 12.0, Law::Even, Gain,
            "Gain after the compressor, to give back what it took; usually 0 to 3 dB."),
        switch!("glue_auto_makeup", "glue", "glue equal loudness", glue.auto_makeup,
            "Holds the make-up so that the glue is as loud as its input: an honest way to judge it."),
        number!("drive", "ceiling", "drive", ceiling.drive, 0.0 to 24.0, Law::Centre(8.0), Gain,
            "Gain into the ceiling: more is louder, and every dB past the peaks is taken off them; usually 0 to 6 dB."),
        switch!("ceiling_on", "ceiling", "ceiling on", ceiling.on, "Switches the limiter in and out; off, nothing holds the peaks."),
        number!("ceiling", "ceiling", "ceiling", ceiling.ceiling, -12.0 to 0.0, Law::Centre(-3.0), DbTp,
            "The level that nothing passes; −1 dBTP is usual, −2 dBTP in front of lossy encoders."),
        number!("look_ahead", "ceiling", "look-ahead", ceiling.look_ahead, 1.0 to 10.0, Law::Log, Ms,
            "How far ahead the limiter sees a peak and starts to turn down; longer is smoother, usually 2 to 6 ms."),
        number!("ceiling_release", "ceiling", "ceiling release", ceiling.release, 10.0 to 1000.0, Law::Log, Ms,
            "Time to let go of 63 % of the reduction after a short peak; dense passages let go more slowly; usually 50 to 300 ms."),
        number!("ceiling_link", "ceiling", "ceiling link", ceiling.link, 0.0 to 100.0, Law::Even, Percent,
            "How much both channels share one reduction; 100 % keeps the stereo image in place."),
        switch!("true_peak", "ceiling", "true peak", ceiling.true_peak,
            "Also finds the peaks that a converter will draw between the samples; leave it on for a release."),
        switch!("taken_away", "ceiling", "only what is taken away", ceiling.taken_away,
            "Plays only what the limiter removes; for listening, off for the release."),
    ]);
    table
});

/// Every parameter, in the order in which hosts and documents list them.
pub fn all() -> &'static [Param] {
    &TABLE
}

/// The parameter with this id.
pub fn find(id: &str) -> Option<&'static Param> {
    all().iter().find(|param| param.id == id)
}

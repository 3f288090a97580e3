//! A mix beside its references: profiles in; their spectra at equal loudness, the difference, the verdict and
//! a move at a chosen share out; as JSON too.

use serde_json::{Value, json};

use super::bands::{BANDS, Levels, NOMINAL_HZ, rms, smoothed};
use super::model::MixModel;
use super::profile::Profile;
use super::several::{ReferenceSet, Spread};
use super::stereo::RANGES;
use super::tone::ToneDifference;
use crate::numbers::{number, shortest, signed};
use crate::settings::{BANDS as EQ_BANDS, BandKind, BandSettings, EqSettings, Settings};

/// Share of the whole fit that is proposed unless another is asked for (common practice, no source).
pub const DEFAULT_SHARE: f64 = 1.0 / 3.0;

/// A mix beside its references.
#[derive(Clone, Debug)]
pub struct Comparison {
    /// The mix.
    pub mix: Profile,
    /// The references.
    pub references: ReferenceSet,
    /// Share of the whole fit that is proposed, 0 to 1.
    pub share: f64,
    /// Levels of the mix at equal loudness, dB.
    pub mix_levels: Levels,
    /// The same of the references.
    pub reference_levels: [Option<Spread>; BANDS],
    /// What is different, and the fit.
    pub tone: ToneDifference,
    /// The bands at the chosen share.
    pub bands: [BandSettings; EQ_BANDS],
    /// Their curve, dB.
    pub curve: [f64; BANDS],
    /// What the move would leave of the difference, dB, over the fitted bands.
    pub left: Levels,
}

impl Comparison {
    /// Compares a mix with at least one reference; `share` (0 to 1) is how much of the fit is proposed.
    ///
    /// # Panics
    /// Without references.
    pub fn new(mix: Profile, references: Vec<Profile>, share: f64) -> Self {
        let references = ReferenceSet::new(references);
        let (mix_levels, reference_levels) = (mix.levels(), references.levels());
        let medians: Levels = reference_levels.map(|spread| spread.map(|spread| spread.median));
        let model = MixModel::new(&mix.spectrum, mix.format.rate);
        let tone = ToneDifference::of(&model, &mix_levels, &medians);
        let bands = tone.fit.at_share(share);
        let (curve, left) = (model.curve(&bands), tone.left_by(&model, &bands));
        Self { mix, references, share, mix_levels, reference_levels, tone, bands, curve, left }
    }

    /// Default settings with the proposed bands; none where no move is proposed.
    pub fn settings(&self) -> Option<Settings> {
        let eq = EqSettings { on: true, bands: self.bands };
        self.tone.advice.proposes().then(|| Settings { eq, ..Settings::default() })
    }

    /// The proposed bands in words, a line each; empty where no move is proposed.
    pub fn band_lines(&self) -> Vec<String> {
        let moving = self.bands.iter().enumerate().filter(|(_, band)| band.gain != 0.0);
        let line = |(i, band): (usize, &BandSettings)| {
            format!(
                "EQ band {}: {} at {}, {} dB, Q {}",
                i + 1,
                kind_name(band.kind),
                hertz(f64::from(band.freq)),
                signed(f64::from(band.gain), 2),
                number(f64::from(band.q), 2)
            )
        };
        if self.tone.advice.proposes() { moving.map(line).collect() } else { Vec::new() }
    }

    /// What the move at the chosen share does, in one sentence; empty where no move is proposed.
    pub fn move_sentence(&self) -> String {
        if !self.tone.advice.proposes() {
            return String::new();
        }
        format!(
            "At {} % of the fit the difference falls from {} to {} dB (rms over octaves). Nothing has been \
             changed.",
            number(100.0 * self.share, 0),
            number(rms(&smoothed(&self.tone.difference)), 1),
            number(rms(&smoothed(&self.left)), 1)
        )
    }

    /// The whole comparison as one object.
    pub fn json(&self) -> Value {
        let band = |band: &BandSettings| json!({"kind": kind_name(band.kind), "hz": band.freq, "db": band.gain, "q": band.q});
        json!({
            "references": self.references.profiles.iter().map(profile_json).collect::<Vec<_>>(),
            "mix": profile_json(&self.mix),
            "bands_hz": NOMINAL_HZ,
            "mix_db": self.mix_levels,
            "reference_db": self.reference_levels,
            "difference_db": self.tone.difference,
            "smoothed_difference_db": smoothed(&self.tone.difference),
            "advice": self.tone.advice,
            "sentence": self.tone.advice.sentence(),
            "proposed": self.tone.advice.proposes(),
            "share": self.share,
            "bands": self.bands.iter().map(band).collect::<Vec<_>>(),
            "bands_at_100": self.tone.fit.bands.iter().map(band).collect::<Vec<_>>(),
            "curve_db": self.curve,
            "left_db": self.left,
        })
    }
}

fn profile_json(profile: &Profile) -> Value {
    let range = |(i, (name, low, high)): (usize, &(&str, f64, f64))| {
        let figures = profile.stereo.ranges[i];
        json!({"range": name, "from_hz": low, "to_hz": high, "width_db": figures.width_db,
               "correlation": figures.correlation})
    };
    json!({
        "path": profile.path.display().to_string(),
        "format": profile.format,
        "seconds": profile.seconds(),
        "figures": profile.figures,
        "stereo": RANGES.iter().enumerate().map(range).collect::<Vec<_>>(),
        "low_mono_share": profile.stereo.low_mono_share,
    })
}

/// A band's kind in words.
pub(super) fn kind_name(kind: BandKind) -> &'static str {
    match kind {
        BandKind::LowShelf => "low shelf",
        BandKind::Bell => "bell",
        BandKind::HighShelf => "high shelf",
        BandKind::LowCut => "low cut",
        BandKind::HighCut => "high cut",
    }
}

/// A frequency with its unit.
pub(super) fn hertz(hz: f64) -> String {
    match hz {
        hz if hz < 1000.0 => format!("{} Hz", number(hz, 0)),
        hz => format!("{} kHz", shortest(hz / 1000.0, 2)),
    }
}

//! The gain into the limiter: settings and a gain in dB in, changed settings out; and whether a result is
//! over-driven.

use crate::meter::rules::AdviceNote;
use crate::meter::rules::RuleId;
use crate::settings::Settings;

/// Smallest trim, dB.
const MIN_TRIM_DB: f64 = -24.0;

/// The settings with `gain` dB into the limiter: as drive, or, below 0 dB, as less trim.
pub fn with_gain(settings: &Settings, gain: f64) -> Settings {
    let mut settings = *settings;
    settings.limiter.drive = gain.max(0.0) as f32;
    if gain < 0.0 {
        settings.input.trim = (trim_db(&settings) + gain).max(MIN_TRIM_DB) as f32;
        settings.input.trim_on = true;
    }
    settings
}

/// The trim in effect, dB.
pub(super) fn trim_db(settings: &Settings) -> f64 {
    if settings.input.trim_on { f64::from(settings.input.trim) } else { 0.0 }
}

/// What the advice says about an over-driven limiter, if it says so.
pub fn over_driven(notes: &[AdviceNote]) -> Option<String> {
    let about_limiter = |note: &&AdviceNote| {
        matches!(note.rule, RuleId::LimiterDeep | RuleId::LimiterConstant | RuleId::SoftClipDeep)
    };
    notes.iter().find(about_limiter).map(|note| note.says.clone())
}

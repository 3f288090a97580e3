//! What the window saves with the session, as one line of JSON: sizes, theme, time span of the chart,
//! and the settings of the slot that is not in use.

use super::layout::{DEFAULT_SIZE, MIN_SIZE};
use super::slots::Slots;
use serde::{Deserialize, Serialize};

/// How much time the chart shows.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum TimeSpan {
    /// 10 s.
    Seconds10,
    /// 30 s.
    #[default]
    Seconds30,
    /// 2 min.
    Minutes2,
    /// All that was recorded since the window's song, or the plugin, was opened.
    Song,
}

impl TimeSpan {
    /// All of them, the shortest first.
    pub const ALL: [Self; 4] = [Self::Seconds10, Self::Seconds30, Self::Minutes2, Self::Song];

    /// Its label.
    pub fn label(self) -> &'static str {
        match self {
            Self::Seconds10 => "10 s",
            Self::Seconds30 => "30 s",
            Self::Minutes2 => "2 min",
            Self::Song => "all",
        }
    }

    /// Seconds that the chart shows when `recorded` seconds exist. The whole song grows in steps, so
    /// that the curves keep their place in between.
    pub fn seconds(self, recorded: f64) -> f64 {
        match self {
            Self::Seconds10 => 10.0,
            Self::Seconds30 => 30.0,
            Self::Minutes2 => 120.0,
            Self::Song => {
                let step = if recorded < 600.0 { 30.0 } else { 300.0 };
                ((recorded / step).floor() + 1.0) * step
            }
        }
    }
}

/// Choices of the loudness above which the output is marked, LUFS; 0 = never.
pub const MONITORING_LEVELS: [i8; 7] = [0, -23, -20, -18, -16, -14, -12];

/// Choices of the slope of the spectra, tenths of a dB per octave: 0 for white noise, 3 for pink noise, 4.5
/// for music that falls more steeply (common practice, no source).
pub const SPECTRUM_SLOPES: [u8; 3] = [0, 30, 45];

/// Pink noise is level.
const DEFAULT_SPECTRUM_SLOPE: u8 = 30;

/// Choices of the scale, %.
pub const SCALES_PERCENT: [u16; 6] = [75, 100, 125, 150, 175, 200];

/// The saved state. Unknown fields are ignored, missing ones get their defaults.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct WindowState {
    /// Window width, points at 100 %.
    pub width: f32,
    /// Window height, points at 100 %.
    pub height: f32,
    /// Scale of everything, %.
    pub scale: u16,
    /// Dark theme instead of the light one.
    pub dark: bool,
    /// Time span of the chart.
    pub span: TimeSpan,
    /// The two slots of settings.
    #[serde(flatten)]
    pub slots: Slots,
    /// Gain from the middle to the edge of the EQ chart, dB: 3, 6 or 12.
    pub eq_range_db: u8,
    /// Slope of a spectrum that is drawn level, tenths of a dB per octave of power density: one of
    /// [`SPECTRUM_SLOPES`].
    pub spectrum_slope: u8,
    /// Name of the delivery target.
    pub target: String,
    /// The measurement follows the transport.
    pub follow_transport: bool,
    /// The strip of steps is folded away.
    pub steps_folded: bool,
    /// The chart shows the pass before as a pale line.
    pub previous_pass: bool,
    /// Loudness above which the output is marked, LUFS; 0 = never. One of [`MONITORING_LEVELS`].
    pub monitoring_level: i8,
    /// Path of the reference; empty without one.
    pub reference: String,
}

impl Default for WindowState {
    fn default() -> Self {
        Self {
            width: DEFAULT_SIZE.0,
            height: DEFAULT_SIZE.1,
            scale: 100,
            dark: false,
            span: TimeSpan::default(),
            slots: Slots::default(),
            eq_range_db: 3,
            spectrum_slope: DEFAULT_SPECTRUM_SLOPE,
            target: String::new(),
            follow_transport: false,
            steps_folded: false,
            previous_pass: true,
            monitoring_level: 0,
            reference: String::new(),
        }
    }
}

impl WindowState {
    /// Reads a saved text; unreadable text becomes the default, sizes are limited.
    pub fn read(text: &str) -> Self {
        let mut window_state: Self = serde_json::from_str(text).unwrap_or_default();
        let limited =
            |v: f32, min: f32, default: f32| if v.is_finite() { v.clamp(min * 0.5, 8192.0) } else { default };
        window_state.width = limited(window_state.width, MIN_SIZE.0, DEFAULT_SIZE.0);
        window_state.height = limited(window_state.height, MIN_SIZE.1, DEFAULT_SIZE.1);
        window_state.scale =
            window_state.scale.clamp(SCALES_PERCENT[0], SCALES_PERCENT[SCALES_PERCENT.len() - 1]);
        window_state.slots.slot = window_state.slots.slot.min(1);
        if !SPECTRUM_SLOPES.contains(&window_state.spectrum_slope) {
            window_state.spectrum_slope = DEFAULT_SPECTRUM_SLOPE;
        }
        if !MONITORING_LEVELS.contains(&window_state.monitoring_level) {
            window_state.monitoring_level = 0;
        }
        if ![3, 6, 12].contains(&window_state.eq_range_db) {
            window_state.eq_range_db = 3;
        }
        window_state
    }

    /// Takes over what belongs to a recalled session; size, scale and theme stay as they are.
    pub fn recall(&mut self, saved: Self) {
        let Self { width, height, scale, dark, .. } = *self;
        *self = Self { width, height, scale, dark, ..saved };
    }

    /// The text to save.
    pub fn text(&self) -> String {
        serde_json::to_string(self).unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_text_reads_back_and_unreadable_text_gives_defaults() {
        let window_state = WindowState {
            dark: true,
            scale: 150,
            span: TimeSpan::Song,
            slots: Slots { slot: 1, other_slot: "drive = 3".to_owned() },
            ..WindowState::default()
        };
        assert_eq!(WindowState::read(&window_state.text()), window_state);
        for text in ["", "{", "900 600", "{\"width\":1e99}", "null"] {
            let read = WindowState::read(text);
            assert!(read.width <= 8192.0 && read.scale == 100, "{text}: {read:?}");
        }
        let saved_before = WindowState::read("{\"slot\":1,\"other_slot\":\"drive = 3\",\"dark\":true}");
        assert_eq!((saved_before.slots, saved_before.dark), (window_state.slots, true));
        assert_eq!(WindowState::read("{\"dark\":true}").slots, Slots::default());
        assert_eq!(WindowState::read("{\"scale\":9000,\"eq_range_db\":5,\"slot\":7}").scale, 200);
    }

    #[test]
    fn a_recalled_session_keeps_the_window_as_it_is() {
        let mut here = WindowState { width: 1000.0, dark: true, scale: 150, ..WindowState::default() };
        let target = "broadcast".to_owned();
        here.recall(WindowState {
            target: target.clone(),
            reference: "a.wav".into(),
            ..WindowState::default()
        });
        assert_eq!((here.width, here.dark, here.scale), (1000.0, true, 150));
        assert_eq!((here.target, here.reference), (target, "a.wav".to_owned()));
    }

    #[test]
    fn the_whole_song_grows_in_steps() {
        assert_eq!(TimeSpan::Song.seconds(0.0), 30.0);
        assert_eq!(TimeSpan::Song.seconds(29.9), 30.0);
        assert_eq!(TimeSpan::Song.seconds(30.0), 60.0);
        assert_eq!(TimeSpan::Song.seconds(3600.0), 3900.0);
    }
}

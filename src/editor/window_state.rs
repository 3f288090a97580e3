//! What the screen wants kept with the session, as one line of JSON text: sizes, the sheet, the
//! span, the settings slot that is not in use.

use super::layout::{LEAST, USUAL};
use serde::{Deserialize, Serialize};

/// How much time the chart shows.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Span {
    Seconds10,
    #[default]
    Seconds30,
    Minutes2,
    Song,
}

impl Span {
    pub const ALL: [Self; 4] = [Self::Seconds10, Self::Seconds30, Self::Minutes2, Self::Song];

    /// As written on the screen.
    pub fn word(self) -> &'static str {
        match self {
            Self::Seconds10 => "10 s",
            Self::Seconds30 => "30 s",
            Self::Minutes2 => "2 min",
            Self::Song => "whole song",
        }
    }

    /// Seconds across the paper when `recorded` seconds exist. The whole song grows in steps, so
    /// that the picture stands still in between.
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

/// Steps of the scale, %.
pub const SCALES: [u16; 6] = [75, 100, 125, 150, 175, 200];

/// The kept state. Unknown or missing fields fall back to their defaults.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct WindowState {
    /// Window size, points at 100 %.
    pub width: f32,
    pub height: f32,
    /// %.
    pub scale: u16,
    pub night: bool,
    pub span: Span,
    /// Settings slot in use: 0 = A, 1 = B.
    pub slot: usize,
    /// Settings of the other slot, as a settings file; empty = untouched.
    pub other: String,
    /// dB from the middle to the edge of the EQ sheet.
    pub eq_range_db: u8,
    /// Spectra tilted by 4.5 dB per octave, so that music looks level.
    pub tilt: bool,
    /// Name of the delivery target.
    pub target: String,
    /// The measurement follows the transport.
    pub follow: bool,
}

impl Default for WindowState {
    fn default() -> Self {
        Self {
            width: USUAL.0,
            height: USUAL.1,
            scale: 100,
            night: false,
            span: Span::default(),
            slot: 0,
            other: String::new(),
            eq_range_db: 3,
            tilt: true,
            target: String::new(),
            follow: false,
        }
    }
}

impl WindowState {
    /// Reads what was kept; nonsense becomes the default, sizes are held to what a screen shows.
    pub fn read(text: &str) -> Self {
        let mut window_state: Self = serde_json::from_str(text).unwrap_or_default();
        let held =
            |v: f32, least: f32, usual: f32| if v.is_finite() { v.clamp(least * 0.5, 8192.0) } else { usual };
        window_state.width = held(window_state.width, LEAST.0, USUAL.0);
        window_state.height = held(window_state.height, LEAST.1, USUAL.1);
        window_state.scale = window_state.scale.clamp(SCALES[0], SCALES[SCALES.len() - 1]);
        window_state.slot = window_state.slot.min(1);
        if ![3, 6, 12].contains(&window_state.eq_range_db) {
            window_state.eq_range_db = 3;
        }
        window_state
    }

    /// The text to window_state.
    pub fn text(&self) -> String {
        serde_json::to_string(self).unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_kept_reads_back_and_nonsense_does_not_hurt() {
        let window_state = WindowState {
            night: true,
            scale: 150,
            span: Span::Song,
            other: "drive = 3".to_owned(),
            ..WindowState::default()
        };
        assert_eq!(WindowState::read(&window_state.text()), window_state);
        for text in ["", "{", "900 600", "{\"width\":1e99}", "null"] {
            let read = WindowState::read(text);
            assert!(read.width <= 8192.0 && read.scale == 100, "{text}: {read:?}");
        }
        assert_eq!(WindowState::read("{\"scale\":9000,\"eq_range_db\":5,\"slot\":7}").scale, 200);
    }

    #[test]
    fn the_whole_song_grows_in_steps() {
        assert_eq!(Span::Song.seconds(0.0), 30.0);
        assert_eq!(Span::Song.seconds(29.9), 30.0);
        assert_eq!(Span::Song.seconds(30.0), 60.0);
        assert_eq!(Span::Song.seconds(3600.0), 3900.0);
    }
}

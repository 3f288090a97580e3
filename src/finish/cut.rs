//! The cut of a song: the start and end found in the music and the user's options in; frames to keep, silence
//! around them and fades out, with a note on all music that is cut off.

use super::ends::SongEnds;
use crate::meter::facts::LEAD_IN_S;
use crate::numbers::number;

/// Options for start and end. Times in seconds.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct EndsOptions {
    /// Silence (or the room's own noise) before the music, s; see [`LEAD_IN_S`].
    pub lead_in: f64,
    /// Silence (or the room's own noise) after the ring-out, s.
    pub tail: f64,
    /// Start of the result, from the start of the file, s; none for the found start.
    pub start: Option<f64>,
    /// End of the result, from the start of the file, s; none for the found end.
    pub end: Option<f64>,
    /// Keep the file's start and end.
    pub no_trim: bool,
    /// Digital silence of the length of lead-in and tail around a given start and end too.
    pub pad: bool,
    /// Length of the fade at the start, s; none for a short fade within the lead-in, or no fade with
    /// `no_trim`.
    pub fade_in: Option<f64>,
    /// Length of the fade at the end, s; none for a fade over the tail, or no fade with `no_trim`.
    pub fade_out: Option<f64>,
    /// Curve of both fades.
    pub curve: FadeCurve,
}

impl Default for EndsOptions {
    fn default() -> Self {
        Self {
            lead_in: LEAD_IN_S,
            tail: 1.0,
            start: None,
            end: None,
            no_trim: false,
            pad: false,
            fade_in: None,
            fade_out: None,
            curve: FadeCurve::EqualPower,
        }
    }
}

/// The curve of a fade.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum FadeCurve {
    /// A quarter of a sine; the power falls as cos².
    #[default]
    EqualPower,
    /// A straight line of amplitude.
    Linear,
}

impl FadeCurve {
    /// Gain at `x` of the way from silence (0) to full level (1).
    pub fn gain(self, x: f64) -> f64 {
        match self {
            Self::EqualPower => (x * std::f64::consts::FRAC_PI_2).sin(),
            Self::Linear => x,
        }
    }
}

/// Length of the fade within a lead-in, so that room noise does not begin abruptly, s.
const LEAD_IN_FADE_S: f64 = 0.05;
/// Length of the fade where the end cuts into sound, against a click, s.
const CUT_FADE_S: f64 = 0.01;

/// Which frames of a file are kept, at the file's own rate.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct CutPlan {
    /// Frames of silence put before.
    pub silence_before: u64,
    /// First frame kept.
    pub from: u64,
    /// First frame no longer kept.
    pub to: u64,
    /// Frames of silence put behind.
    pub silence_after: u64,
    /// Frames of the fade at the start of the result.
    pub fade_in: u64,
    /// Frames of the fade at its end.
    pub fade_out: u64,
    /// Curve of both fades.
    pub curve: FadeCurve,
    /// Warnings for the user, as parts of sentences.
    pub notes: Vec<String>,
}

impl CutPlan {
    /// Keeps the whole file, without fades.
    pub fn whole(frames: u64) -> Self {
        Self {
            silence_before: 0,
            from: 0,
            to: frames,
            silence_after: 0,
            fade_in: 0,
            fade_out: 0,
            curve: FadeCurve::default(),
            notes: Vec::new(),
        }
    }

    /// Plans the cut. The result keeps at least one frame of the file.
    pub fn plan(ends: &SongEnds, options: &EndsOptions) -> Self {
        let rate = f64::from(ends.rate);
        let frames = |seconds: f64| (seconds.max(0.0) * rate).round() as u64;
        let mut cut = Self { curve: options.curve, ..Self::whole(ends.frames) };

        if let Some(start) = options.start {
            cut.from = frames(start).min(ends.frames - 1);
            cut.silence_before = if options.pad { frames(options.lead_in) } else { 0 };
            if cut.from > ends.start {
                let lost = (cut.from - ends.start) as f64 / rate;
                cut.notes.push(format!(
                    "the given start cuts {lost:.2} s of music: it begins at {:.2} s",
                    ends.start as f64 / rate
                ));
            }
        } else if !options.no_trim {
            let lead = frames(options.lead_in);
            cut.from = ends.start.saturating_sub(lead);
            cut.silence_before = lead.saturating_sub(ends.start);
            if let Some(level) = ends.cut_off_start {
                cut.notes.push(format!(
                    "the file begins within sound ({}): check that the bounce did not start too late",
                    dbfs(level)
                ));
            }
        }

        if let Some(end) = options.end {
            cut.to = frames(end).clamp(cut.from + 1, ends.frames);
            cut.silence_after = if options.pad { frames(options.tail) } else { 0 };
            if cut.to < ends.end {
                let lost = (ends.end - cut.to) as f64 / rate;
                cut.notes.push(format!(
                    "the given end cuts {lost:.2} s of music: it rings until {:.2} s",
                    ends.end as f64 / rate
                ));
            }
        } else if !options.no_trim {
            let wanted = ends.end + frames(options.tail);
            cut.to = wanted.min(ends.frames).max(cut.from + 1);
            cut.silence_after = wanted.saturating_sub(ends.frames);
            if let Some(level) = ends.cut_off_end {
                cut.notes.push(format!(
                    "the file ends within sound ({}): bounce it again with a longer end",
                    dbfs(level)
                ));
            }
        }

        let length = cut.length();
        let default_fade_in = match options.no_trim || ends.cut_off_start.is_some() {
            true => 0.0,
            false => LEAD_IN_FADE_S.min(options.lead_in),
        };
        let default_fade_out = match (options.no_trim && options.end.is_none(), ends.cut_off_end, options.end)
        {
            (true, ..) => 0.0,
            (_, _, Some(end)) if frames(end) < ends.end => CUT_FADE_S,
            (_, Some(_), _) => 0.0,
            _ => options.tail,
        };
        cut.fade_in = frames(options.fade_in.unwrap_or(default_fade_in)).min(length);
        cut.fade_out = frames(options.fade_out.unwrap_or(default_fade_out)).min(length);
        cut
    }

    /// Frames of the result, at the file's own rate.
    pub fn length(&self) -> u64 {
        self.silence_before + (self.to - self.from) + self.silence_after
    }

    /// The cut with its fades at another rate; `convert` converts a number of frames.
    #[must_use]
    pub fn fades_at(&self, convert: impl Fn(u64) -> u64) -> Self {
        Self { fade_in: convert(self.fade_in), fade_out: convert(self.fade_out), ..self.clone() }
    }

    /// Gain of the fades at frame `at` of a result of `length` frames.
    #[inline]
    pub fn gain(&self, at: u64, length: u64) -> f64 {
        let mut gain = 1.0;
        if at < self.fade_in {
            gain *= self.curve.gain(at as f64 / self.fade_in as f64);
        }
        let left = length - 1 - at;
        if left < self.fade_out {
            gain *= self.curve.gain(left as f64 / self.fade_out as f64);
        }
        gain
    }
}

/// A level with its unit.
fn dbfs(level: f64) -> String {
    format!("{} dBFS", number(level, 1))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ends() -> SongEnds {
        SongEnds {
            rate: 1000,
            frames: 10_000,
            start: 2_000,
            end: 8_000,
            floor_before: Some(-80.0),
            floor_after: Some(-80.0),
            cut_off_end: None,
            cut_off_start: None,
        }
    }

    #[test]
    fn the_lead_in_and_the_tail_are_as_asked() {
        let cut = CutPlan::plan(&ends(), &EndsOptions::default());
        assert_eq!((cut.from, cut.to, cut.silence_before, cut.silence_after), (1_200, 9_000, 0, 0));
        assert!(cut.notes.is_empty());
        // More than the file has: silence fills up.
        let cut = CutPlan::plan(&ends(), &EndsOptions { lead_in: 3.0, tail: 2.5, ..EndsOptions::default() });
        assert_eq!((cut.from, cut.to, cut.silence_before, cut.silence_after), (0, 10_000, 1_000, 500));
        assert_eq!(cut.length(), 11_500);
    }

    #[test]
    fn cutting_into_music_gives_a_note() {
        let cut = CutPlan::plan(
            &ends(),
            &EndsOptions { start: Some(2.5), end: Some(7.0), ..EndsOptions::default() },
        );
        assert_eq!((cut.from, cut.to), (2_500, 7_000));
        assert_eq!(cut.notes.len(), 2, "{:?}", cut.notes);
        assert!(cut.notes[0].contains("0.50 s") && cut.notes[1].contains("1.00 s"));
    }

    #[test]
    fn fades_reach_both_silence_and_full_level() {
        let options = EndsOptions { fade_in: Some(1.0), fade_out: Some(2.0), ..EndsOptions::default() };
        for curve in [FadeCurve::EqualPower, FadeCurve::Linear] {
            let cut = CutPlan::plan(&ends(), &EndsOptions { curve, ..options });
            let n = cut.length();
            assert_eq!(cut.gain(0, n), 0.0);
            assert_eq!(cut.gain(n - 1, n), 0.0);
            assert_eq!(cut.gain(n / 2, n), 1.0);
            let half = if curve == FadeCurve::Linear { 0.5 } else { std::f64::consts::FRAC_1_SQRT_2 };
            assert!((cut.gain(500, n) - half).abs() < 1e-12);
        }
    }

    #[test]
    fn no_trim_keeps_everything() {
        let cut = CutPlan::plan(&ends(), &EndsOptions { no_trim: true, ..EndsOptions::default() });
        assert_eq!(cut, CutPlan::whole(10_000));
    }
}

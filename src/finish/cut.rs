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
    /// Length of the fade at the start, s; none for a short fade within the lead-in or where the cut lies in sound,
    /// or no fade with `no_trim`.
    pub fade_in: Option<f64>,
    /// Length of the fade at the end, s; none for a fade over the tail or where the cut lies in sound, or no fade
    /// with `no_trim`.
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
/// Length of a fade where a cut lies within sound, against a click, s (common practice, no source).
const CUT_FADE_S: f64 = 0.01;
/// The same where the file begins with an attack, which a longer fade would blunt, s.
const ATTACK_FADE_S: f64 = 0.001;

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
    /// Frames of the fade at the start of the file's part, behind the silence.
    pub fade_in: u64,
    /// Frames of the fade at its end, before the silence.
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

        if ends.steady_before && cut.from > 0 && options.start.is_none() && !options.no_trim {
            let (noise, level) = (ends.start as f64 / rate, dbfs(ends.floor_before.unwrap_or(0.0)));
            cut.notes.push(format!(
                "the steady sound of {level} in the first {noise:.2} s was taken for noise; if it belongs to the music, \
                 keep it with --start 0"
            ));
        }
        if ends.steady_after && cut.to < ends.frames && options.end.is_none() && !options.no_trim {
            let (noise, level) =
                ((ends.frames - ends.end) as f64 / rate, dbfs(ends.floor_after.unwrap_or(0.0)));
            let whole = ends.frames as f64 / rate;
            cut.notes.push(format!(
                "the steady sound of {level} in the last {noise:.2} s was taken for noise; if it belongs to the music, \
                 keep it with --end {whole:.2}"
            ));
        }

        // Never a hard edge: a fade in the noise before and after the music, or a short one where a cut lies
        // within sound. Without trimming the file's own edges stay.
        let kept = cut.to - cut.from;
        let short = |within: u64| within.min(frames(LEAD_IN_FADE_S));
        let default_fade_in = match ends.start.saturating_sub(cut.from) {
            _ if options.no_trim => 0,
            0 if cut.from == 0 && ends.attack_at_start => frames(ATTACK_FADE_S),
            0 => frames(CUT_FADE_S),
            before => short(before),
        };
        let default_fade_out = match cut.to.saturating_sub(ends.end) {
            _ if options.no_trim && options.end.is_none() => 0,
            0 => frames(CUT_FADE_S),
            after => after.min(frames(options.tail).max(frames(CUT_FADE_S))),
        };
        cut.fade_in = options.fade_in.map_or(default_fade_in, frames).min(kept);
        cut.fade_out = options.fade_out.map_or(default_fade_out, frames).min(kept);
        cut
    }

    /// Frames of the result, at the file's own rate.
    pub fn length(&self) -> u64 {
        self.silence_before + (self.to - self.from) + self.silence_after
    }

    /// The cut with its silence and its fades at another rate; `convert` converts a number of frames.
    #[must_use]
    pub fn fades_at(&self, convert: impl Fn(u64) -> u64) -> Self {
        Self {
            silence_before: convert(self.silence_before),
            silence_after: convert(self.silence_after),
            fade_in: convert(self.fade_in),
            fade_out: convert(self.fade_out),
            ..self.clone()
        }
    }

    /// Whether a fade or the silence beside one changes frames `at..at + n` of a result of `length` frames.
    pub fn fades(&self, at: u64, n: u64, length: u64) -> bool {
        let starts = self.fade_in > 0 && at < self.silence_before + self.fade_in;
        starts || (self.fade_out > 0 && length - (at + n) < self.silence_after + self.fade_out)
    }

    /// Gain of the fades at frame `at` of a result of `length` frames; 0 in the silence beside a fade.
    #[inline]
    pub fn gain(&self, at: u64, length: u64) -> f64 {
        let mut gain = 1.0;
        if self.fade_in > 0 && at < self.silence_before + self.fade_in {
            let within = at.saturating_sub(self.silence_before);
            gain *= self.curve.gain(within as f64 / self.fade_in as f64);
        }
        let left = length - 1 - at;
        if self.fade_out > 0 && left < self.silence_after + self.fade_out {
            let within = left.saturating_sub(self.silence_after);
            gain *= self.curve.gain(within as f64 / self.fade_out as f64);
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
            attack_at_start: false,
            steady_before: false,
            steady_after: false,
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

    /// Where the file begins or ends in sound, silence is put around it, and the fade lies at the sound.
    #[test]
    fn a_fade_lies_at_the_edge_of_the_sound() {
        let cut_off = SongEnds {
            start: 0,
            end: 10_000,
            cut_off_start: Some(-20.0),
            cut_off_end: Some(-20.0),
            ..ends()
        };
        let cut = CutPlan::plan(&cut_off, &EndsOptions::default());
        let n = cut.length();
        assert_eq!((cut.silence_before, cut.silence_after, n), (800, 1_000, 11_800));
        assert_eq!((cut.fade_in, cut.fade_out), (10, 10));
        assert_eq!((cut.gain(800, n), cut.gain(810, n)), (0.0, 1.0));
        assert!((cut.gain(805, n) - std::f64::consts::FRAC_1_SQRT_2).abs() < 1e-12);
        assert_eq!((cut.gain(10_799, n), cut.gain(10_789, n)), (0.0, 1.0));
        assert!(cut.fades(700, 50, n) && !cut.fades(900, 100, n) && cut.fades(10_700, 95, n));
        // An attack keeps its edge.
        let attack = CutPlan::plan(&SongEnds { attack_at_start: true, ..cut_off }, &EndsOptions::default());
        assert_eq!(attack.fade_in, 1);
        // A fade in the noise ends before the music.
        let near = CutPlan::plan(&SongEnds { start: 20, ..ends() }, &EndsOptions::default());
        assert_eq!((near.silence_before, near.fade_in), (780, 20));
    }

    #[test]
    fn no_trim_keeps_everything() {
        let cut = CutPlan::plan(&ends(), &EndsOptions { no_trim: true, ..EndsOptions::default() });
        assert_eq!(cut, CutPlan::whole(10_000));
    }
}

//! The grade of a master against its mix: both files in; how audible the difference is at equal loudness
//! out, in sections of the song.
//!
//! The mix is read as the chain got it (the same cut, fades and rate), so that the two are aligned to the
//! sample. The master is brought to the loudness of the mix by one gain for the whole song, the difference
//! of their integrated loudness. Sections of about 20 s are graded one by one, because the measure was made
//! for excerpts of 10 to 25 s (ITU-R BS.1116, from memory), and so that a long song needs no more memory
//! than a short one.

use super::cut::CutPlan;
use super::error::{Error, Fault, Result};
use super::parallel::in_parallel;
use super::planes::BLOCK_FRAMES;
use super::progress::ProgressWatcher;
use super::reader::Reader;
use super::song_reader::SongReader;
use crate::dsp::db;
use crate::grade::grade;
use std::path::Path;

/// Length of a section, s; those of a song are equally long, so up to a half shorter or longer.
const SECTION_S: f64 = 20.0;
/// Most sections that are graded (10 minutes); of a longer song they are spread evenly.
const MAX_SECTIONS: usize = 30;
/// Most sections in memory at once, each on a thread of its own.
const MAX_AT_ONCE: usize = 4;

/// A section of the song and its grade.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct GradedSection {
    /// Start in the master, s.
    pub start_s: f64,
    /// Length, s.
    pub length_s: f64,
    /// Objective difference grade; see [`crate::grade`].
    pub odg: f64,
}

/// The grade of a master against its mix at equal loudness.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct MasterGrade {
    /// How much louder the master is than the mix, LU; the comparison takes this away from it.
    pub louder_lu: f64,
    /// The graded sections in their order. Those with less than a second of sound have no grade.
    pub sections: Vec<GradedSection>,
    /// Seconds of the song that are in graded sections.
    pub graded_s: f64,
    /// Length of the song, s.
    pub song_s: f64,
}

impl MasterGrade {
    /// Mean grade of the sections; none if no section has sound.
    pub fn odg(&self) -> Option<f64> {
        let sum: f64 = self.sections.iter().map(|section| section.odg).sum();
        (!self.sections.is_empty()).then(|| sum / self.sections.len() as f64)
    }

    /// The section with the lowest grade.
    pub fn worst(&self) -> Option<&GradedSection> {
        self.sections.iter().min_by(|a, b| a.odg.total_cmp(&b.odg))
    }
}

/// A mix as the chain got it, and its master.
#[derive(Clone, Copy)]
pub(super) struct GradePair<'a> {
    pub mix: &'a Path,
    pub cut: &'a CutPlan,
    pub master: &'a Path,
    /// How much louder the master is, LU.
    pub louder_lu: f64,
    /// Sections graded at once.
    pub threads: usize,
}

/// One section of both, for the grade.
struct Section {
    start: u64,
    mix: Vec<Vec<f32>>,
    master: Vec<Vec<f32>>,
}

/// Grades a master.
///
/// # Errors
/// If a file cannot be read or `watch` stops the work.
pub(super) fn grade_master(pair: GradePair, watch: &dyn ProgressWatcher) -> Result<MasterGrade> {
    let mut master = Reader::open(pair.master)?;
    let format = *master.format();
    let mut mix = SongReader::open(pair.mix, pair.cut, format.rate)?;
    let (rate, native) = (u64::from(format.rate), u64::from(mix.native_rate()));
    let fades = pair.cut.fades_at(|frames| frames * rate / native);
    let frames = format.frames.min(mix.length());
    let level = db::to_gain(-pair.louder_lu);

    let song_s = frames as f64 / f64::from(format.rate);
    let count = ((song_s / SECTION_S).round() as u64).max(1);
    let border = |i: u64| (u128::from(frames) * u128::from(i) / u128::from(count)) as u64;
    let mut sections = Vec::new();
    let mut graded_s = 0.0;
    let mut waiting: Vec<Section> = Vec::new();
    let threads = pair.threads.clamp(1, MAX_AT_ONCE);
    for i in 0..count {
        let (start, end) = (border(i), border(i + 1));
        let keep = is_graded(i, count);
        let channels = usize::from(format.channels);
        let mut section =
            Section { start, mix: vec![Vec::new(); channels], master: vec![Vec::new(); channels] };
        let mut at = start;
        let mut blocks = [(); 4].map(|()| vec![0.0_f64; BLOCK_FRAMES]);
        while at < end {
            if watch.stopped() {
                return Err(Error::new(pair.master, Fault::Stopped));
            }
            let want = BLOCK_FRAMES.min((end - at) as usize);
            let [mix_left, mix_right, left, right] = &mut blocks;
            let n = fill(want, |from| mix.read(&mut mix_left[from..want], &mut mix_right[from..want]))?;
            let m = fill(want, |from| master.read(&mut left[from..want], &mut right[from..want]))?;
            if n.min(m) < want {
                // The lengths were those of the headers, and both files were read to their ends before.
                return Err(Error::new(pair.master, Fault::Truncated { declared: frames, present: at }));
            }
            if keep {
                for (out, x) in section.mix.iter_mut().zip([&*mix_left, &*mix_right]) {
                    let faded = x[..n].iter().enumerate().map(|(k, x)| x * fades.gain(at + k as u64, frames));
                    out.extend(faded.map(|x| x as f32));
                }
                for (out, x) in section.master.iter_mut().zip([&*left, &*right]) {
                    out.extend(x[..n].iter().map(|x| (x * level) as f32));
                }
            }
            at += n as u64;
            watch.done(n as u64);
        }
        if keep {
            graded_s += (end - start) as f64 / f64::from(format.rate);
            waiting.push(section);
        }
        if waiting.len() == threads || i + 1 == count {
            let grades = in_parallel(threads, &waiting, |section| Ok(graded(section, format.rate)))?;
            sections.extend(grades.into_iter().flatten());
            waiting.clear();
        }
    }
    Ok(MasterGrade { louder_lu: pair.louder_lu, sections, graded_s, song_s })
}

/// Whether section `i` of `count` is graded: all of them, or [`MAX_SECTIONS`] spread evenly.
fn is_graded(i: u64, count: u64) -> bool {
    let most = MAX_SECTIONS as u64;
    count <= most || (i + 1) * most / count > i * most / count
}

/// Reads until `want` frames are there or the file ends; `read` gets how many there are already.
fn fill(want: usize, mut read: impl FnMut(usize) -> Result<usize>) -> Result<usize> {
    let mut done = 0;
    while done < want {
        match read(done)? {
            0 => break,
            n => done += n,
        }
    }
    Ok(done)
}

/// The grade of a section; none where there is less than a second of sound.
fn graded(section: &Section, rate: u32) -> Option<GradedSection> {
    let odg = grade(&section.mix, &section.master, rate).ok()?.odg;
    let seconds = |frames: f64| frames / f64::from(rate);
    let length_s = seconds(section.mix[0].len() as f64);
    Some(GradedSection { start_s: seconds(section.start as f64), length_s, odg })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_song_is_graded_in_parts_spread_evenly() {
        for count in [1, 29, 30, 31, 45, 360, 1000] {
            let graded: Vec<u64> = (0..count).filter(|&i| is_graded(i, count)).collect();
            assert_eq!(graded.len() as u64, count.min(MAX_SECTIONS as u64), "{count}");
            let gaps = graded.windows(2).map(|pair| pair[1] - pair[0]);
            let (least, most) = gaps.fold((u64::MAX, 0), |(a, b), gap| (a.min(gap), b.max(gap)));
            assert!(graded.len() < 2 || most - least <= 1, "{count}: {least} to {most}");
        }
    }
}

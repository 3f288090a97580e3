//! The files beside the masters of a release: a finished set of masters in; cue sheets, one long file with all
//! gaps, and a list of checksums out.
//!
//! Cue sheets after the commonly used text form (no standard; from memory): one `TRACK` for each song with
//! `TITLE`, `PERFORMER`, `ISRC` and `INDEX`, times as minutes, seconds and frames of 1/75 s. The list of checksums has the form
//! that the tools of POSIX systems read: hash, two spaces, name.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use super::error::{Error, Fault, Result};
use super::format::{OutputSpec, Overwrite};
use super::hash::sha256_hex;
use super::master::Master;
use super::output_path::write_whole;
use super::planes::for_each_block;
use super::progress::ProgressWatcher;
use super::release_job::{DeliveryFiles, ReleaseJob};
use super::release_result::ReleaseSet;
use super::reread::reread;
use super::tags::{Marker, TagField};
use super::writer::Writer;

/// Frames of a cue sheet in a second.
const CUE_FRAMES: u64 = 75;

/// Writes all of them and gives their paths; `written` hears of each before the next one is begun.
pub(super) fn write_extras(
    job: &ReleaseJob,
    set: &ReleaseSet,
    files: &DeliveryFiles,
    overwrite: Overwrite,
    watch: &dyn ProgressWatcher,
    written: &mut dyn FnMut(&Path),
) -> Result<Vec<PathBuf>> {
    let mut sums: Vec<(&Path, String)> =
        set.songs.iter().map(|song| (song.output.as_path(), song.output_hash.clone())).collect();
    let mut extras = vec![files.cue.clone()];
    write_whole(&files.cue, cue_of_files(job, set).as_bytes(), overwrite)?;
    written(&files.cue);
    if let Some([sound, cue]) = &files.whole {
        write_one_file(job, set, sound, overwrite, watch)?;
        written(sound);
        write_whole(cue, cue_of_one_file(job, set, sound).as_bytes(), overwrite)?;
        written(cue);
        extras.extend([sound.clone(), cue.clone()]);
    }
    for path in &extras {
        sums.push((path, sha256_hex(path)?));
    }
    let list =
        sums.iter().fold(String::new(), |list, (path, hash)| list + hash + "  " + &name_of(path) + "\n");
    write_whole(&files.sums, list.as_bytes(), overwrite)?;
    written(&files.sums);
    extras.push(files.sums.clone());
    Ok(extras)
}

/// The masters one after the other as one file: their samples, not dithered again, with a marker at each start.
fn write_one_file(
    job: &ReleaseJob,
    set: &ReleaseSet,
    path: &Path,
    overwrite: Overwrite,
    watch: &dyn ProgressWatcher,
) -> Result<()> {
    let first = &set.songs[0];
    let channels = set.songs.iter().map(|song| song.spec.channels).max().unwrap_or(2);
    let spec = &first.spec;
    let mut tags = job.tags.clone().with(TagField::Title, job.tags.get(TagField::Album));
    if let Some(artist) = job.tags.get(TagField::AlbumArtist) {
        tags.set(TagField::Artist, artist);
    }
    tags.markers = starts(set).map(|(frame, song)| Marker { frame, name: song.title() }).collect();
    let spec = OutputSpec { tags, ..OutputSpec::new(spec.layout, spec.encoding, spec.rate, channels) };
    let masters: Vec<&Path> = set.songs.iter().map(|song| song.output.as_path()).collect();
    let frames: u64 = set.songs.iter().map(|song| song.measured.frames).sum();
    watch.part("one file", 2 * frames);
    let mut writer = Writer::create(path, spec, overwrite, &masters)?.without_dither();
    for master in masters {
        let mut result = Ok(());
        for_each_block(master, watch, |left, right| {
            if result.is_ok() {
                result = writer.write(left, right);
            }
        })?;
        result?;
    }
    let done = writer.finish(None)?;
    let again = reread(path, first.measured.mono_as.unwrap_or_default(), watch);
    let checked = again.and_then(|again| {
        let same = again.frames == frames && again.digest == done.digest;
        let what = || "its samples differ from those of the masters".to_owned();
        if same { Ok(()) } else { Err(Error::new(path, Fault::VerificationFailed(what()))) }
    });
    checked.inspect_err(|_| drop(std::fs::remove_file(path)))
}

/// The first frame of each song in the one long file.
fn starts(set: &ReleaseSet) -> impl Iterator<Item = (u64, &Master)> {
    set.songs.iter().scan(0, |at, song| {
        let start = *at;
        *at += song.measured.frames;
        Some((start, song))
    })
}

/// The cue sheet of the separate files. They follow each other without a pause: the gaps are in them.
fn cue_of_files(job: &ReleaseJob, set: &ReleaseSet) -> String {
    let mut cue = cue_head(job);
    let gaps = set.gap_frames();
    for (i, song) in set.songs.iter().enumerate() {
        let _ = writeln!(cue, "FILE \"{}\" WAVE", quoted(&name_of(&song.output)));
        track(&mut cue, i, song);
        let _ = writeln!(cue, "    INDEX 01 00:00:00");
        gap_remark(&mut cue, gaps.get(i), song);
    }
    cue
}

/// The cue sheet of the one long file: INDEX 00 where a song has rung out, INDEX 01 where the file of the next one
/// begins.
fn cue_of_one_file(job: &ReleaseJob, set: &ReleaseSet, path: &Path) -> String {
    let mut cue = cue_head(job);
    let _ = writeln!(cue, "REM times are rounded to 1/75 s");
    let _ = writeln!(cue, "FILE \"{}\" WAVE", quoted(&name_of(path)));
    let gaps = set.gap_frames();
    let mut rung_out = None;
    for (i, (start, song)) in starts(set).enumerate() {
        track(&mut cue, i, song);
        let rate = u64::from(song.spec.rate);
        if let Some(at) = rung_out.filter(|at| *at < start) {
            let _ = writeln!(cue, "    INDEX 00 {}", cue_time(at, rate));
        }
        let _ = writeln!(cue, "    INDEX 01 {}", cue_time(start, rate));
        gap_remark(&mut cue, gaps.get(i), song);
        rung_out = Some(start + song.music().end);
    }
    cue
}

fn cue_head(job: &ReleaseJob) -> String {
    let tags = &job.tags;
    let mut cue = String::new();
    let lines = [
        ("REM DATE", tags.get(TagField::Date)),
        ("REM COMMENT", Some(concat!("Lintel ", env!("CARGO_PKG_VERSION")))),
        ("PERFORMER", tags.get(TagField::AlbumArtist)),
        ("TITLE", tags.get(TagField::Album)),
    ];
    for (word, text) in lines.into_iter().filter_map(|(word, text)| Some((word, text?))) {
        let _ = writeln!(cue, "{word} \"{}\"", quoted(text));
    }
    if let Some(upc) = tags.get(TagField::Upc) {
        // A UPC is an EAN with a 0 in front.
        let _ = writeln!(cue, "CATALOG {upc:0>13}");
    }
    cue
}

fn track(cue: &mut String, i: usize, song: &Master) {
    let tags = &song.spec.tags;
    let _ = writeln!(cue, "  TRACK {:02} AUDIO", i + 1);
    let _ = writeln!(cue, "    TITLE \"{}\"", quoted(&song.title()));
    if let Some(artist) = tags.get(TagField::Artist) {
        let _ = writeln!(cue, "    PERFORMER \"{}\"", quoted(artist));
    }
    if let Some(isrc) = tags.get(TagField::Isrc) {
        let _ = writeln!(cue, "    ISRC {isrc}");
    }
}

/// The gap that a cue sheet's own times are too coarse for.
fn gap_remark(cue: &mut String, gap: Option<&u64>, song: &Master) {
    if let Some(frames) = gap {
        let seconds = *frames as f64 / f64::from(song.spec.rate);
        let _ = writeln!(cue, "    REM GAP AFTER {seconds:.6} s, {frames} samples");
    }
}

/// Minutes, seconds and frames of 1/75 s.
fn cue_time(frame: u64, rate: u64) -> String {
    let all = (frame * CUE_FRAMES + rate / 2) / rate;
    format!("{:02}:{:02}:{:02}", all / CUE_FRAMES / 60, all / CUE_FRAMES % 60, all % CUE_FRAMES)
}

/// Text that stands in quotes: a cue sheet knows no way to write a quote there.
fn quoted(text: &str) -> String {
    text.replace('"', "'").replace(char::is_control, " ")
}

fn name_of(path: &Path) -> String {
    path.file_name().unwrap_or_default().to_string_lossy().into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cue_times_are_frames_of_a_75th() {
        assert_eq!(cue_time(0, 44_100), "00:00:00");
        assert_eq!(cue_time(44_100 * 61 + 588 * 7, 44_100), "01:01:07");
        // Rounded: 0.4 and 0.6 of a frame.
        assert_eq!((cue_time(256, 48_000), cue_time(384, 48_000)), ("00:00:00".into(), "00:00:01".into()));
    }
}

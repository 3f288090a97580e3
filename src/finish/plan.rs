//! The plan of a release: a table `[release]`, a table `[[song]]` for each song and a table
//! `[[delivery]]` for each set of files in, a [`ReleaseJob`] out; and a first plan of given songs as text.
//!
//! Every fault is one line with the plan's path, the table and the key. Paths count from the plan's folder.

use std::path::{Path, PathBuf};

use super::delivery::{Delivery, DeliveryTable};
use super::error::Result;
use super::job::MasterJob;
use super::metadata::read_metadata;
use super::options::{SettingsChoice, parse_target, target_of_job};
use super::plan_tables::{NumberOrWord, Plan, SongTable};
use super::reader::Reader;
use super::release_job::{ReleaseJob, ReleaseSong};
use super::release_result::Balance;
use super::song_list::bare_names;
use super::tags::{TagField, Tags, isrc, upc};
use crate::numbers::number;

/// Silence between two songs where none is asked for, s (common practice, no source).
pub const DEFAULT_GAP_S: f64 = 2.0;
/// Longest gap, s.
const MAX_GAP_S: f64 = 600.0;
/// Largest offset of a song, LU.
const MAX_OFFSET_LU: f64 = 24.0;

/// Reads a plan. `each` holds what no plan says: threads, overwriting and what mono is measured as. The folder of
/// the masters is left open.
///
/// # Errors
/// One line that names the plan, the table and the fault.
pub fn read_plan(path: &Path, each: &MasterJob) -> std::result::Result<ReleaseJob, String> {
    let plan = Plan::read(path)?;
    let mut each = each.clone();
    each.protected.push(path.to_owned());
    let folder = path.parent().unwrap_or(Path::new(""));
    job_of(plan, folder, &each).map_err(|err| format!("{}: {err}", path.display()))
}

/// The job of a plan whose paths count from `folder`. `each` holds what no plan says: threads, overwriting and what
/// mono is measured as. The folder of the masters is left open.
///
/// # Errors
/// One line that names the table and the fault.
pub fn job_of(plan: Plan, folder: &Path, each: &MasterJob) -> std::result::Result<ReleaseJob, String> {
    let Plan { release, song, delivery } = plan;
    if song.is_empty() {
        return Err("no [[song]]: write one for each song, with its file".into());
    }
    let in_release = |err: String| format!("release: {err}");
    let upc = release.upc.as_ref().map(|code| upc(&code.text())).transpose().map_err(in_release)?;
    let tags = Tags::default()
        .with(TagField::Album, release.title.as_deref())
        .with(TagField::AlbumArtist, release.artist.as_deref())
        .with(TagField::Upc, upc)
        .with(TagField::Date, release.year.as_ref().map(NumberOrWord::text));
    let mut each = each.clone();
    each.force = release.force.unwrap_or(false);
    each.rate = release.rate;
    if let Some(rate) = release.rate.filter(|rate| !(8_000..=384_000).contains(rate)) {
        return Err(in_release(format!("rate {rate}: must be between 8000 and 384000 Hz")));
    }
    let bits = release.bits.as_ref().map_or_else(|| "24".to_owned(), NumberOrWord::text);
    let format =
        Delivery::of_format(release.format.as_deref().unwrap_or("wav"), &bits).map_err(in_release)?;
    (each.layout, each.encoding) = (format.layout, format.encoding);
    let asked = release.target.as_ref().map(|target| parse_target(&target.text()));
    let asked = asked.transpose().map_err(|err| in_release(err.trim_start_matches("--").to_owned()))?;
    each.match_target = asked.is_some();
    let gap = seconds("gap", release.gap, MAX_GAP_S).map_err(in_release)?;
    let balance = match release.balance.as_deref() {
        None | Some("keep") => Balance::Keep,
        Some("level") => Balance::Level,
        Some(other) => return Err(in_release(format!("balance \"{other}\": use keep or level"))),
    };
    let base = release.choice(folder);
    each.settings = base.settings().map_err(in_release)?;
    let mut songs = Vec::new();
    for (i, table) in song.into_iter().enumerate() {
        let named = |err: String| format!("song {} ({}): {err}", i + 1, table.file.display());
        songs.push(song_of(&table, folder, &each, &base).map_err(named)?);
    }
    for song in &mut songs {
        song.job.target = target_of_job(asked, &song.job.settings);
    }
    let number = |(i, table): (usize, DeliveryTable)| {
        Delivery::try_from(table).map_err(|err| format!("delivery {}: {err}", i + 1))
    };
    Ok(ReleaseJob {
        songs,
        folder: PathBuf::new(),
        tags,
        deliveries: delivery.into_iter().enumerate().map(number).collect::<std::result::Result<_, _>>()?,
        balance,
        gap: gap.unwrap_or(DEFAULT_GAP_S),
        one_file: release.one_file.unwrap_or(false),
        report: true,
    })
}

fn song_of(
    table: &SongTable,
    folder: &Path,
    each: &MasterJob,
    base: &SettingsChoice,
) -> std::result::Result<ReleaseSong, String> {
    let mut job = each.clone();
    job.input = folder.join(&table.file);
    let code = table.isrc.as_deref().map(isrc).transpose()?;
    job.tags = std::mem::take(&mut job.tags)
        .with(TagField::Title, table.title.as_deref())
        .with(TagField::Artist, table.artist.as_deref())
        .with(TagField::Isrc, code);
    let day = 86_400.0;
    job.ends.start = seconds("start", table.start, day)?;
    job.ends.end = seconds("end", table.end, day)?;
    job.ends.fade_in = seconds("fade_in", table.fade_in, day)?;
    job.ends.fade_out = seconds("fade_out", table.fade_out, day)?;
    if let (Some(start), Some(end)) = (table.start, table.end)
        && start >= end
    {
        return Err(format!("it is to start at {start} s and to end at {end} s; end later"));
    }
    let offset = table.offset.unwrap_or(0.0);
    if !(-MAX_OFFSET_LU..=MAX_OFFSET_LU).contains(&offset) {
        let most = number(MAX_OFFSET_LU, 0);
        return Err(format!("offset {offset}: must be between \u{2212}{most} and {most} LU"));
    }
    let own = table.has_own_base() || !table.set.is_empty();
    if own {
        let choice = table.choice(base, folder);
        job.settings = choice.settings()?;
        job.protected.extend(choice.file);
    }
    if table.as_it_is && (own || table.offset.is_some()) {
        return Err(
            "as_it_is leaves the song as it is; leave out its preset, settings, set and offset".into()
        );
    }
    if table.as_it_is && (table.start.or(table.end).or(table.fade_in).or(table.fade_out)).is_some() {
        return Err("as_it_is leaves the song as it is; leave out its start, end and fades".into());
    }
    let gap_after = seconds("gap_after", table.gap_after, MAX_GAP_S)?;
    Ok(ReleaseSong { job, offset, as_it_is: table.as_it_is, gap_after })
}

fn seconds(what: &str, value: Option<f64>, most: f64) -> std::result::Result<Option<f64>, String> {
    match value {
        Some(x) if !(0.0..=most).contains(&x) => Err(format!("{what} {x}: must be between 0 and {most} s")),
        value => Ok(value),
    }
}

/// A first plan of the songs, to be edited: all that a plan can say, what is not known yet as a comment. `folder`
/// is that of the plan.
///
/// # Errors
/// If a song cannot be read.
pub fn first_plan(songs: &[PathBuf], folder: &Path, target: Option<&str>) -> Result<String> {
    let quoted = |text: &str| toml::Value::String(text.to_owned()).to_string();
    let paths: Vec<&Path> = songs.iter().map(PathBuf::as_path).collect();
    let target = target.map_or_else(
        || "# target = \"streaming\"".to_owned(),
        |target| format!("target = {}", quoted(target)),
    );
    let mut plan = format!(
        "# A plan for lintel release. Lines with # in front are not set. Files count from this folder.\n\
         \n\
         [release]\n\
         # title = \"\"\n\
         # artist = \"\"\n\
         # upc = \"\"            # UPC or EAN, 12 or 13 digits\n\
         # year = 2026\n\
         # Loudness of the loudest song, LUFS or a name; without it nothing is matched\n\
         {target}\n\
         balance = \"keep\"      # keep: the songs keep their balance; level: every song is matched\n\
         gap = {DEFAULT_GAP_S:?}             # seconds from ring-out to attack\n\
         one_file = false      # all songs with their gaps as one long file too\n\
         # rate = 44100        # Hz; needed where the songs have several rates\n\
         format = \"wav\"        # wav or flac\n\
         bits = 24             # 16, 24 or \"32f\"\n\
         # preset = \"gentle\"   # or settings = \"mine.toml\"; single ones: set = [\"ceiling=-1.5\"]\n"
    );
    for (path, name) in songs.iter().zip(bare_names(&paths)) {
        let container = Reader::open(path)?.format().container;
        let tags = read_metadata(path, container)?.tags;
        let file = path.strip_prefix(folder).unwrap_or(path);
        plan += &format!("\n[[song]]\nfile = {}\n", quoted(&file.to_string_lossy()));
        plan += &format!("title = {}\n", quoted(tags.get(TagField::Title).unwrap_or(&name)));
        for (key, field) in [("artist", TagField::Artist), ("isrc", TagField::Isrc)] {
            match tags.get(field).filter(|code| field != TagField::Isrc || isrc(code).is_ok()) {
                Some(text) => plan += &format!("{key} = {}\n", quoted(text)),
                None => plan += &format!("# {key} = \"\"\n"),
            }
        }
        plan += "# start = 0.0          # seconds of the file; also end, fade_in, fade_out\n\
                 # gap_after = 2.0\n\
                 # offset = 0.0         # LU louder than the balance asks\n\
                 # as_it_is = true      # no processing at all\n";
    }
    plan += "\n# Several sets of files, each in a folder of its own:\n\
             # [[delivery]]\n\
             # name = \"store\"\n\
             # container = \"flac\"\n\
             # bits = 16\n\
             # rate = 44100\n";
    Ok(plan)
}

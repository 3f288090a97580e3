//! `lintel release`.

use std::path::{Path, PathBuf};

use lintel::finish::delivery::parse_list;
use lintel::finish::options::{deliveries_of_file, target_of_job};
use lintel::finish::plan::{first_plan, read_plan};
use lintel::finish::release::{release, release_json};
use lintel::finish::song_list::{check_folder, default_folder, file_stem, songs_of};
use lintel::finish::{
    Balance, EndsOptions, MasterJob, Release, ReleaseJob, ReleaseSong, TagField, Tags, write_whole,
};
use lintel::numbers::clock_tenths;

use crate::finish::cores;
use crate::job_args::ReleaseArgs;
use crate::outcome::{End, Failure};
use crate::output;
use crate::progress::Progress;

pub fn run(args: &ReleaseArgs) -> Result<End, Failure> {
    if args.plan {
        return write_plan(args);
    }
    let job = match plan_of(&args.songs) {
        Some(plan) => job_of_plan(args, plan)?,
        None => job_of_songs(args)?,
    };
    let progress = Progress::new(args.file.quiet);
    let result = release(&job, &progress);
    progress.end();
    let release = result?;
    if args.file.json {
        output::print(&format!("{:#}\n", release_json(&release)));
    } else {
        output::print(&table(&release));
        if let Some(page) = &release.page {
            output::print(&format!("report   {}\n", page.display()));
        }
    }
    let missed = |set: &lintel::finish::ReleaseSet| {
        set.target < set.asked || set.songs.iter().any(|song| End::of(song) == End::BelowTarget)
    };
    let not_met =
        |set: &lintel::finish::ReleaseSet| set.songs.iter().any(|song| End::of(song) == End::NotMet);
    Ok(match &release.sets {
        sets if sets.iter().any(missed) => End::BelowTarget,
        sets if sets.iter().any(not_met) => End::NotMet,
        _ => End::Done,
    })
}

/// The plan that the command line names, if it names one instead of songs.
fn plan_of(paths: &[PathBuf]) -> Option<&Path> {
    let [path] = paths else { return None };
    path.extension().is_some_and(|extension| extension.eq_ignore_ascii_case("toml")).then_some(path)
}

/// The job that all songs share; their inputs are filled in.
fn shared_job(args: &ReleaseArgs) -> Result<MasterJob, Failure> {
    let settings = args.chain.settings()?;
    let asked = args.chain.target.target()?;
    let (layout, encoding) = args.file.format(None)?;
    Ok(MasterJob {
        input: PathBuf::new(),
        protected: args.chain.settings.iter().cloned().collect(),
        output: PathBuf::new(),
        settings,
        target: target_of_job(asked, &settings),
        match_target: asked.is_some(),
        force: args.chain.force,
        grade: false,
        encoded: args.encoded.plan_for(&args.chain, &settings)?,
        ends: EndsOptions::default(),
        layout,
        encoding,
        rate: args.file.rate,
        two_channels: args.file.two_channels(),
        mono_as: args.file.mono.mono_as(),
        tags: Tags::default().with(TagField::Artist, args.file.artist.clone()),
        untitled: None,
        overwrite: args.file.overwrite(),
        cores: cores(),
    })
}

fn job_of_songs(args: &ReleaseArgs) -> Result<ReleaseJob, Failure> {
    let each = shared_job(args)?;
    let songs = songs(args)?;
    let folder = args.output.clone().unwrap_or_else(|| default_folder(&args.songs));
    check_folder(&args.songs, &folder)?;
    let song = |input: PathBuf| ReleaseSong::of(MasterJob { input, ..each.clone() });
    let deliveries = match (&args.deliver, &args.chain.settings) {
        (Some(list), _) => parse_list(list).map_err(|err| Failure::Usage(format!("--deliver: {err}")))?,
        (None, Some(file)) => deliveries_of_file(file).map_err(Failure::Usage)?,
        (None, None) => Vec::new(),
    };
    Ok(ReleaseJob {
        songs: songs.into_iter().map(song).collect(),
        folder,
        tags: Tags::default(),
        deliveries,
        balance: if args.level { Balance::Level } else { Balance::Keep },
        gap: args.gap,
        one_file: args.one_file,
        report: !args.file.no_report,
    })
}

fn job_of_plan(args: &ReleaseArgs, plan: &Path) -> Result<ReleaseJob, Failure> {
    if let Some(option) = args.belongs_into_plan() {
        let plan = plan.display();
        return Err(Failure::Usage(format!("{option} is not for a plan: write it into {plan} instead")));
    }
    let folder = plan.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut job = read_plan(plan, &shared_job(args)?).map_err(Failure::Usage)?;
    job.folder = args.output.clone().unwrap_or_else(|| folder.join("masters"));
    job.report = !args.file.no_report;
    Ok(job)
}

fn songs(args: &ReleaseArgs) -> Result<Vec<PathBuf>, Failure> {
    let songs = songs_of(&args.songs)?;
    match songs.is_empty() {
        true => Err(Failure::Usage("no WAV, AIFF or FLAC file in that folder".into())),
        false => Ok(songs),
    }
}

/// Writes a first plan of the songs, to be edited.
fn write_plan(args: &ReleaseArgs) -> Result<End, Failure> {
    let songs = songs(args)?;
    let folder = match &args.songs[..] {
        [folder] if folder.is_dir() => folder.clone(),
        all => all[0].parent().map(Path::to_owned).unwrap_or_default(),
    };
    let path = args.output.clone().unwrap_or_else(|| folder.join("release.toml"));
    let folder = path.parent().unwrap_or(Path::new(""));
    let plan = first_plan(&songs, folder, args.chain.target.target.as_deref())?;
    write_whole(&path, plan.as_bytes(), args.file.overwrite())?;
    output::print(&format!("plan     {}\n", path.display()));
    Ok(End::Done)
}

/// The overview for the terminal.
fn table(release: &Release) -> String {
    let head = ["", "start", "length", "in, LUFS", "out, LUFS", "true peak, dBTP", "drive, dB", "song"];
    let mut text = String::new();
    for set in &release.sets {
        if release.sets.len() > 1 {
            text += &format!("{}\n", set.label);
        }
        let mut rows = vec![head.map(String::from).to_vec()];
        for (i, (start, length, song)) in set.running_order().enumerate() {
            let mut row = vec![(i + 1).to_string(), clock_tenths(start), clock_tenths(length)];
            row.extend(Release::figures_of(song));
            row.push(file_stem(&song.input));
            rows.push(row);
        }
        text += &output::plain_table(rows, 0..7);
    }
    for song in release.sets.iter().flat_map(|set| &set.songs) {
        if let Some(encoded) = &song.encoded {
            text += &format!("{}\n{}", file_stem(&song.output), output::encoded_text(encoded));
        }
    }
    let text = release.remarks().into_iter().fold(text, |text, remark| text + &remark + "\n");
    let files = |set: &lintel::finish::ReleaseSet| format!("files    {}\n", set.folder.display());
    release.sets.iter().fold(text, |text, set| text + &files(set))
}

//! `lintel release`.

use lintel::finish::options::target_of_job;
use lintel::finish::release::{ReleaseJob, check_folder, default_folder, release, release_json, songs_of};
use lintel::finish::{Balance, EndsOptions, MasterJob, Release, Tags, file_stem};
use lintel::numbers::clock_tenths;

use crate::finish::cores;
use crate::job_args::ReleaseArgs;
use crate::outcome::{End, Failure};
use crate::output;
use crate::progress::Progress;

pub fn run(args: &ReleaseArgs) -> Result<End, Failure> {
    let settings = args.chain.settings()?;
    let asked = args.chain.delivery.target()?;
    let (layout, encoding) = args.file.format(None)?;
    let songs = songs_of(&args.songs)?;
    if songs.is_empty() {
        return Err(Failure::Usage("no WAV or FLAC file in that folder".into()));
    }
    let folder = args.output.clone().unwrap_or_else(|| default_folder(&args.songs));
    check_folder(&args.songs, &folder)?;
    let job = ReleaseJob {
        songs,
        folder,
        each: MasterJob {
            input: Default::default(),
            protected: args.chain.settings.iter().cloned().collect(),
            output: Default::default(),
            settings,
            target: target_of_job(asked, &settings),
            match_target: asked.is_some(),
            force: args.chain.force,
            grade: false,
            ends: EndsOptions::default(),
            layout,
            encoding,
            rate: args.file.rate,
            two_channels: args.file.two_channels(),
            mono_as: args.file.mono.mono_as(),
            tags: Tags { artist: args.file.artist.clone(), ..Tags::default() },
            overwrite: args.file.overwrite(),
            cores: cores(),
        },
        balance: if args.level { Balance::Level } else { Balance::Keep },
        gap: args.gap,
        report: !args.file.no_report,
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
    let below =
        release.target < release.asked || release.songs.iter().any(|song| End::of(song) == End::BelowTarget);
    Ok(if below { End::BelowTarget } else { End::Done })
}

/// The overview for the terminal.
fn table(release: &Release) -> String {
    let head = ["", "start", "length", "in, LUFS", "out, LUFS", "true peak, dBTP", "drive, dB", "song"];
    let mut rows = vec![head.map(String::from).to_vec()];
    for (i, (start, length, song)) in release.running_order().enumerate() {
        let mut row = vec![(i + 1).to_string(), clock_tenths(start), clock_tenths(length)];
        row.extend(Release::figures_of(song));
        row.push(file_stem(&song.input));
        rows.push(row);
    }
    let table = output::plain_table(rows, 0..7);
    release.remarks().into_iter().fold(table, |text, remark| text + &remark + "\n")
}

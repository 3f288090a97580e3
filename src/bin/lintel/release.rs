//! `lintel release`.

use lintel::finish::master::MasterJob;
use lintel::finish::release::{Balance, ReleaseJob, release, songs_of};
use lintel::finish::{EndsOptions, Tags};

use crate::args::ReleaseArgs;
use crate::finish::{cores, end};
use crate::progress::Progress;
use crate::{End, Failure, write};

pub fn run(args: &ReleaseArgs) -> Result<End, Failure> {
    let settings = args.chain.settings()?;
    let (target, solve) = args.chain.target(&settings)?;
    let (layout, encoding) = args.file.layout(None)?;
    let songs = songs_of(&args.songs)?;
    if songs.is_empty() {
        return Err(Failure::Usage("no WAV or FLAC file in that folder".into()));
    }
    let order = ReleaseJob {
        songs,
        folder: args.output.clone(),
        each: MasterJob {
            input: Default::default(),
            output: Default::default(),
            settings,
            target,
            solve,
            force: args.chain.force,
            wishes: EndsOptions::default(),
            layout,
            encoding,
            rate: args.file.rate,
            tags: Tags { artist: args.file.artist.clone(), ..Tags::default() },
            overwrite: args.file.overwrite(),
            cores: cores(),
        },
        balance: if args.level { Balance::Level } else { Balance::WindowState },
        gap: args.gap,
        report: !args.file.no_report,
    };
    let progress = Progress::new(args.file.quiet);
    let result = release(&order, &progress);
    progress.end();
    let release = result?;
    if args.file.json {
        write::out(&format!("{:#}\n", release.json()));
    } else {
        write::out(&release.table());
        if let Some(page) = &release.page {
            write::out(&format!("report   {}\n", page.display()));
        }
    }
    let short =
        release.target < release.asked || release.songs.iter().any(|song| matches!(end(song), End::Short));
    Ok(if short { End::Short } else { End::Done })
}

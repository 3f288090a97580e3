//! `lintel finish`.

use std::time::Instant;

use lintel::finish::master::{Master, MasterJob, master, name_for};
use lintel::finish::report;
use lintel::finish::solve::Outcome;
use lintel::finish::{Layout, Tags, isrc, number, time};

use crate::args::FinishArgs;
use crate::progress::Progress;
use crate::{End, Failure, write};

pub fn run(args: &FinishArgs) -> Result<End, Failure> {
    let started = Instant::now();
    let settings = args.chain.settings()?;
    let (target, solve) = args.chain.target(&settings)?;
    let (layout, encoding) = args.file.layout(args.output.as_ref())?;
    let output = args.output.clone().unwrap_or_else(|| name_for(&args.input, layout));
    let isrc = args.isrc.as_deref().map(isrc).transpose().map_err(Failure::Usage)?;
    let order = MasterJob {
        input: args.input.clone(),
        settings,
        target,
        solve,
        force: args.chain.force,
        wishes: args.ends.wishes(),
        layout,
        encoding,
        rate: args.file.rate,
        tags: Tags { title: args.title.clone(), artist: args.file.artist.clone(), isrc },
        overwrite: args.file.overwrite(),
        cores: cores(),
        output,
    };
    let page = args.report.clone().unwrap_or_else(|| order.output.with_extension("html"));
    if !args.file.no_report {
        report::refuse_early(&page, order.overwrite)?;
    }
    let progress = Progress::new(args.file.quiet);
    let result = master(&order, &progress);
    progress.end();
    let master = result?;
    if !args.file.no_report {
        report::write(&master, &page, order.overwrite)?;
    }
    let seconds = started.elapsed().as_secs_f64();
    if args.file.json {
        write::out(&format!("{}\n", report::json(&master)));
    } else {
        write::out(&table(&master, seconds));
        if !args.file.no_report {
            write::out(&format!("report   {}\n", page.display()));
        }
    }
    Ok(end(&master))
}

/// Cores to work on.
pub fn cores() -> usize {
    std::thread::available_parallelism().map_or(1, usize::from)
}

/// Reached or not.
pub fn end(master: &Master) -> End {
    match master.search.as_ref().map(|search| &search.outcome) {
        Some(Outcome::OverDriven { .. } | Outcome::OutOfRange | Outcome::Silent) => End::Short,
        Some(Outcome::Reached) | None => End::Done,
    }
}

fn table(master: &Master, seconds: f64) -> String {
    let measured = &master.measured;
    let mut text = write::table(&["before", "after"], &[&measured.before, &measured.after]);
    for (name, work) in [("compressor", measured.compressor), ("ceiling", measured.limiter)] {
        text += &format!(
            "{name}: deepest {} dB, {} dB where it works, {} % of the time\n",
            number(-work.most, 1),
            number(-work.depth, 1),
            number(100.0 * work.share, 0)
        );
    }
    if let Some(sentence) = report::search_words(master) {
        text += &format!("{sentence}\n");
    }
    for note in &measured.notes {
        text += &format!("• {} {}\n", note.says, note.advises);
    }
    let length = measured.frames as f64 / f64::from(measured.rate);
    let kind = match (master.spec.layout, master.rf64) {
        (Layout::Flac, _) => "FLAC",
        (_, true) => "RF64",
        _ => "WAV",
    };
    text += &format!(
        "master   {} ({kind}, {}, {} Hz, {}; read again and found as meant)\n",
        master.output.display(),
        master.spec.encoding,
        master.spec.rate,
        time(length)
    );
    text += &format!("{:.1} s for {}: {:.0} × real time\n", seconds, time(length), length / seconds);
    text
}

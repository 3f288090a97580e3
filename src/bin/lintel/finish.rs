//! `lintel finish`.

use std::time::Instant;

use lintel::finish::options::target_of_job;
use lintel::finish::report::{
    clipped_sentence, grade_sentence, mono_sentence, reduction_sentence, search_sentence, song_json,
};
use lintel::finish::{Master, MasterJob, Tags, isrc, master, name_for};
use lintel::numbers::{clock_tenths, number};

use crate::job_args::FinishArgs;
use crate::outcome::{End, Failure};
use crate::output;
use crate::progress::Progress;

pub fn run(args: &FinishArgs) -> Result<End, Failure> {
    let started = Instant::now();
    let settings = args.chain.settings()?;
    let asked = args.chain.delivery.target()?;
    let (layout, encoding) = args.file.format(args.output.as_deref())?;
    let isrc = args.isrc.as_deref().map(isrc).transpose().map_err(Failure::Usage)?;
    let job = MasterJob {
        input: args.input.clone(),
        protected: args.chain.settings.iter().cloned().collect(),
        output: args.output.clone().unwrap_or_else(|| name_for(&args.input, layout)),
        settings,
        target: target_of_job(asked, &settings),
        match_target: asked.is_some(),
        force: args.chain.force,
        grade: args.grade,
        ends: args.ends.options(),
        layout,
        encoding,
        rate: args.file.rate,
        two_channels: args.file.two_channels(),
        mono_as: args.file.mono.mono_as(),
        tags: Tags { title: args.title.clone(), artist: args.file.artist.clone(), isrc },
        overwrite: args.file.overwrite(),
        cores: cores(),
    };
    let report = (!args.file.no_report)
        .then(|| args.report.clone().unwrap_or_else(|| job.output.with_extension("html")));
    let progress = Progress::new(args.file.quiet);
    let result = master(&job, report.as_deref(), &progress);
    progress.end();
    let master = result?;
    if args.file.json {
        output::print(&format!("{:#}\n", song_json(&master)));
    } else {
        output::print(&table(&master, started.elapsed().as_secs_f64()));
        if let Some(report) = &report {
            output::print(&format!("report   {}\n", report.display()));
        }
    }
    Ok(End::of(&master))
}

/// Number of cores.
pub fn cores() -> usize {
    std::thread::available_parallelism().map_or(1, usize::from)
}

/// The result for the terminal; `seconds` = duration of the work.
fn table(master: &Master, seconds: f64) -> String {
    let measured = &master.measured;
    let mut text = output::figures_table(&["in", "out"], &[&measured.input, &measured.output]);
    if let Some(sentence) = clipped_sentence(measured.clipped) {
        text += &format!("{sentence}\n");
    }
    if let Some(mono_as) = measured.mono_as {
        text += &format!("{}\n", mono_sentence(mono_as));
    }
    for (stage, reduction) in
        [("compressor", &measured.compressor), ("limiter", &measured.limiter), ("soft clip", &measured.clip)]
    {
        text += &format!("{}\n", reduction_sentence(stage, reduction));
    }
    if let Some(search) = &master.search {
        text += &format!("{}\n", search_sentence(search));
    }
    if let Some(grade) = &master.grade {
        text += &format!("grade    {}\n", grade_sentence(grade));
    }
    for note in &master.cut.notes {
        text += &format!("• {note}\n");
    }
    for note in &measured.notes {
        text += &format!("• {} {}\n", note.says, note.advises);
    }
    let length = measured.seconds();
    let reference = master.reread.reference;
    text += &format!(
        "master   {} ({}, {}, {} Hz, {})\n",
        master.output.display(),
        master.container(),
        master.spec.encoding,
        master.spec.rate,
        clock_tenths(length)
    );
    text += &format!(
        "verified re-read, samples identical; second meter: {} LUFS, {} dBTP\n",
        number(reference.integrated, 1),
        number(reference.true_peak, 1)
    );
    text += &format!("{seconds:.1} s for {}: {:.0} × real time\n", clock_tenths(length), length / seconds);
    text
}

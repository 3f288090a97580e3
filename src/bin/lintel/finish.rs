//! `lintel finish`.

use std::time::Instant;

use lintel::finish::delivery::parse_list;
use lintel::finish::mastering::master_each;
use lintel::finish::options::{deliveries_of_file, target_of_job};
use lintel::finish::report::{
    clipped_sentence, grade_sentence, mono_sentence, reduction_sentence, search_sentence, song_json,
};
use lintel::finish::{Delivery, Master, MasterJob, TagField, Tags, isrc, jobs_of, name_for, report_path};
use lintel::numbers::{clock_tenths, number};

use crate::job_args::FinishArgs;
use crate::outcome::{End, Failure};
use crate::output;
use crate::progress::Progress;

pub fn run(args: &FinishArgs) -> Result<End, Failure> {
    let started = Instant::now();
    let settings = args.chain.settings()?;
    let asked = args.chain.target.target()?;
    let deliveries = deliveries(args)?;
    let output = args.output.as_deref().filter(|_| deliveries.is_empty());
    let (layout, encoding) = args.file.format(output)?;
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
        encoded: args.encoded.plan_for(&args.chain, &settings)?,
        ends: args.ends.options(),
        layout,
        encoding,
        rate: args.file.rate,
        two_channels: args.file.two_channels(),
        mono_as: args.file.mono.mono_as(),
        tags: Tags::default()
            .with(TagField::Title, args.title.clone())
            .with(TagField::Artist, args.file.artist.clone())
            .with(TagField::Isrc, isrc),
        untitled: None,
        overwrite: args.file.overwrite(),
        cores: cores(),
    };
    let jobs = jobs_of(&job, &deliveries);
    let report =
        (!args.file.no_report).then(|| args.report.clone().unwrap_or_else(|| report_path(&job, &deliveries)));
    let progress = Progress::new(args.file.quiet);
    let result = master_each(&jobs, report.as_deref(), &progress);
    progress.end();
    let masters = result?;
    if args.file.json {
        let value = match &masters[..] {
            [master] => song_json(master),
            all => all.iter().map(song_json).collect(),
        };
        output::print(&format!("{value:#}\n"));
    } else {
        let seconds = started.elapsed().as_secs_f64();
        output::print(&table(&masters[0]));
        masters.iter().skip(1).for_each(|master| output::print(&lines(master)));
        let length = masters[0].measured.seconds();
        let speed = length / seconds;
        output::print(&format!("{seconds:.1} s for {}: {speed:.0} × real time\n", clock_tenths(length)));
        if let Some(report) = &report {
            output::print(&format!("report   {}\n", report.display()));
        }
    }
    let ends: Vec<End> = masters.iter().map(End::of).collect();
    Ok([End::BelowTarget, End::NotMet].into_iter().find(|end| ends.contains(end)).unwrap_or(End::Done))
}

/// The deliveries asked for: those of the option, else those of the settings file.
fn deliveries(args: &FinishArgs) -> Result<Vec<Delivery>, Failure> {
    match (&args.deliver, &args.chain.settings) {
        (Some(list), _) => parse_list(list).map_err(|err| Failure::Usage(format!("--deliver: {err}"))),
        (None, Some(file)) => deliveries_of_file(file).map_err(Failure::Usage),
        (None, None) => Ok(Vec::new()),
    }
}

/// Number of cores.
pub fn cores() -> usize {
    std::thread::available_parallelism().map_or(1, usize::from)
}

/// The result for the terminal.
fn table(master: &Master) -> String {
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
    if let Some(encoded) = &master.encoded {
        text += &output::encoded_text(encoded);
    }
    for note in &master.cut.notes {
        text += &format!("• {note}\n");
    }
    for note in &measured.notes {
        text += &format!("• {} {}\n", note.says, note.advises);
    }
    if let Some(sentence) = master.lost_sentence() {
        text += &format!("• {sentence}\n");
    }
    text + &lines(master)
}

/// The file and its verification.
fn lines(master: &Master) -> String {
    let reference = master.reread.reference;
    format!(
        "master   {} ({}, {}, {} Hz, {})\n\
         verified re-read, samples identical; second meter: {} LUFS, {} dBTP\n",
        master.output.display(),
        master.container(),
        master.spec.encoding,
        master.spec.rate,
        clock_tenths(master.measured.seconds()),
        number(reference.integrated, 1),
        number(reference.true_peak, 1)
    )
}

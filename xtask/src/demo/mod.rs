//! `cargo xtask demo`: a bounced mix in, a master out through the bundled plugin in a real host, with
//! a table of figures in and out and a picture of the gain reduction over time.
//!
//! The picture is drawn from the library's own chain, run on the same input with the same settings;
//! the demo fails unless that chain's output equals the bundle's, bit for bit.

mod drive;
#[cfg(test)]
mod foreign;
mod inside;
mod measure;
mod report;
mod steps;

use crate::Failure;
use inside::Inside;
use lintel::finish::{
    Encoding, Layout, NoProgress, OutputSpec, Overwrite, Reader, Writer, check, write_whole,
};
use lintel::meter::{LoudnessMeter, MonoAs, Target};
use lintel::params;
use lintel::settings::Settings;
use report::Report;
use std::path::{Path, PathBuf};
use std::time::Instant;
use steps::Step;
use testkit::host::offline::{self as host, Host};
use testkit::quartet;

/// What stands behind `cargo xtask demo`.
#[derive(clap::Args)]
pub struct Args {
    /// A bounced mix, WAV, AIFF or FLAC, mono or stereo; without it a marimba quartet is made.
    input: Option<PathBuf>,
    /// Gain into the limiter, dB; without it the drive is searched that gives −14 LUFS.
    #[arg(long, value_name = "DB", allow_hyphen_values = true)]
    drive: Option<String>,
    /// The level that nothing passes, dBTP.
    #[arg(long, value_name = "DBTP", allow_hyphen_values = true)]
    ceiling: Option<String>,
    /// Folder for what the demo makes.
    #[arg(long, value_name = "DIR", default_value = "target/demo")]
    out: PathBuf,
    /// Length of the quartet's mix, 8 to 180.
    #[arg(long, default_value_t = 54.0)]
    seconds: f64,
}

/// Integrated loudness that the demo aims at, LUFS.
const TARGET_LUFS: f32 = -14.0;
/// Frames per call of the plugin.
const BLOCK: usize = 512;

/// Gentle, and enough to show the job on the quartet: a little less boom at 75 Hz, a little air, and a
/// compressor that reduces the loud bars by one to two dB. Trim and drive are added: the trim that the
/// check of the source asks for, and the drive that gives [`TARGET_LUFS`].
const SETTINGS: [(&str, &str); 11] = [
    ("eq2_freq", "75 Hz"),
    ("eq2_gain", "−2.0 dB"),
    ("eq2_q", "1.40"),
    ("eq5_freq", "9.50 kHz"),
    ("eq5_gain", "+1.0 dB"),
    ("comp_on", "on"),
    ("comp_threshold", "−20.0 dB"),
    ("comp_ratio", "2.0 : 1"),
    ("comp_attack", "30 ms"),
    ("comp_sidechain_low_cut", "90 Hz"),
    ("ceiling", "−1.0 dBTP"),
];

/// Runs the demo.
pub fn run(args: &Args) -> Result<(), Failure> {
    let here = std::env::current_dir()?;
    let out = here.join(&args.out);
    // Everything that can be wrong with the request is found before anything is built.
    settings(&texts_of(0.0, args.drive.as_ref(), args.ceiling.as_ref()))?;
    let given = args.input.as_deref().map(load).transpose()?;
    let source = args.input.as_ref().map(|input| here.join(input));
    std::fs::create_dir_all(&out).map_err(|err| format!("{}: {err}", out.display()))?;
    let (path, name, source) = match (source, given) {
        (Some(path), Some(source)) => {
            let name = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
            (path, name, source)
        }
        _ => {
            let path = out.join("quartet.wav");
            (path.clone(), "quartet".to_owned(), make_quartet(&path, args.seconds)?)
        }
    };

    eprintln!("building the bundles …");
    let bundle = crate::bundle::build()?;
    let mut host = Host::open(&bundle)?;
    let trim_db =
        check::check(&path, None, MonoAs::default(), &NoProgress::default())?.measured.source.trim_db;
    let mut texts = texts_of(trim_db, args.drive.as_ref(), args.ceiling.as_ref());
    let set = |host: &mut Host, texts: &[(&'static str, String)]| -> Result<(), Failure> {
        for (id, text) in texts {
            let param = params::find(id).expect("checked when the settings were read");
            host.set(param.name, text)?;
        }
        Ok(())
    };
    set(&mut host, &texts)?;
    if args.drive.is_none() {
        let step = Step::begin("searching the drive through the bundle", 1);
        let drive_db = drive::find(f64::from(TARGET_LUFS), |drive_db| {
            host.set("drive", &format!("{drive_db:.2} dB"))?;
            loudness_of(&mut host, &source)
        })?;
        texts.push(("drive", format!("{drive_db:.2} dB")));
        step.at(1);
        step.end();
    }
    set(&mut host, &texts)?;
    let settings = settings(&texts)?;
    let frames = source.lanes[0].len();
    let step = Step::begin("mastering through the bundle", frames);
    let run = host::Run { sample_rate: f64::from(source.rate), block: BLOCK, changes: &[] };
    let start = Instant::now();
    let output = host.run(&source.lanes, run, &mut |done| step.at(done.min(frames)))?;
    let seconds = frames as f64 / f64::from(source.rate);
    let speed = seconds / start.elapsed().as_secs_f64();
    step.end();

    let step = Step::begin("the same chain, looked into", 1);
    let inside = inside::run(&source.lanes, source.rate, &settings);
    compare(&inside, &output)?;
    step.at(1);
    step.end();

    let step = Step::begin("writing and measuring", 3);
    let master = out.join(format!("{name}-master.wav"));
    let ceiling = 10_f64.powf(f64::from(settings.limiter.ceiling) / 20.0);
    save(&master, &output.channels[..source.channels], source.rate, ceiling, &[&path])?;
    step.at(1);
    let before = measure::measure(&path)?;
    step.at(2);
    let after = measure::measure(&master)?;
    step.at(3);
    step.end();

    let report = Report {
        input: path.display().to_string(),
        master: master.display().to_string(),
        seconds,
        sample_rate: source.rate,
        settings: texts.iter().map(|(id, text)| ((*id).to_owned(), text.clone())).collect(),
        measured_in: before,
        measured_out: after,
        compressor: inside.compressor,
        limiter: inside.limiter,
        soft_clip: inside.clip,
        limiter_working_share: inside.working,
        latency_samples: output.latency,
        times_real_time: speed,
        picture_matches_bundle: true,
    };
    let title = if args.input.is_some() { &name } else { "marimba quartet in a boathouse" };
    let target = Target { loudness: f64::from(TARGET_LUFS), ..Target::default() };
    let chart = report.chart(title, &inside, &settings, &target);
    let put = |ending: &str, bytes: &[u8]| {
        let path = out.join(format!("{name}-master.{ending}"));
        write_whole(&path, bytes, Overwrite::Allow)
    };
    put("json", serde_json::to_string_pretty(&report)?.as_bytes())?;
    put("svg", chart.to_svg()?.as_bytes())?;
    put("png", &chart.to_png()?)?;
    println!("\n{}\n", report.table());
    println!("{} (and .json, .svg, .png beside it)", shown(&master, &here));
    Ok(())
}

/// The demo's settings: [`SETTINGS`] with the trim in dB and what the command line changes.
fn texts_of(trim_db: f64, drive: Option<&String>, ceiling: Option<&String>) -> Vec<(&'static str, String)> {
    let mut texts: Vec<_> = SETTINGS.iter().map(|&(id, text)| (id, text.to_owned())).collect();
    texts.push(("trim", format!("{trim_db:.1} dB")));
    // What stands later in the list counts.
    texts.extend(drive.map(|text| ("drive", text.clone())));
    texts.extend(ceiling.map(|text| ("ceiling", text.clone())));
    texts
}

/// Integrated loudness of what the bundle makes of `source` as it is set, LUFS.
fn loudness_of(host: &mut Host, source: &Source) -> Result<f64, Failure> {
    let run = host::Run { sample_rate: f64::from(source.rate), block: BLOCK, changes: &[] };
    let output = host.run(&source.lanes, run, &mut |_| {})?;
    let mut meter = LoudnessMeter::new(source.rate, source.channels);
    let lanes: Vec<&[f32]> = output.channels[..source.channels].iter().map(Vec::as_slice).collect();
    meter.feed(&lanes);
    Ok(meter.integrated())
}

fn settings(texts: &[(&'static str, String)]) -> Result<Settings, Failure> {
    let mut settings = Settings::default();
    for (id, text) in texts {
        let param = params::find(id).ok_or_else(|| format!("no parameter \"{id}\""))?;
        param.set(&mut settings, param.parse(text)?);
    }
    Ok(settings)
}

/// A file in memory.
struct Source {
    /// Two lanes; a mono file fills both alike.
    lanes: Vec<Vec<f32>>,
    channels: usize,
    rate: u32,
}

fn load(path: &Path) -> Result<Source, Failure> {
    let mut reader = Reader::open(path)?;
    let format = *reader.format();
    let frames = format.frames as usize;
    let mut lanes = [vec![0.0_f32; frames], vec![0.0_f32; frames]];
    let [left, right] = &mut lanes;
    reader.read(left, right)?;
    Ok(Source { lanes: lanes.into(), channels: format.channels.into(), rate: format.rate })
}

fn make_quartet(path: &Path, seconds: f64) -> Result<Source, Failure> {
    if !quartet::LENGTHS.contains(&seconds) {
        let (min, max) = quartet::LENGTHS.into_inner();
        return Err(format!("--seconds {seconds}: {min} to {max} work").into());
    }
    let step = Step::begin("a marimba quartet in a boathouse", 1);
    let lanes = quartet::mix(seconds);
    let rate = quartet::RATE as u32;
    save(path, &lanes, rate, 1.0, &[])?;
    step.at(1);
    step.end();
    Ok(Source { lanes: lanes.into(), channels: 2, rate })
}

/// Writes 24 bit beside the target and renames; never over one of the `inputs`.
pub fn save(
    path: &Path,
    lanes: &[Vec<f32>],
    rate: u32,
    ceiling: f64,
    inputs: &[&Path],
) -> Result<(), Failure> {
    let spec =
        OutputSpec { ceiling, ..OutputSpec::new(Layout::Wav, Encoding::Int(24), rate, lanes.len() as u16) };
    let mut writer = Writer::create(path, spec, Overwrite::Allow, inputs)?;
    let wide = |lane: &Vec<f32>| lane.iter().map(|&x| f64::from(x)).collect::<Vec<f64>>();
    let left = wide(&lanes[0]);
    let right = lanes.get(1).map_or_else(|| left.clone(), wide);
    writer.write(&left, &right)?;
    let written = writer.finish(None)?;
    if written.clipped > 0 {
        return Err(format!("{}: {} samples above the ceiling", path.display(), written.clipped).into());
    }
    Ok(())
}

/// The bundle must have done what the picture shows.
fn compare(inside: &Inside, bundle: &host::Output) -> Result<(), Failure> {
    if inside.latency != bundle.latency {
        let (ours, theirs) = (inside.latency, bundle.latency);
        return Err(format!("the bundle reports a latency of {theirs}, the chain {ours}").into());
    }
    for (channel, (ours, theirs)) in inside.output.iter().zip(&bundle.channels).enumerate() {
        let differs = |(a, b): (&f32, &f32)| a.to_bits() != b.to_bits();
        if let Some(frame) = ours.iter().zip(theirs).position(differs) {
            let (ours, theirs) = (ours[frame], theirs[frame]);
            return Err(format!(
                "the bundle and the chain differ at frame {frame}, channel {channel}: {theirs} and {ours}"
            )
            .into());
        }
    }
    Ok(())
}

fn shown(path: &Path, here: &Path) -> String {
    path.strip_prefix(here).unwrap_or(path).display().to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_demos_settings_are_values_of_the_table() {
        let plain = settings(&texts_of(-5.5, None, None)).unwrap();
        assert_eq!((plain.input.trim, plain.limiter.drive, plain.limiter.ceiling), (-5.5, 0.0, -1.0));
        assert!(plain.compressor.on);
        let given = settings(&texts_of(0.0, Some(&"6".into()), Some(&"−2".into()))).unwrap();
        assert_eq!((given.input.trim, given.limiter.drive, given.limiter.ceiling), (0.0, 6.0, -2.0));
    }
}

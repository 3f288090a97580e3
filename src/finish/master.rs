//! One command from bounce to release-ready master: what the user wants in, a finished file with
//! its report out.
//!
//! SourceMeasurement at the source, cut its ends, search the gain for a target, render and write, read the
//! result again and compare, write the report. Nothing stands under a final name before it is
//! whole, and the master is taken away again if what was read back is not what was meant.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};

use sha2::{Digest, Sha256};

use super::bext::{BextLoudness, Tags};
use super::cut::{CutPlan, EndsOptions};
use super::ends::SongEnds;
use super::error::{Error, Fault, Result};
use super::forecast::Forecast;
use super::measure::{self, Measured, Meters, Reread, SourceMeasurement, cut_facts, reread, with_gain};
use super::read::{Encoding, FileFormat, Reader};
use super::render::{OwnStretch, ProgressWatcher, RenderJob, render};
use super::solve::{Attempt, Outcome, Search, SearchGoal, Trial, search};
use super::write::{Layout, Overwrite, Spec, Writer, Written};
use crate::dsp::db;
use crate::meter::rules::RuleId;
use crate::meter::targets::Target;
use crate::settings::Settings;

/// Passes that a search usually takes one after the other: a try, and the one that is kept.
pub(super) const USUAL_PASSES: u64 = 2;

/// What the user wants.
#[derive(Clone, Debug)]
pub struct MasterJob {
    pub input: PathBuf,
    /// Where the master goes; see [`name_for`] for a name to propose.
    pub output: PathBuf,
    pub settings: Settings,
    /// The delivery; its loudness is aimed at if `solve`.
    pub target: Target,
    pub solve: bool,
    /// Go on where the advice says it is over-driven.
    pub force: bool,
    pub wishes: EndsOptions,
    pub layout: Layout,
    pub encoding: Encoding,
    /// Hz; none keeps the rate of the source.
    pub rate: Option<u32>,
    pub tags: Tags,
    pub overwrite: Overwrite,
    /// Tries and checks at once.
    pub cores: usize,
}

/// What came of it.
pub struct Master {
    pub input: PathBuf,
    pub output: PathBuf,
    pub source: FileFormat,
    pub ends: SongEnds,
    pub cut: CutPlan,
    /// As rendered, with the gain that was found.
    pub settings: Settings,
    pub target: Target,
    pub search: Option<Search>,
    pub spec: Spec,
    pub measured: Measured,
    pub reread: Reread,
    pub rf64: bool,
    /// SHA-256 in hex.
    pub input_hash: String,
    pub output_hash: String,
}

/// `<track> (master).wav` beside the source.
pub fn name_for(input: &Path, layout: Layout) -> PathBuf {
    let stem = input.file_stem().unwrap_or_default().to_string_lossy();
    let ending = if layout == Layout::Flac { "flac" } else { "wav" };
    input.with_file_name(format!("{stem} (master).{ending}"))
}

/// A source that has been listened to, with the gain that it needs.
#[derive(Clone)]
pub struct Prepared {
    pub look: SourceMeasurement,
    /// SHA-256 of the source, in hex.
    pub hash: String,
    pub cut: CutPlan,
    pub search: Option<Search>,
}

/// A try of the search that was rendered in full, in case it is the last.
struct Rendered {
    gain: f64,
    measured: Measured,
    /// Not finished: without a name as yet.
    writer: Writer,
}

/// Does the whole job.
pub fn master(order: &MasterJob, watch: &dyn ProgressWatcher) -> Result<Master> {
    let kept = Mutex::new(None);
    let prepared = prepare_keeping(order, watch, Some(&kept))?;
    let kept = kept.into_inner().unwrap_or_else(PoisonError::into_inner);
    complete_from(order, prepared, kept, watch)
}

/// Listens to the source, plans the cut and searches the gain; writes nothing.
pub fn prepare(order: &MasterJob, watch: &dyn ProgressWatcher) -> Result<Prepared> {
    prepare_keeping(order, watch, None)
}

fn prepare_keeping(
    order: &MasterJob,
    watch: &dyn ProgressWatcher,
    keep: Option<&Mutex<Option<Rendered>>>,
) -> Result<Prepared> {
    refuse_early(order)?;
    let format = *Reader::open(&order.input)?.format();
    let seconds = format.seconds();
    let (from, to) = (order.wishes.start.unwrap_or(0.0), order.wishes.end.unwrap_or(seconds));
    if from >= to.min(seconds) {
        return Err(Error::new(&order.input, Fault::NothingLeft { seconds, from, to }));
    }
    watch.part("listening", format.frames);
    let (look, hash) = std::thread::scope(|scope| {
        let hash = scope.spawn(|| hash(&order.input));
        let look = measure::look(&order.input, watch);
        let hash = hash.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic));
        Ok((look?, hash?))
    })?;
    let cut = CutPlan::plan(&look.ends, &order.wishes);
    for note in &cut.notes {
        watch.say(note);
    }
    let search = order.solve.then(|| find_gain(order, &look, &cut, Vec::new(), watch, keep)).transpose()?;
    Ok(Prepared { look, hash, cut, search })
}

/// Searches the gain for another target; the tries made so far count.
pub fn search_again(order: &MasterJob, prepared: &Prepared, watch: &dyn ProgressWatcher) -> Result<Prepared> {
    let Prepared { look, cut, search, .. } = prepared;
    let known = search.as_ref().map_or(Vec::new(), |search| search.tries.clone());
    let search = order.solve.then(|| find_gain(order, look, cut, known, watch, None)).transpose()?;
    Ok(Prepared { search, ..prepared.clone() })
}

/// Frames of the result and its rate.
fn extent(order: &MasterJob, look: &SourceMeasurement, cut: &CutPlan) -> (u64, u32) {
    let rate = order.rate.unwrap_or(look.format.rate);
    (cut.length() * u64::from(rate) / u64::from(look.format.rate), rate)
}

/// What is written with so much gain.
fn spec_of(order: &MasterJob, look: &SourceMeasurement, rate: u32) -> Spec {
    let limiter = order.settings.limiter;
    let ceiling = if limiter.on { f64::from(limiter.ceiling) } else { 0.0 };
    Spec {
        layout: order.layout,
        encoding: order.encoding,
        rate,
        channels: look.format.channels,
        ceiling: db::to_gain(ceiling),
        tags: order.tags.clone(),
    }
}

/// Renders, writes, reads again.
pub fn complete(order: &MasterJob, prepared: Prepared, watch: &dyn ProgressWatcher) -> Result<Master> {
    complete_from(order, prepared, None, watch)
}

fn complete_from(
    order: &MasterJob,
    prepared: Prepared,
    kept: Option<Rendered>,
    watch: &dyn ProgressWatcher,
) -> Result<Master> {
    let Prepared { look, hash: input_hash, cut, search } = prepared;
    let (frames, rate) = extent(order, &look, &cut);
    let settings = search.as_ref().map_or(order.settings, |found| with_gain(&order.settings, found.gain));
    let spec = spec_of(order, &look, rate);
    let gain = search.as_ref().map(|found| found.gain);
    let (mut measured, writer) = match kept.filter(|kept| Some(kept.gain) == gain) {
        Some(Rendered { measured, writer, .. }) => (measured, writer),
        None => {
            watch.part("rendering", frames);
            let job = RenderJob { input: &order.input, cut: &cut, rate, settings: &settings };
            write(order, job, &look, &spec, watch)?
        }
    };
    if search.as_ref().is_some_and(|found| matches!(found.outcome, Outcome::OverDriven { .. })) {
        // It stays under the target because more would be too much; nobody must be told to raise it.
        measured.notes.retain(|note| note.rule != RuleId::UnderTarget);
    }
    let written = finish(writer, &measured)?;

    watch.part("reading again", written.frames);
    let checked = std::thread::scope(|scope| {
        let hash = scope.spawn(|| hash(&order.output));
        let reread = reread(&order.output, watch)?;
        verify(&spec, &measured, &written, &reread)?;
        Ok((reread, hash.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))?))
    });
    let (reread, output_hash) = checked.inspect_err(|_| {
        // A master that is not what it should be must not lie about as if it were one.
        let _ = fs::remove_file(&order.output);
    })?;
    Ok(Master {
        input: order.input.clone(),
        output: order.output.clone(),
        source: look.format,
        ends: look.ends,
        cut,
        settings,
        target: order.target,
        search,
        spec,
        measured,
        reread,
        rf64: written.rf64,
        input_hash,
        output_hash,
    })
}

/// What would be refused at the end is better refused before the work.
fn refuse_early(order: &MasterJob) -> Result<()> {
    let fail = |fault| Err(Error::new(&order.output, fault));
    if order.output.is_dir() {
        return fail(Fault::Folder);
    }
    if order.output.exists() {
        if super::write::same_file(&order.input, &order.output) {
            return fail(Fault::IsInput);
        }
        if order.overwrite == Overwrite::Refuse {
            return fail(Fault::Exists);
        }
    }
    match order.output.parent() {
        Some(folder) if !folder.as_os_str().is_empty() && !folder.is_dir() => fail(Fault::NoFolder),
        _ => Ok(()),
    }
}

/// The gain for the target, by whole passes.
fn find_gain(
    order: &MasterJob,
    look: &SourceMeasurement,
    cut: &CutPlan,
    known: Vec<Trial>,
    watch: &dyn ProgressWatcher,
    keep: Option<&Mutex<Option<Rendered>>>,
) -> Result<Search> {
    let (frames, rate) = extent(order, look, cut);
    let job = RenderJob { input: &order.input, cut, rate, settings: &order.settings };
    let trim = if order.settings.input.trim_on { f64::from(order.settings.input.trim) } else { 0.0 };
    let target = order.target.loudness;
    let limiter = order.settings.limiter;
    // Without a ceiling nothing holds the peaks back.
    let level = if limiter.on { f64::from(limiter.ceiling) } else { f64::INFINITY };
    let release = f64::from(limiter.release);
    let source = look.loudness + trim;
    let kept = look.cells.kept(cut);
    let low = target - source - 2.0;
    let forecast = Forecast::new(kept, trim, level, release, low);
    let question = SearchGoal {
        target,
        source,
        forecast: forecast.as_ref(),
        range: [-24.0 - trim.min(0.0), 24.0],
        force: order.force,
        width: order.cores.clamp(1, 4),
    };
    let channels = look.format.channels;
    let planned = question.width as u64 + USUAL_PASSES - 1;
    watch.part("searching the drive", planned * frames);
    let passes = AtomicU64::new(0);
    let attempt = |gain, likely| {
        if passes.fetch_add(1, Ordering::Relaxed) >= planned {
            watch.more(frames);
        }
        let Some(keep) = keep.filter(|_| likely) else {
            let (found, cells) = measure::attempt(job, channels, gain, watch)?;
            // Its cells have the trim and this gain in them already.
            let forecast = Forecast::new(cells.all(), -gain, level, release, low);
            return Ok(Attempt { found, forecast });
        };
        // Only one at a time holds the place on disk.
        let mut kept = keep.lock().unwrap_or_else(PoisonError::into_inner);
        *kept = None;
        let settings = with_gain(&order.settings, gain);
        let spec = spec_of(order, look, rate);
        let (measured, writer) = write(order, RenderJob { settings: &settings, ..job }, look, &spec, watch)?;
        let found = Trial {
            gain,
            loudness: measured.after.integrated.unwrap_or(f64::NEG_INFINITY),
            strain: measure::strain(&measured.notes),
        };
        *kept = Some(Rendered { gain, measured, writer });
        Ok(Attempt { found, forecast: None })
    };
    if look.loudness == f64::NEG_INFINITY {
        let outcome = Outcome::Silent;
        let gain = f64::from(order.settings.limiter.drive);
        return Ok(Search { target, tries: Vec::new(), gain, loudness: look.loudness, outcome });
    }
    search(question, known, &attempt, &mut |t| {
        let strain = t.strain.as_ref().map_or(String::new(), |s| format!(" · {s}"));
        let (gain, loudness) = (super::report::gain_words(t.gain), super::number(t.loudness, 2));
        watch.say(&format!("{gain} gives {loudness} LUFS{strain}"));
    })
}

/// A full pass: through the chain into the meters, on a core of their own, and onto disk.
fn write(
    order: &MasterJob,
    job: RenderJob,
    look: &SourceMeasurement,
    spec: &Spec,
    watch: &dyn ProgressWatcher,
) -> Result<(Measured, Writer)> {
    let facts = cut_facts(&look.ends, job.cut);
    let offset = (job.cut.from as f64 - job.cut.silence_before as f64) / f64::from(look.format.rate);
    let mut meters = Meters::new(job.rate, spec.channels, job.settings, order.target, facts).from(offset);
    let mut writer = Writer::create(&order.output, spec.clone(), order.overwrite, &[&order.input])?;
    let (send, receive) = std::sync::mpsc::sync_channel::<OwnStretch>(8);
    let measured = std::thread::scope(|scope| {
        let metering = scope.spawn(move || {
            for stretch in receive {
                meters.push(&stretch.borrow());
            }
            meters.finish()
        });
        let rendered = render(job, watch, |stretch| {
            writer.write(stretch.after[0], stretch.after[1])?;
            // A meter that has gone away has panicked; the panic is passed on below.
            let _ = send.send(OwnStretch::of(stretch));
            Ok(())
        });
        drop(send);
        let measured = metering.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic));
        rendered.map(|_| measured)
    })?;
    Ok((measured, writer))
}

/// Gives the file its loudness fields and its name.
fn finish(writer: Writer, measured: &Measured) -> Result<Written> {
    let after = &measured.after;
    let loudness = after.integrated.map(|integrated| BextLoudness {
        integrated,
        range: after.range.unwrap_or(0.0),
        true_peak: after.true_peak.unwrap_or(f64::NEG_INFINITY),
        max_momentary: after.max_momentary.unwrap_or(f64::NEG_INFINITY),
        max_short_term: after.max_short_term.unwrap_or(f64::NEG_INFINITY),
    });
    writer.finish(loudness.as_ref())
}

/// Compares what was read again with what was meant.
fn verify(spec: &Spec, measured: &Measured, written: &Written, reread: &Reread) -> Result<()> {
    let fail = |what: String| Err(Error::new(&written.path, Fault::NotAsMeant(what)));
    let (frames, over) = (written.frames, written.over);
    if reread.frames != frames || frames != measured.frames {
        return fail(format!("{} frames instead of {}", reread.frames, measured.frames));
    }
    if reread.digest != written.digest {
        return fail("its samples are others than were written".into());
    }
    if reread.sample_peak > spec.ceiling {
        return fail(format!("a sample of {} above the ceiling of {}", reread.sample_peak, spec.ceiling));
    }
    // With the ceiling on, the limiter leaves nothing to cut; without it, full scale may cut.
    if over > 0 && spec.ceiling < 1.0 {
        return fail(format!("{over} samples had to be cut at the ceiling"));
    }
    // Dither raises the loudness of what is quiet: at 16 bit by 0.05 LU at −76 LUFS.
    if let Some(meant) = measured.after.integrated.filter(|meant| *meant > -60.0 && over == 0)
        && (reread.integrated - meant).abs() > 0.02
    {
        return fail(format!("{:.2} LUFS instead of {meant:.2}", reread.integrated));
    }
    if let Some(meant) = measured.after.true_peak.filter(|meant| *meant > -40.0 && over == 0)
        && (reread.true_peak - meant).abs() > 0.02
    {
        return fail(format!("{:.2} dBTP instead of {meant:.2}", reread.true_peak));
    }
    Ok(())
}

/// SHA-256 of a file, in hex.
pub fn hash(path: &Path) -> Result<String> {
    let mut hasher = Sha256::new();
    let mut file = fs::File::open(path).map_err(|err| super::error::reading(path, err))?;
    let mut bytes = vec![0; 1 << 18];
    loop {
        match std::io::Read::read(&mut file, &mut bytes).map_err(|err| super::error::reading(path, err))? {
            0 => break,
            n => hasher.update(&bytes[..n]),
        }
    }
    Ok(hasher.finalize().iter().map(|byte| format!("{byte:02x}")).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::finish::measure::check;
    use crate::finish::render::NoProgress;

    /// Whatever is off is told by name.
    #[test]
    fn a_master_that_is_not_what_was_meant_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("x.wav");
        let spec = Spec {
            layout: Layout::Wav,
            encoding: Encoding::Int(24),
            rate: 48_000,
            channels: 2,
            ceiling: db::to_gain(-1.0),
            tags: Tags::default(),
        };
        let lane: Vec<f64> = (0..48_000).map(|n| 0.3 * (f64::from(n) * 0.05).sin()).collect();
        let mut writer = Writer::create(&path, spec.clone(), Overwrite::Refuse, &[]).unwrap();
        writer.write(&lane, &lane).unwrap();
        let written = writer.finish(None).unwrap();
        let quiet = NoProgress::default();
        let (.., measured) = check(&path, None, &quiet).unwrap();
        let reread = reread(&path, &quiet).unwrap();
        verify(&spec, &measured, &written, &reread).unwrap();

        let wrong = |change: &dyn Fn(&mut Written, &mut Reread)| {
            let (mut written, mut reread) = (written.clone(), reread);
            change(&mut written, &mut reread);
            verify(&spec, &measured, &written, &reread).unwrap_err().to_string()
        };
        assert!(wrong(&|_, r| r.frames -= 1).contains("47999 frames instead of 48000"));
        assert!(wrong(&|_, r| r.digest.add(1, [0.5].into_iter())).contains("samples are others"));
        assert!(wrong(&|_, r| r.sample_peak = 0.9).contains("above the ceiling"));
        assert!(wrong(&|w, _| w.over = 3).contains("3 samples had to be cut"));
        assert!(wrong(&|_, r| r.integrated += 0.1).contains("LUFS instead of"));
        assert!(wrong(&|_, r| r.true_peak += 0.1).contains("dBTP instead of"));
    }
}

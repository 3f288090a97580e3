//! `lintel check`.

use std::path::Path;

use lintel::finish::check::{FileCheck, check};
use lintel::finish::encoded::{EncodedPlan, EncodedReport, predict_file};
use lintel::finish::options::delivery_of_file;
use lintel::finish::report::{encoded_json, mono_sentence, notes_json};
use lintel::finish::require::{self, Requirement, RequirementResult};
use lintel::finish::unmeasurable::Unmeasurable;
use lintel::finish::{Delivery, FileFigures, ProgressWatcher, Reader};
use lintel::meter::MonoAs;
use lintel::meter::source::StereoImage;
use lintel::meter::targets::Target;
use lintel::numbers::{clock_tenths, number};
use lintel::reference::Comparison;
use serde_json::json;

use crate::against::{self, References};
use crate::args::CheckArgs;
use crate::outcome::{End, Failure};
use crate::output;
use crate::progress::Progress;

pub fn run(args: &CheckArgs) -> Result<End, Failure> {
    let requirements = match &args.require {
        Some(line) => require::parse(line).map_err(|err| Failure::Usage(format!("--require: {err}")))?,
        None => Vec::new(),
    };
    let delivery = args.delivery.as_deref().map(delivery_of_file).transpose().map_err(Failure::Usage)?;
    let target = args.target.target()?.or_else(|| delivery.as_ref().and_then(Delivery::target));
    let encoded = args.encoded.plan()?;
    let progress = Progress::new(args.quiet);
    let references = References::measure(args, &progress)?;
    let (mut failed, mut not_met, mut values) = (None, false, Vec::new());
    for file in &args.files {
        let held = (&requirements[..], delivery.as_ref(), encoded.as_ref());
        let checked = check_one(file, target, args.mono.mono_as(), held, &progress);
        match checked.and_then(|checked| checked.beside(references.as_ref(), &progress)) {
            Ok(checked) => {
                not_met |= checked.results.iter().any(|result| !result.met) || checked.lacks_move;
                if args.json {
                    values.push(checked.json());
                } else {
                    output::print(&checked.text());
                }
            }
            Err(err) if err.is_stop() => return Err(err.into()),
            Err(err) => {
                if args.json {
                    values.push(json!({"path": file.display().to_string(), "error": err.to_string()}));
                }
                // All files are checked; the last error decides the exit code.
                if let Some(earlier) = failed.replace(Failure::File(err)) {
                    eprintln!("{earlier}");
                }
            }
        }
    }
    if args.json {
        output::print(&format!("{:#}\n", serde_json::Value::Array(values)));
    }
    match failed {
        Some(failure) => Err(failure),
        None if not_met => Ok(End::NotMet),
        None => Ok(End::Done),
    }
}

/// A checked file with its requirements.
struct CheckedFile<'a> {
    path: &'a Path,
    check: FileCheck,
    results: Vec<RequirementResult>,
    encoded: Option<EncodedReport>,
    /// Beside references, where any are named.
    beside: Option<Comparison>,
    /// Lines about the files that were written.
    written: String,
    /// A move was to be written and none is proposed.
    lacks_move: bool,
}

fn check_one<'a>(
    file: &'a Path,
    target: Option<Target>,
    mono_as: MonoAs,
    (requirements, delivery, encoded): (&[Requirement], Option<&Delivery>, Option<&EncodedPlan>),
    progress: &Progress,
) -> lintel::finish::Result<CheckedFile<'a>> {
    let frames = Reader::open(file)?.format().frames;
    progress.part(&file.file_name().unwrap_or_default().to_string_lossy(), frames);
    let result = check(file, target, mono_as, progress);
    progress.end();
    let check = result?;
    let encoded = encoded.map(|plan| {
        progress.part("encoding", frames);
        predict_file(plan, file, mono_as, progress)
    });
    progress.end();
    let encoded = encoded.transpose()?;
    let mut results: Vec<RequirementResult> =
        requirements.iter().map(|r| r.check(&check.measured.input, &check.format, &check.ends)).collect();
    if let Some(delivery) = delivery {
        results.extend(delivery.requirements(file, &check));
    }
    Ok(CheckedFile {
        path: file,
        check,
        results,
        encoded,
        beside: None,
        written: String::new(),
        lacks_move: false,
    })
}

impl CheckedFile<'_> {
    /// The same, compared with references where any are named.
    fn beside(self, references: Option<&References>, progress: &Progress) -> lintel::finish::Result<Self> {
        let Some(references) = references else { return Ok(self) };
        let beside = references.compare(self.path, progress)?;
        let (written, has_move) = references.write(&beside)?;
        Ok(Self { beside: Some(beside), written, lacks_move: !has_move, ..self })
    }

    fn figures(&self) -> &FileFigures {
        &self.check.measured.input
    }

    fn time(&self, frame: u64) -> String {
        clock_tenths(frame as f64 / f64::from(self.check.format.rate))
    }

    fn text(&self) -> String {
        let FileCheck { format, ends, measured, .. } = &self.check;
        let mut text = format!("{}\n{}\n", self.path.display(), output::format_sentence(format));
        text += &output::figures_table(&[], &[self.figures()]);
        let floor = match ends.floor_before {
            None => String::new(),
            Some(f64::NEG_INFINITY) => ", digital silence before it".into(),
            Some(level) => format!(", noise of {} dBFS before it", number(level, 0)),
        };
        if let Some(mono_as) = measured.mono_as {
            text += &format!("{}\n", mono_sentence(mono_as));
        }
        if let Some(reason) = &self.check.unmeasurable {
            text += &format!("the file {reason}\n");
            if *reason == Unmeasurable::Silent {
                return text + "\n";
            }
        }
        text += &format!("found start {}, end {}{floor}\n", self.time(ends.start), self.time(ends.end));
        let image = match measured.source.image {
            StereoImage::Unknown => "unknown",
            StereoImage::Stereo => "stereo",
            StereoImage::Mono => "mono",
            StereoImage::LeftSilent => "left silent",
            StereoImage::RightSilent => "right silent",
            StereoImage::Identical => "two identical channels",
            StereoImage::OutOfPhase => "out of phase",
        };
        text += &format!("image {image}; headroom {} dB\n", number(measured.source.headroom_db, 1));
        if let Some(encoded) = &self.encoded {
            text += &output::encoded_text(encoded);
        }
        for note in &measured.notes {
            text += &format!("• {} {}\n", note.says, note.advises);
        }
        for result in &self.results {
            text += &format!("{}\n", result.sentence());
        }
        if let Some(beside) = &self.beside {
            text += &format!("\n{}{}", against::text(beside), self.written);
        }
        text + "\n"
    }

    fn json(&self) -> serde_json::Value {
        let FileCheck { format, ends, measured, .. } = &self.check;
        let mut value = json!({
            "path": self.path.display().to_string(),
            "format": format,
            "seconds": format.seconds(),
            "ends": ends,
            "mono_as": measured.mono_as,
            "figures": self.figures(),
            "unmeasurable": self.check.unmeasurable,
            "image": format!("{:?}", measured.source.image),
            "encoded": self.encoded.as_ref().map(encoded_json),
            "advice": notes_json(&measured.notes),
            "requirements": self.results,
        });
        if let Some(beside) = &self.beside {
            value["against"] = beside.json();
        }
        value
    }
}

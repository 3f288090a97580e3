//! `lintel check`.

use std::path::Path;

use lintel::finish::measure::{self, Measured};
use lintel::finish::require::{self, Requirement, RequirementResult};
use lintel::finish::{FileFigures, FileFormat, SongEnds, number, report, time};
use lintel::meter::source::StereoImage;
use lintel::meter::targets::Target;
use serde_json::json;

use crate::args::CheckArgs;
use crate::progress::Progress;
use crate::{End, Failure, write};

pub fn run(args: &CheckArgs) -> Result<End, Failure> {
    let conditions = match &args.require {
        Some(line) => require::parse(line).map_err(|err| Failure::Usage(format!("--require: {err}")))?,
        None => Vec::new(),
    };
    let target = args.delivery.target()?;
    let progress = Progress::new(args.quiet);
    let (mut failed, mut unmet, mut values) = (None, false, Vec::new());
    for file in &args.files {
        match one(file, target, &conditions, &progress) {
            Ok(checked) => {
                unmet |= checked.findings.iter().any(|finding| !finding.holds);
                if args.json {
                    values.push(checked.value());
                } else {
                    write::out(&checked.text());
                }
            }
            Err(err) if err.is_stop() => return Err(err.into()),
            Err(err) => {
                if args.json {
                    values.push(json!({"path": file, "error": err.to_string()}));
                }
                // All files get their turn; the last error becomes the program's own.
                if let Some(Failure::File(before)) = failed.replace(Failure::File(err)) {
                    eprintln!("{before}");
                }
            }
        }
    }
    if args.json {
        write::out(&format!("{:#}\n", serde_json::Value::Array(values)));
    }
    match failed {
        Some(failure) => Err(failure),
        None if unmet => Ok(End::Unmet),
        None => Ok(End::Done),
    }
}

struct Checked<'a> {
    file: &'a Path,
    format: FileFormat,
    ends: SongEnds,
    measured: Measured,
    findings: Vec<RequirementResult>,
}

fn one<'a>(
    file: &'a Path,
    target: Option<Target>,
    conditions: &[Requirement],
    progress: &Progress,
) -> lintel::finish::Result<Checked<'a>> {
    use lintel::finish::render::ProgressWatcher;
    let frames = lintel::finish::Reader::open(file)?.format().frames;
    progress.part(&file.file_name().unwrap_or_default().to_string_lossy(), frames);
    let result = measure::check(file, target, progress);
    progress.end();
    let (format, ends, measured) = result?;
    let findings = conditions.iter().map(|c| c.judge(&measured.before, &format, &ends)).collect();
    Ok(Checked { file, format, ends, measured, findings })
}

impl Checked<'_> {
    fn figures(&self) -> &FileFigures {
        &self.measured.before
    }

    fn seconds(&self, frame: u64) -> f64 {
        frame as f64 / f64::from(self.format.rate)
    }

    fn text(&self) -> String {
        let (ends, source) = (&self.ends, &self.measured.source);
        let mut text = format!("{}\n{}\n", self.file.display(), write::format_words(&self.format));
        text += &write::table(&[""], &[self.figures()]);
        let floor = |floor: Option<f64>| match floor {
            None => String::new(),
            Some(f64::NEG_INFINITY) => ", digital silence around it".into(),
            Some(level) => format!(", over a noise of {} dBFS", number(level, 0)),
        };
        text += &format!(
            "music from {} to {}{}\n",
            time(self.seconds(ends.start)),
            time(self.seconds(ends.end)),
            floor(ends.floor_before)
        );
        let image = match source.image {
            StereoImage::Unknown => "not to be told",
            StereoImage::Stereo => "stereo",
            StereoImage::Mono => "mono",
            StereoImage::LeftSilent => "left silent",
            StereoImage::RightSilent => "right silent",
            StereoImage::Identical => "two equal channels",
            StereoImage::OutOfPhase => "out of phase",
        };
        text += &format!("image {image}; headroom {} dB\n", number(source.headroom_db, 1));
        for note in &self.measured.notes {
            text += &format!("• {} {}\n", note.says, note.advises);
        }
        for finding in &self.findings {
            text += &format!("{}\n", finding.words());
        }
        text + "\n"
    }

    fn value(&self) -> serde_json::Value {
        json!({
            "path": self.file,
            "format": self.format,
            "seconds": self.format.seconds(),
            "ends": self.ends,
            "figures": self.figures(),
            "image": format!("{:?}", self.measured.source.image),
            "findings": report::findings(&self.measured.notes),
            "requirements": self.findings,
        })
    }
}

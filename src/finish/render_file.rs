//! A full pass: jobs that share one render, and its settings, in; all figures and an unfinished file for each
//! job out.

use std::sync::Arc;
use std::sync::mpsc::sync_channel;
use std::thread::ScopedJoinHandle;

use super::bext::BextLoudness;
use super::error::{Error, Fault, Result};
use super::job::MasterJob;
use super::planes::QUEUED_BLOCKS;
use super::progress::ProgressWatcher;
use super::render::{OwnedBlock, RenderJob, render_shared};
use super::song_meters::{SongMeasurement, SongMeters};
use super::source::{MeasuredSource, file_facts_after_cut};
use super::tags::TagField;
use super::writer::{Writer, Written};
use crate::dsp::db;

/// Loudness that a replay gain leads to, LUFS (the convention called ReplayGain 2.0, from memory).
const REPLAY_GAIN_LUFS: f64 = -18.0;

/// A song rendered into files that have no names yet.
pub(super) struct RenderedSong {
    /// The gain it was rendered with, dB.
    pub gain: f64,
    pub measured: SongMeasurement,
    /// One for each job.
    pub writers: Vec<Writer>,
}

/// Renders through the chain onto disk; the meters and each file have a thread of their own. The `jobs` differ in
/// their files only.
pub(super) fn render_file(
    jobs: &[&MasterJob],
    pass: RenderJob,
    source: &MeasuredSource,
    watch: &dyn ProgressWatcher,
) -> Result<(SongMeasurement, Vec<Writer>)> {
    let job = jobs[0];
    let format = source.measurement.format;
    let facts = file_facts_after_cut(&source.measurement.ends, pass.cut);
    let offset_s = (pass.cut.from as f64 - pass.cut.silence_before as f64) / f64::from(format.rate);
    let mut meters = SongMeters::new(pass.rate, format.channels, job.mono_as, pass.settings, job.target)
        .starting_at(offset_s);
    meters.set_file_facts(facts);
    let create = |job: &&MasterJob| {
        let spec = job.output_spec(source, pass.cut);
        let writer = Writer::create(&job.output, spec, job.overwrite, &[&job.input])?;
        Ok(if format.channels == 1 { writer.with_equal_channels() } else { writer })
    };
    let writers = jobs.iter().map(create).collect::<Result<Vec<Writer>>>()?;
    std::thread::scope(|scope| {
        let (send, receive) = sync_channel::<Arc<OwnedBlock>>(QUEUED_BLOCKS);
        let metering = scope.spawn(move || {
            for block in receive {
                meters.push(&block.borrow());
            }
            meters.finish()
        });
        let (mut sends, mut writing) = (vec![send], Vec::new());
        for mut writer in writers {
            let (send, receive) = sync_channel::<Arc<OwnedBlock>>(QUEUED_BLOCKS);
            sends.push(send);
            writing.push(scope.spawn(move || {
                for block in receive {
                    let [left, right] = block.borrow().output;
                    writer.write(left, right)?;
                }
                Ok(writer)
            }));
        }
        let rendered = render_shared(pass, watch, |block| {
            // A receiver is only gone after an error or a panic of its thread, which is passed on below.
            let all_sent = sends.iter().all(|send| send.send(block.clone()).is_ok());
            all_sent.then_some(()).ok_or_else(|| Error::new(&job.output, Fault::Stopped))
        });
        drop(sends);
        let measured = joined(metering);
        // A writer's error comes first: the render's may only say that it could not go on.
        let writers = writing.into_iter().map(joined).collect::<Result<Vec<Writer>>>()?;
        Ok((SongMeasurement { clipped: rendered?, ..measured }, writers))
    })
}

/// What a thread gives; its panic is passed on.
fn joined<T>(thread: ScopedJoinHandle<T>) -> T {
    thread.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))
}

/// Loudness and peak of a record as a whole.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct AlbumFigures {
    /// Integrated loudness of all songs together, LUFS.
    pub integrated: f64,
    /// Highest sample, dBFS.
    pub sample_peak: f64,
}

/// Completes the file with its loudness fields and gives it its name.
pub(super) fn finish_file(
    mut writer: Writer,
    measured: &SongMeasurement,
    album: Option<AlbumFigures>,
) -> Result<Written> {
    let output = &measured.output;
    let song = output.integrated.zip(output.sample_peak);
    let song = song.map(|(integrated, sample_peak)| AlbumFigures { integrated, sample_peak });
    for (figures, gain, peak) in
        [(song, TagField::TrackGain, TagField::TrackPeak), (album, TagField::AlbumGain, TagField::AlbumPeak)]
    {
        let Some(AlbumFigures { integrated, sample_peak }) = figures else { continue };
        writer.set_measured(gain, format!("{:.2} dB", REPLAY_GAIN_LUFS - integrated));
        writer.set_measured(peak, format!("{:.6}", db::to_gain(sample_peak)));
    }
    let loudness = output.integrated.map(|integrated| BextLoudness {
        integrated,
        range: output.range.unwrap_or(0.0),
        true_peak: output.true_peak.unwrap_or(f64::NEG_INFINITY),
        max_momentary: output.max_momentary.unwrap_or(f64::NEG_INFINITY),
        max_short_term: output.max_short_term.unwrap_or(f64::NEG_INFINITY),
    });
    writer.finish(loudness.as_ref())
}

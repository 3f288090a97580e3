//! A full pass: a job and its render settings in; all figures and an unfinished file out.

use std::sync::mpsc::sync_channel;

use super::bext::BextLoudness;
use super::error::Result;
use super::format::OutputSpec;
use super::job::MasterJob;
use super::progress::ProgressWatcher;
use super::render::{OwnedBlock, RenderJob, render};
use super::song_meters::{SongMeasurement, SongMeters};
use super::source::{SourceMeasurement, file_facts_after_cut};
use super::writer::{Writer, Written};

/// Blocks that may wait for the meters.
const QUEUED_BLOCKS: usize = 8;

/// A song rendered into a file that has no name yet.
pub(super) struct RenderedSong {
    /// The gain it was rendered with, dB.
    pub gain: f64,
    pub measured: SongMeasurement,
    pub writer: Writer,
}

/// Renders through the chain onto disk, with the meters on a thread of their own.
pub(super) fn render_file(
    job: &MasterJob,
    pass: RenderJob,
    source: &SourceMeasurement,
    spec: &OutputSpec,
    watch: &dyn ProgressWatcher,
) -> Result<(SongMeasurement, Writer)> {
    let facts = file_facts_after_cut(&source.ends, pass.cut);
    let offset_s = (pass.cut.from as f64 - pass.cut.silence_before as f64) / f64::from(source.format.rate);
    let channels = source.format.channels;
    let mut meters =
        SongMeters::new(pass.rate, channels, job.mono_as, pass.settings, job.target).starting_at(offset_s);
    meters.set_file_facts(facts);
    let mut writer = Writer::create(&job.output, spec.clone(), job.overwrite, &[&job.input])?;
    if channels == 1 {
        writer = writer.with_equal_channels();
    }
    let (send, receive) = sync_channel::<OwnedBlock>(QUEUED_BLOCKS);
    let measured = std::thread::scope(|scope| {
        let metering = scope.spawn(move || {
            for block in receive {
                meters.push(&block.borrow());
            }
            meters.finish()
        });
        let rendered = render(pass, watch, |block| {
            writer.write(block.output[0], block.output[1])?;
            // Sending fails only if the meters panicked; the panic is passed on below.
            let _ = send.send(OwnedBlock::of(block));
            Ok(())
        });
        drop(send);
        let measured = metering.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic));
        rendered.map(|clipped| SongMeasurement { clipped, ..measured })
    })?;
    Ok((measured, writer))
}

/// Completes the file with its loudness fields and gives it its name.
pub(super) fn finish_file(writer: Writer, measured: &SongMeasurement) -> Result<Written> {
    let output = &measured.output;
    let loudness = output.integrated.map(|integrated| BextLoudness {
        integrated,
        range: output.range.unwrap_or(0.0),
        true_peak: output.true_peak.unwrap_or(f64::NEG_INFINITY),
        max_momentary: output.max_momentary.unwrap_or(f64::NEG_INFINITY),
        max_short_term: output.max_short_term.unwrap_or(f64::NEG_INFINITY),
    });
    writer.finish(loudness.as_ref())
}

//! A master as it sounds after lossy delivery: planes in; the decoded planes out, aligned with them.

use std::path::Path;
use std::sync::Arc;

use super::format::EncodedFormat;
use super::lane::LaneSpec;
use super::plan::EncodedPlan;
use crate::finish::converter::Converter;
use crate::finish::error::{Error, Fault, Result};
use crate::meter::MonoAs;

/// A decoded master.
pub struct Decoded {
    /// Sample rate, Hz: that of the codec.
    pub rate: u32,
    /// One or two channels, as long as the master; samples may lie above full scale.
    pub planes: Vec<Vec<f32>>,
}

/// Encodes and decodes one or two planes, equally long, by the first of the plan's encoders for `format`, without a
/// shift. Edges are not faded.
///
/// # Errors
/// If nobody can encode the format, or an encoder fails.
///
/// # Panics
/// Without planes.
pub fn decode_planes(
    plan: &EncodedPlan,
    format: EncodedFormat,
    planes: &[Vec<f32>],
    rate: u32,
) -> Result<Decoded> {
    let failed = |what: String| {
        let fault = Fault::Encoding { format: format.to_string(), what };
        Error::new(Path::new("the master"), fault)
    };
    let who = plan.encoders(format).into_iter().next();
    let who = who.ok_or_else(|| failed("no encoder for it is here, and no ffmpeg on PATH".into()))?;
    let to = format.codec.rate_for(rate);
    let converted = converted(planes, rate, to);
    let (channels, frames) = (planes.len(), converted[0].len());
    let mut block = Vec::with_capacity(frames * channels);
    for n in 0..frames {
        block.extend(converted[..channels].iter().map(|plane| plane[n] as f32));
    }
    let spec = LaneSpec {
        format,
        who,
        shift: 0,
        rate: to,
        channels: channels as u16,
        mono_as: MonoAs::Stereo,
        frames: frames as u64,
    };
    let decoded = spec.decode(Arc::new(block)).map_err(failed)?;
    let plane = |ch: usize| decoded.iter().skip(ch).step_by(channels).copied().collect();
    Ok(Decoded { rate: to, planes: (0..channels).map(plane).collect() })
}

/// The planes at another rate; a single one in both channels.
fn converted(planes: &[Vec<f32>], from: u32, to: u32) -> [Vec<f64>; 2] {
    let wide = |plane: &Vec<f32>| plane.iter().map(|x| f64::from(*x)).collect::<Vec<f64>>();
    let both = [wide(&planes[0]), wide(&planes[planes.len() - 1])];
    if from == to {
        return both;
    }
    let mut converter = Converter::new(from, to);
    let mut out = [Vec::new(), Vec::new()];
    converter.push(&both[0], &both[1], &mut out);
    converter.end(&mut out);
    out
}

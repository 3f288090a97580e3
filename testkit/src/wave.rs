//! Whole sound files by the library's own reader and writer.

use lintel::finish::{Encoding, Layout, OutputSpec, Overwrite, Reader, Result, Writer};
use std::path::Path;

/// All frames of a file.
pub fn read_all(path: &Path) -> Result<[Vec<f64>; 2]> {
    let mut reader = Reader::open(path)?;
    let mut out = [Vec::new(), Vec::new()];
    let (mut left, mut right) = ([0.0; 1000], [0.0; 1000]);
    loop {
        let n = reader.read(&mut left, &mut right)?;
        if n == 0 {
            return Ok(out);
        }
        out[0].extend(&left[..n]);
        out[1].extend(&right[..n]);
    }
}

/// Writes 24-bit stereo over whatever is there.
pub fn save(path: &Path, rate: u32, [left, right]: [&[f64]; 2]) -> Result<()> {
    save_channels(path, rate, 2, [left, right])
}

/// Writes one channel of 24 bit over whatever is there.
pub fn save_mono(path: &Path, rate: u32, samples: &[f64]) -> Result<()> {
    save_channels(path, rate, 1, [samples, samples])
}

fn save_channels(path: &Path, rate: u32, channels: u16, [left, right]: [&[f64]; 2]) -> Result<()> {
    let spec = OutputSpec::new(Layout::Wav, Encoding::Int(24), rate, channels);
    let mut writer = Writer::create(path, spec, Overwrite::Allow, &[])?;
    writer.write(left, right)?;
    writer.finish(None)?;
    Ok(())
}

//! The samples of a file that takes long to decode, kept in memory for the passes after the first: a FLAC or AIFF file
//! in, planar blocks out.

use std::sync::Arc;

use super::format::{Container, Encoding, FileFormat};

/// Largest memory that is used, bytes: six minutes of stereo at 44.1 kHz.
const MOST_BYTES: u64 = 1 << 27;

/// All samples of a file, one plane for each channel.
pub struct KeptSamples {
    format: FileFormat,
    planes: Vec<Vec<f32>>,
}

impl KeptSamples {
    /// Room for the samples of a file, if they are worth it: slow to decode, exact in an f32, and not too many.
    pub(super) fn for_file(format: &FileFormat) -> Option<Self> {
        let is_slow = matches!(format.container, Container::Flac | Container::Aiff);
        let is_exact = matches!(format.encoding, Encoding::Int(..=24) | Encoding::Float(32));
        let bytes = format.frames.saturating_mul(4 * u64::from(format.channels));
        (is_slow && is_exact && bytes <= MOST_BYTES).then(|| Self {
            format: *format,
            planes: (0..format.channels).map(|_| Vec::with_capacity(format.frames as usize)).collect(),
        })
    }

    /// Appends the next frames of the file.
    pub(super) fn push(&mut self, left: &[f32], right: &[f32]) {
        for (plane, samples) in self.planes.iter_mut().zip([left, right]) {
            plane.extend_from_slice(samples);
        }
    }
}

/// Reads kept samples from a position on.
pub(super) struct KeptReader {
    samples: Arc<KeptSamples>,
    at: usize,
}

impl KeptReader {
    /// From frame `from` on.
    pub fn new(samples: Arc<KeptSamples>, from: u64) -> Self {
        let at = (from as usize).min(samples.planes[0].len());
        Self { samples, at }
    }

    /// The file's format.
    pub fn format(&self) -> &FileFormat {
        &self.samples.format
    }

    /// As [`Reader::read`](super::reader::Reader::read).
    pub fn read(&mut self, left: &mut [f64], right: &mut [f64]) -> usize {
        let planes = &self.samples.planes;
        let n = left.len().min(planes[0].len() - self.at);
        for (to, plane) in [left, right].into_iter().zip([&planes[0], &planes[planes.len() - 1]]) {
            for (to, from) in to[..n].iter_mut().zip(&plane[self.at..self.at + n]) {
                *to = f64::from(*from);
            }
        }
        self.at += n;
        n
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::finish::cut::CutPlan;
    use crate::finish::format::{Layout, OutputSpec, Overwrite};
    use crate::finish::progress::NoProgress;
    use crate::finish::song_reader::SongReader;
    use crate::finish::source::measure_source;
    use crate::finish::writer::Writer;
    use crate::meter::MonoAs;

    /// A cut song from memory, at its rate and at another one, is that from the file; a WAV is not kept.
    #[test]
    fn kept_samples_are_those_of_the_file() {
        let folder = tempfile::tempdir().unwrap();
        let mut random = testkit::Random::new(15);
        for (name, layout, channels) in
            [("a.flac", Layout::Flac, 2), ("b.flac", Layout::Flac, 1), ("c.wav", Layout::Wav, 2)]
        {
            let path = folder.path().join(name);
            let spec = OutputSpec::new(layout, Encoding::Int(24), 44_100, channels);
            let mut writer = Writer::create(&path, spec, Overwrite::Refuse, &[]).unwrap();
            let planes = [(); 2].map(|()| (0..30_000).map(|_| 0.9 * random.signed()).collect::<Vec<f64>>());
            writer.write(&planes[0], &planes[1]).unwrap();
            writer.finish(None).unwrap();
            let source = measure_source(&path, MonoAs::Stereo, true, &NoProgress::default()).unwrap();
            assert_eq!(source.kept.is_some(), layout == Layout::Flac);
            let cut = CutPlan {
                from: 1_234,
                to: 29_000,
                silence_before: 77,
                silence_after: 500,
                ..CutPlan::whole(30_000)
            };
            for rate in [44_100, 48_000] {
                let read = |kept: Option<&Arc<KeptSamples>>| {
                    let mut song = SongReader::open_kept(&path, kept, &cut, rate).unwrap();
                    let (mut all, mut block) = ([Vec::new(), Vec::new()], [[0.0; 1000]; 2]);
                    loop {
                        let [left, right] = &mut block;
                        let n = song.read(left, right).unwrap();
                        if n == 0 {
                            return (song.length(), song.channels(), song.native_rate(), all);
                        }
                        all.iter_mut()
                            .zip(&block)
                            .for_each(|(all, block)| all.extend_from_slice(&block[..n]));
                    }
                };
                assert!(read(source.kept.as_ref()) == read(None), "{name} at {rate} Hz");
            }
        }
    }
}

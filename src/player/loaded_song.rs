//! A file read into memory in the background, so that any position can be played at once: 23 MB
//! per minute of stereo at 48 kHz. Samples are linear, full scale ±1.0.

use super::overview::Overview;
use crate::dsp::db;
use crate::finish::{EndsFinder, Error, FileFormat, Reader, SongEnds};
use crate::meter::{FilePeaks, TruePeak};
use crate::sync::lock;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard};

/// Frames read between two checks whether the song is still in use.
const READ_FRAMES: usize = 4096;

/// Frames in one block of memory: a multiple of [`READ_FRAMES`].
const BLOCK_FRAMES: usize = 8 * READ_FRAMES;

/// Progress of reading.
#[derive(Clone, Debug, Default, PartialEq)]
pub enum LoadState {
    /// The file is still being read.
    #[default]
    Reading,
    /// Read completely; start and end of the music.
    Whole(SongEnds),
    /// The file is damaged; what was read before can be played.
    Broken(String),
}

/// One file, shared by the thread that reads it, the one that plays it, and the screen.
pub struct LoadedSong {
    path: PathBuf,
    format: FileFormat,
    /// All but the last are full; a block never changes.
    blocks: Mutex<Vec<Arc<[Vec<f32>; 2]>>>,
    ready: AtomicU64,
    overview: Mutex<Overview>,
    load: Mutex<LoadState>,
    peaks: Mutex<Option<FilePeaks>>,
}

impl LoadedSong {
    /// Opens a file and starts to read it on its own thread, which ends when the last reference is
    /// dropped. The header is checked before this returns.
    pub fn open(path: &Path) -> Result<Arc<Self>, Error> {
        let (song, reader) = Self::prepare(path)?;
        let reading = Arc::downgrade(&song);
        let thread = std::thread::Builder::new().name("lintel reading".into());
        let spawned = thread.spawn({
            let song = song.clone();
            move || song.read_all(reader, &|| reading.strong_count() <= 1)
        });
        if let Err(err) = spawned {
            *lock(&song.load) = LoadState::Broken(format!("the system refused a thread: {err}"));
        }
        Ok(song)
    }

    /// The same, but returns when everything is read: for tests and pictures.
    pub fn open_whole(path: &Path) -> Result<Arc<Self>, Error> {
        let (song, reader) = Self::prepare(path)?;
        song.read_all(reader, &|| false);
        Ok(song)
    }

    fn prepare(path: &Path) -> Result<(Arc<Self>, Reader), Error> {
        let reader = Reader::open(path)?;
        let format = *reader.format();
        let song = Self {
            path: path.to_owned(),
            format,
            blocks: Mutex::default(),
            ready: AtomicU64::new(0),
            overview: Mutex::new(Overview::new(format.rate)),
            load: Mutex::default(),
            peaks: Mutex::default(),
        };
        Ok((Arc::new(song), reader))
    }

    fn read_all(&self, mut reader: Reader, is_unused: &dyn Fn() -> bool) {
        let mut finder = EndsFinder::new(self.format.rate);
        let mut peaks = FilePeakMeter::default();
        let mut wide = [vec![0.0_f64; READ_FRAMES], vec![0.0_f64; READ_FRAMES]];
        let mut block = [Vec::with_capacity(BLOCK_FRAMES), Vec::with_capacity(BLOCK_FRAMES)];
        loop {
            if is_unused() {
                return;
            }
            let [left, right] = &mut wide;
            let n = match reader.read(left, right) {
                Ok(n) => n,
                Err(err) => {
                    self.append(&mut block);
                    *lock(&self.load) = LoadState::Broken(err.fault.to_string());
                    return;
                }
            };
            if n == 0 {
                break;
            }
            finder.push(&left[..n], &right[..n]);
            let from = block[0].len();
            for (block, lane) in block.iter_mut().zip([left, right]) {
                block.extend(lane[..n].iter().map(|x| *x as f32));
            }
            lock(&self.overview).push(&block[0][from..], &block[1][from..]);
            peaks.push([&block[0][from..], &block[1][from..]]);
            if block[0].len() == BLOCK_FRAMES {
                self.append(&mut block);
            }
        }
        self.append(&mut block);
        *lock(&self.peaks) = Some(peaks.finish());
        *lock(&self.load) = LoadState::Whole(finder.finish());
    }

    fn append(&self, block: &mut [Vec<f32>; 2]) {
        let frames = block[0].len() as u64;
        let whole =
            std::mem::replace(block, [Vec::with_capacity(BLOCK_FRAMES), Vec::with_capacity(BLOCK_FRAMES)]);
        lock(&self.blocks).push(Arc::new(whole));
        self.ready.fetch_add(frames, Ordering::Release);
    }

    /// The file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Rate, channels, length and encoding.
    pub fn format(&self) -> &FileFormat {
        &self.format
    }

    /// Frames that can be played so far.
    pub fn ready(&self) -> u64 {
        self.ready.load(Ordering::Acquire)
    }

    /// Progress of reading.
    pub fn load(&self) -> LoadState {
        lock(&self.load).clone()
    }

    /// The highest peaks of the file, once it is read.
    pub fn peaks(&self) -> Option<FilePeaks> {
        *lock(&self.peaks)
    }

    /// Peaks and loudness, as far as the file has been read.
    pub fn overview(&self) -> MutexGuard<'_, Overview> {
        lock(&self.overview)
    }

    /// Copies frames from `from` on into both channels; silence where nothing has been read.
    pub fn read(&self, from: u64, left: &mut [f32], right: &mut [f32]) {
        let mut done = 0;
        while done < left.len() {
            let at = from + done as u64;
            let block = lock(&self.blocks).get((at / BLOCK_FRAMES as u64) as usize).cloned();
            let within = (at % BLOCK_FRAMES as u64) as usize;
            let n = block.as_ref().map_or(0, |b| b[0].len().saturating_sub(within)).min(left.len() - done);
            let Some(block) = block.filter(|_| n > 0) else { break };
            left[done..done + n].copy_from_slice(&block[0][within..within + n]);
            right[done..done + n].copy_from_slice(&block[1][within..within + n]);
            done += n;
        }
        left[done..].fill(0.0);
        right[done..].fill(0.0);
    }
}

/// Highest sample and highest true peak of two channels, linear.
#[derive(Default)]
struct FilePeakMeter {
    meters: [TruePeak; 2],
    sample: f32,
    between: f32,
}

impl FilePeakMeter {
    fn push(&mut self, block: [&[f32]; 2]) {
        for (meter, samples) in self.meters.iter_mut().zip(block) {
            self.sample = samples.iter().fold(self.sample, |highest, x| highest.max(x.abs()));
            self.between = self.between.max(meter.feed_above(samples, self.between));
        }
    }

    fn finish(mut self) -> FilePeaks {
        let highest = self.meters.iter_mut().fold(self.between, |highest, meter| highest.max(meter.finish()));
        let [sample_db, true_db] =
            [self.sample, highest.max(self.sample)].map(|x| db::from_gain(f64::from(x)));
        FilePeaks { sample_db, true_db }
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::finish::{Encoding, Layout, OutputSpec, Overwrite, Writer};

    /// A float WAV file of these samples, the right channel half as loud.
    pub fn file(folder: &Path, rate: u32, samples: &[f32]) -> PathBuf {
        let path = folder.join("song.wav");
        let (layout, encoding) = (Layout::Wav, Encoding::Float(32));
        let spec = OutputSpec::new(layout, encoding, rate, 2);
        let mut writer = Writer::create(&path, spec, Overwrite::Allow, &[]).unwrap();
        let left: Vec<f64> = samples.iter().map(|x| f64::from(*x)).collect();
        let right: Vec<f64> = left.iter().map(|x| x * 0.5).collect();
        writer.write(&left, &right).unwrap();
        writer.finish(None).unwrap();
        path
    }

    #[test]
    fn every_position_reads_the_samples_of_the_file() {
        let folder = tempfile::tempdir().unwrap();
        let samples: Vec<f32> = (0..100_000).map(|n| (n as f32 * 0.01).sin() * 0.5).collect();
        let song = LoadedSong::open_whole(&file(folder.path(), 48_000, &samples)).unwrap();
        assert_eq!(song.ready(), 100_000);
        for from in [0, 1, 4095, 28_671, 28_672, 32_767, 32_768, 65_000, 99_990] {
            let (mut left, mut right) = ([9.0_f32; 5000], [9.0_f32; 5000]);
            song.read(from as u64, &mut left, &mut right);
            for n in 0..5000 {
                let wanted = samples.get(from + n).copied().unwrap_or(0.0);
                assert_eq!((left[n], right[n]), (wanted, wanted * 0.5), "{from} + {n}");
            }
        }
    }

    #[test]
    fn reading_in_the_background_completes_and_finds_start_and_end() {
        let folder = tempfile::tempdir().unwrap();
        let mut samples = vec![0.0_f32; 48_000];
        samples.extend((0..96_000).map(|n| (n as f32 * 0.06).sin() * 0.5));
        samples.extend(vec![0.0; 48_000]);
        let song = LoadedSong::open(&file(folder.path(), 48_000, &samples)).unwrap();
        let ends = loop {
            match song.load() {
                LoadState::Reading => std::thread::yield_now(),
                LoadState::Whole(ends) => break ends,
                LoadState::Broken(why) => panic!("{why}"),
            }
        };
        assert!(ends.start.abs_diff(48_000) < 500 && ends.end.abs_diff(144_000) < 500, "{ends:?}");
        assert_eq!(song.overview().frames(), 192_000);
        // A sine of amplitude 0.5 that ends at once: between the samples of a hard edge it is higher.
        let peaks = song.peaks().unwrap();
        assert!((peaks.sample_db + 6.02).abs() < 0.01, "{peaks:?}");
        assert!((-6.02..-4.5).contains(&peaks.true_db), "{peaks:?}");
    }

    #[test]
    fn a_file_that_is_no_audio_is_refused_in_one_line() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("letter.txt");
        std::fs::write(&path, "dear all").unwrap();
        let Err(error) = LoadedSong::open(&path) else { panic!("opened") };
        assert!(error.to_string().contains("neither WAV, AIFF nor FLAC"), "{error}");
    }
}

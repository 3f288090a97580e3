//! The job of mastering a release: what the user asks for, as plain data, in; for each song and delivery a job
//! of its own out, with its file, its tags, its ends and the gaps.

use std::path::{Path, PathBuf};

use super::cut::EndsOptions;
use super::delivery::{Delivery, safe_name};
use super::ends::SongEnds;
use super::job::{MasterJob, name_for};
use super::release_result::Balance;
use super::song_list::bare_names;
use super::tags::{TagField, Tags};
use crate::settings::Settings;

/// Name of the files of a whole record where it has no title.
const UNTITLED: &str = "release";

/// One song of a release.
#[derive(Clone, Debug)]
pub struct ReleaseSong {
    /// Its job. Output, target, lead-in and tail are filled in.
    pub job: MasterJob,
    /// How much louder than the balance asks, LU.
    pub offset: f64,
    /// Leave it as it is: no processing, no trim, no matching.
    pub as_it_is: bool,
    /// Silence to the next song, from ring-out to attack, s; none for that of the release.
    pub gap_after: Option<f64>,
}

impl ReleaseSong {
    /// A song without wishes of its own.
    pub fn of(job: MasterJob) -> Self {
        Self { job, offset: 0.0, as_it_is: false, gap_after: None }
    }
}

/// What the user asks for.
pub struct ReleaseJob {
    /// The songs in their order; at least one.
    pub songs: Vec<ReleaseSong>,
    /// Folder of the masters and the report.
    pub folder: PathBuf,
    /// Tags of the record: title, artist, UPC, year.
    pub tags: Tags,
    /// The files asked for, each set in a folder of its own if there are several; without any, files as the
    /// songs' jobs have them.
    pub deliveries: Vec<Delivery>,
    /// How the songs' loudness relates.
    pub balance: Balance,
    /// Silence between two songs, from ring-out to attack, s.
    pub gap: f64,
    /// Write all songs, with their gaps, into one long file too.
    pub one_file: bool,
    /// Write the HTML report.
    pub report: bool,
}

/// The files of one delivery.
pub(super) struct DeliveryFiles {
    /// What it is called in the report.
    pub label: String,
    pub folder: PathBuf,
    /// The cue sheet of the separate files.
    pub cue: PathBuf,
    /// The checksums.
    pub sums: PathBuf,
    /// The one long file and its cue sheet.
    pub whole: Option<[PathBuf; 2]>,
}

impl DeliveryFiles {
    /// All of them.
    pub fn paths(&self) -> impl Iterator<Item = &Path> {
        [&self.cue, &self.sums].into_iter().chain(self.whole.iter().flatten()).map(PathBuf::as_path)
    }
}

impl ReleaseJob {
    /// Number of sets of files.
    pub(super) fn sets(&self) -> usize {
        self.deliveries.len().max(1)
    }

    /// The silence after song `i`, s.
    pub fn gap_after(&self, i: usize) -> f64 {
        self.songs[i].gap_after.unwrap_or(self.gap)
    }

    /// The files of a delivery besides the masters. `rate` is that of the masters, Hz.
    pub(super) fn files(&self, set: usize) -> DeliveryFiles {
        let delivery = self.deliveries.get(set);
        let label = delivery.map_or_else(|| "masters".to_owned(), Delivery::label);
        let folder = match self.deliveries.len() {
            0 | 1 => self.folder.clone(),
            _ => self.folder.join(safe_name(&label)),
        };
        let job = &self.songs[0].job;
        let layout = delivery.map_or(job.layout, |delivery| delivery.layout);
        let record = safe_name(self.tags.get(TagField::Album).unwrap_or(UNTITLED));
        let whole = self.one_file.then(|| {
            let name = |extension: &str| folder.join(format!("{record} (one file).{extension}"));
            [name(layout.extension()), name("cue")]
        });
        DeliveryFiles {
            cue: folder.join(format!("{record}.cue")),
            sums: folder.join("SHA256SUMS"),
            label,
            folder,
            whole,
        }
    }

    /// The report, if one is to be written.
    pub(super) fn page(&self) -> Option<PathBuf> {
        self.report.then(|| self.folder.join("release.html"))
    }

    /// Every file that it writes: masters, cue sheets, checksums, long files, report.
    pub fn outputs(&self) -> Vec<PathBuf> {
        let masters = self.jobs().into_iter().flatten().map(|job| job.output);
        let files: Vec<DeliveryFiles> = (0..self.sets()).map(|set| self.files(set)).collect();
        let extras = files.iter().flat_map(DeliveryFiles::paths).map(Path::to_owned);
        masters.chain(extras).chain(self.page()).collect()
    }

    /// The jobs of every song, one for each delivery, still without gaps.
    pub(super) fn jobs(&self) -> Vec<Vec<MasterJob>> {
        let inputs: Vec<&Path> = self.songs.iter().map(|song| song.job.input.as_path()).collect();
        let names = bare_names(&inputs);
        let job = |i: usize, set: usize| self.job(i, set, &names[i]);
        (0..self.songs.len()).map(|i| (0..self.sets()).map(|set| job(i, set)).collect()).collect()
    }

    fn job(&self, i: usize, set: usize, name: &str) -> MasterJob {
        let song = &self.songs[i];
        let delivery = self.deliveries.get(set);
        let mut job = delivery.map_or_else(|| song.job.clone(), |delivery| delivery.applied_to(&song.job));
        job.cores = 1;
        if song.as_it_is {
            job.settings = neutral();
            job.match_target = false;
            job.ends = EndsOptions { no_trim: true, ..EndsOptions::default() };
        }
        let number = Tags::default()
            .with(TagField::Track, Some((i + 1).to_string()))
            .with(TagField::Tracks, Some(self.songs.len().to_string()));
        job.tags = job.tags.over(&number.over(&self.tags));
        if let (None, Some(artist)) = (job.tags.get(TagField::Artist), self.tags.get(TagField::AlbumArtist)) {
            job.tags.set(TagField::Artist, artist);
        }
        job.untitled = Some(name.to_owned());
        let title = song.job.tags.get(TagField::Title).map_or_else(|| name.to_owned(), safe_name);
        let usual = name_for(Path::new(&format!("{:02} {title}.x", i + 1)), job.layout);
        let usual = super::song_list::file_stem(&usual);
        let stem = delivery.map_or_else(|| usual.clone(), |delivery| delivery.file_stem(&usual, &job));
        job.output = self.files(set).folder.join(format!("{stem}.{}", job.layout.extension()));
        job
    }

    /// Sets start and end of every job: the gap between two songs is the tail of the one and the lead-in of the
    /// other. What a song that is left as it is has of silence counts for it. Where an edge is given, digital silence
    /// makes the gap. `ends` are those of the sources.
    pub(super) fn set_gaps(&self, jobs: &mut [Vec<MasterJob>], ends: &[SongEnds]) {
        for (i, of_song) in jobs.iter_mut().enumerate() {
            for job in of_song.iter_mut().filter(|_| !self.songs[i].as_it_is) {
                let rate = f64::from(job.rate.unwrap_or(ends[i].rate));
                job.ends = self.ends(i, job.ends, ends, rate);
            }
        }
    }

    fn ends(&self, i: usize, usual: EndsOptions, ends: &[SongEnds], rate: f64) -> EndsOptions {
        let seconds = |i: usize, frames: u64| frames as f64 / f64::from(ends[i].rate);
        // Silence that a song has at its ends if it is left as it is, s.
        let own_lead = |i: usize| self.songs[i].as_it_is.then(|| seconds(i, ends[i].start));
        let own_tail = |i: usize| self.songs[i].as_it_is.then(|| seconds(i, ends[i].frames - ends[i].end));
        let lead = |i: usize| {
            let lead = if self.songs[i].job.ends.start.is_some() { 0.0 } else { usual.lead_in };
            let before = i.checked_sub(1);
            own_lead(i).unwrap_or_else(|| {
                match before.map(|before| (self.gap_after(before), own_tail(before))) {
                    None => lead,
                    Some((gap, None)) => lead.min(gap),
                    Some((gap, Some(tail))) => (gap - tail).max(0.0),
                }
            })
        };
        // In whole frames of the master.
        let whole = |seconds: f64| (seconds * rate).round() / rate;
        let tail = match i + 1 == self.songs.len() {
            true if usual.end.is_some() => 0.0,
            true => usual.tail,
            false => (whole(self.gap_after(i)) - whole(lead(i + 1))).max(0.0),
        };
        EndsOptions { lead_in: lead(i), tail, pad: true, ..usual }
    }
}

/// Settings that leave every sample as it is.
pub fn neutral() -> Settings {
    let mut settings = Settings::default();
    settings.input.trim_on = false;
    settings.eq.on = false;
    settings.compressor.on = false;
    (settings.limiter.on, settings.limiter.drive) = (false, 0.0);
    settings
}

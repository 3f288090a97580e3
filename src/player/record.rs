//! Several songs as one record: files or a plan in; the songs in their order, each with its own settings, edges and
//! fields, and the plan and the job of the whole out. Nothing here plays or reads samples.

use crate::finish::plan::job_of;
use crate::finish::plan_tables::{Plan, ReleaseTable, SongTable, set_song_settings, song_settings};
use crate::finish::song_list::{bare_names, default_folder};
use crate::finish::{
    Error, Fault, MasterJob, Overwrite, Reader, ReleaseJob, TagField, neutral, read_metadata, write_whole,
};
use crate::params::without_monitoring;
use crate::settings::Settings;
use std::path::{Path, PathBuf};

/// One of them.
#[derive(Clone, Debug)]
pub struct RecordSong {
    /// Stays the same while the order changes.
    pub id: u64,
    /// What the plan says of it; its key `set` is made from `settings`. The path is absolute.
    pub table: SongTable,
    /// Its settings.
    pub settings: Settings,
    /// The title in its file.
    own_title: Option<String>,
}

/// Why a plan was not written.
#[derive(Clone, Debug, PartialEq)]
pub enum SaveError {
    /// The file exists, and may not be replaced.
    Exists,
    /// One line.
    Failed(String),
}

/// A record.
#[derive(Clone, Debug)]
pub struct Record {
    /// What the songs have in common. Paths are absolute.
    pub release: ReleaseTable,
    /// Its sets of files.
    pub deliveries: Vec<crate::finish::delivery::DeliveryTable>,
    songs: Vec<RecordSong>,
    shown: usize,
    /// The plan that it was read from, or written to last.
    path: Option<PathBuf>,
    /// As it was then, or when it was put together.
    saved: Plan,
    next_id: u64,
}

impl Record {
    /// A record of these files, each with these settings; a line for each that is no song.
    pub fn of_files(files: &[PathBuf], settings: &Settings) -> (Self, Vec<String>) {
        let mut record = Self {
            release: ReleaseTable::default(),
            deliveries: Vec::new(),
            songs: Vec::new(),
            shown: 0,
            path: None,
            saved: Plan::default(),
            next_id: 0,
        };
        let faults = record.add(files, settings);
        record.saved = record.plan().unwrap_or_default();
        (record, faults)
    }

    /// The record of a plan.
    ///
    /// # Errors
    /// One line that names the plan and the fault.
    pub fn open(path: &Path) -> Result<Self, String> {
        let at = |err: String| format!("{}: {err}", path.display());
        let plan = Plan::open(path)?;
        // All that a plan can have wrong is said now, and not when the record is exported.
        job_of(plan.clone(), Path::new(""), &MasterJob::new(Path::new(""))).map_err(at)?;
        let (mut record, _) = Self::of_files(&[], &Settings::default());
        for table in &plan.song {
            let settings = match table.as_it_is {
                true => neutral(),
                false => song_settings(&plan.release, table).map_err(at)?,
            };
            let own_title = title_of(&table.file).unwrap_or_default();
            record.push(table.clone(), &settings, own_title);
        }
        (record.release, record.deliveries) = (plan.release, plan.delivery);
        record.path = std::path::absolute(path).ok().or_else(|| Some(path.to_owned()));
        record.saved = record.plan().map_err(at)?;
        Ok(record)
    }

    fn push(&mut self, table: SongTable, settings: &Settings, own_title: Option<String>) {
        let id = self.next_id;
        self.next_id += 1;
        self.songs.push(RecordSong { id, table, settings: without_monitoring(settings), own_title });
    }

    /// Puts files behind the songs, each with these settings; a line for each that is no song.
    pub fn add(&mut self, files: &[PathBuf], settings: &Settings) -> Vec<String> {
        let mut faults = Vec::new();
        for file in files {
            match title_of(file) {
                Ok(own_title) => {
                    let file = std::path::absolute(file).unwrap_or_else(|_| file.clone());
                    self.push(SongTable::of(file), settings, own_title);
                }
                Err(err) => faults.push(err.to_string()),
            }
        }
        faults
    }

    /// The songs in their order.
    pub fn songs(&self) -> &[RecordSong] {
        &self.songs
    }

    /// Place of the song that is shown.
    pub fn shown(&self) -> usize {
        self.shown
    }

    /// The song that is shown.
    ///
    /// # Panics
    /// Without songs.
    pub fn song(&self) -> &RecordSong {
        &self.songs[self.shown]
    }

    /// The same, to be changed.
    ///
    /// # Panics
    /// Without songs.
    pub fn song_mut(&mut self) -> &mut RecordSong {
        &mut self.songs[self.shown]
    }

    /// All songs, to be changed.
    pub fn songs_mut(&mut self) -> &mut [RecordSong] {
        &mut self.songs
    }

    /// Makes `settings`, monitoring aside, those of the song that is shown. One that is left as it is has none.
    pub fn set_settings(&mut self, settings: &Settings) {
        let song = &mut self.songs[self.shown];
        if !song.table.as_it_is {
            song.settings = without_monitoring(settings);
        }
    }

    /// Shows another song; a place behind the last one means the last one.
    pub fn show(&mut self, at: usize) {
        self.shown = at.min(self.songs.len().saturating_sub(1));
    }

    /// Moves the song that is shown to the place before, or after, its present one.
    pub fn move_shown(&mut self, later: bool) {
        let to = if later { self.shown + 1 } else { self.shown.wrapping_sub(1) };
        if to < self.songs.len() {
            self.songs.swap(self.shown, to);
            self.shown = to;
        }
    }

    /// Removes the song that is shown; the next one is shown then, or the last one.
    pub fn remove_shown(&mut self) {
        if self.shown < self.songs.len() {
            self.songs.remove(self.shown);
        }
        self.show(self.shown);
    }

    /// The titles: as the plan says, else as the file says, else the file's name without a number in front.
    pub fn titles(&self) -> Vec<String> {
        let files: Vec<&Path> = self.songs.iter().map(|song| song.table.file.as_path()).collect();
        let title = |(song, name): (&RecordSong, String)| {
            song.table.title.clone().or_else(|| song.own_title.clone()).unwrap_or(name)
        };
        self.songs.iter().zip(bare_names(&files)).map(title).collect()
    }

    /// The plan that it was read from or written to last.
    pub fn path(&self) -> Option<&Path> {
        self.path.as_deref()
    }

    /// Where its plan is written if no other place is named: beside the first song.
    pub fn default_path(&self) -> PathBuf {
        let beside = |song: &RecordSong| song.table.file.with_file_name("release.toml");
        self.path.clone().or_else(|| self.songs.first().map(beside)).unwrap_or_default()
    }

    /// Where the masters go if no folder is named: as for `lintel release`, "masters" beside the plan, or beside the
    /// first song while there is none.
    pub fn default_folder(&self) -> PathBuf {
        let first: Vec<PathBuf> = self.songs.iter().take(1).map(|song| song.table.file.clone()).collect();
        self.path.as_ref().map_or_else(|| default_folder(&first), |plan| plan.with_file_name("masters"))
    }

    /// Its plan; all paths are absolute.
    ///
    /// # Errors
    /// A sentence that names a preset or a settings file of the plan that cannot be read.
    pub fn plan(&self) -> Result<Plan, String> {
        let mut plan =
            Plan { release: self.release.clone(), delivery: self.deliveries.clone(), song: Vec::new() };
        for song in &self.songs {
            let mut table = song.table.clone();
            set_song_settings(&self.release, &mut table, &song.settings)?;
            plan.song.push(table);
        }
        Ok(plan)
    }

    /// Whether it is not as it was read, written last, or put together.
    pub fn is_changed(&self) -> bool {
        self.plan().as_ref() != Ok(&self.saved)
    }

    /// Writes its plan, complete or not at all.
    ///
    /// # Errors
    /// That the file exists and may not be replaced, or one line that says why it was not written.
    pub fn save(&mut self, path: &Path, overwrite: Overwrite) -> Result<(), SaveError> {
        let plan = self.plan().map_err(SaveError::Failed)?;
        let path = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
        let whole = |err: Error| match err.fault {
            Fault::Exists => SaveError::Exists,
            _ => SaveError::Failed(err.to_string()),
        };
        if self.songs.iter().any(|song| song.table.file == path) {
            let why = format!("{}: is a song of the record; name another file", path.display());
            return Err(SaveError::Failed(why));
        }
        // What cannot be read again is not written.
        job_of(plan.clone(), Path::new(""), &MasterJob::new(Path::new(""))).map_err(SaveError::Failed)?;
        let text = plan.text(path.parent().unwrap_or(Path::new("")));
        write_whole(&path, text.as_bytes(), overwrite).map_err(whole)?;
        (self.path, self.saved) = (Some(path), plan);
        Ok(())
    }

    /// The job that `lintel release` has of its plan, with the masters in `folder` and one core left free for playback.
    ///
    /// # Errors
    /// One line that names the table of the plan and the fault.
    pub fn job(&self, folder: &Path, overwrite: Overwrite) -> Result<ReleaseJob, String> {
        let cores = std::thread::available_parallelism().map_or(1, |n| n.get().saturating_sub(1).max(1));
        let mut each = MasterJob { cores, overwrite, ..MasterJob::new(Path::new("")) };
        each.protected.extend(self.path.clone());
        let job = job_of(self.plan()?, Path::new(""), &each)?;
        Ok(ReleaseJob { folder: folder.to_owned(), ..job })
    }
}

/// The title in a file; none if it has none.
fn title_of(file: &Path) -> Result<Option<String>, Error> {
    let container = Reader::open(file)?.format().container;
    Ok(read_metadata(file, container)?.tags.get(TagField::Title).map(str::to_owned))
}

#[cfg(test)]
mod tests {
    use super::super::loaded_song::tests::file;
    use super::*;
    use crate::finish::plan::read_plan;
    use crate::finish::plan_tables::NumberOrWord;

    /// Songs called so, in a folder.
    fn songs(folder: &Path, names: &[&str]) -> Vec<PathBuf> {
        let one = |name: &&str| {
            let path = folder.join(format!("{name}.wav"));
            std::fs::rename(file(folder, 48_000, &[0.1; 480]), &path).unwrap();
            path
        };
        names.iter().map(one).collect()
    }

    #[test]
    fn songs_are_added_moved_and_removed_and_keep_what_is_theirs() {
        let folder = tempfile::tempdir().unwrap();
        let mut files = songs(folder.path(), &["01 oars", "02 ebb", "03 lamp"]);
        let letter = folder.path().join("letter.txt");
        std::fs::write(&letter, "dear all").unwrap();
        files.push(letter);
        let (mut record, faults) = Record::of_files(&files, &Settings::default());
        assert_eq!(faults.len(), 1);
        assert!(faults[0].contains("letter.txt") && !faults[0].contains('\n'), "{faults:?}");
        assert_eq!(record.titles(), ["oars", "ebb", "lamp"]);
        assert!(!record.is_changed());
        record.song_mut().settings.limiter.drive = 3.0;
        record.song_mut().table.title = Some("Wet oars".into());
        assert!(record.is_changed());
        record.move_shown(false);
        assert_eq!(record.shown(), 0, "the first has no place before it");
        record.move_shown(true);
        assert_eq!(
            (record.titles(), record.shown()),
            (["ebb", "Wet oars", "lamp"].map(String::from).to_vec(), 1)
        );
        assert_eq!(record.songs().iter().map(|song| song.id).collect::<Vec<_>>(), [1, 0, 2]);
        record.show(0);
        record.remove_shown();
        assert_eq!((record.titles()[0].as_str(), record.song().settings.limiter.drive), ("Wet oars", 3.0));
        record.show(1);
        record.remove_shown();
        assert_eq!((record.shown(), record.songs().len()), (0, 1));
    }

    #[test]
    fn a_saved_plan_is_read_by_the_command_line_with_the_same_settings_and_replaced_only_on_request() {
        let folder = tempfile::tempdir().unwrap();
        let (mut record, _) = Record::of_files(&songs(folder.path(), &["oars", "ebb"]), &Settings::default());
        record.release.title = Some("Boathouse".into());
        record.release.target = Some(NumberOrWord::typed("-16"));
        record.release.gap = Some(1.25);
        record.song_mut().settings.eq.on = true;
        record.song_mut().settings.eq.bands[2].gain = -1.5;
        record.show(1);
        record.song_mut().settings.limiter.drive = 4.2;
        record.song_mut().settings.bypass = true;
        record.song_mut().table.isrc = Some("AA6Q72000047".into());
        record.song_mut().table.end = Some(1.5);
        let plan = record.default_path();
        assert_eq!(plan, folder.path().join("release.toml"));
        record.save(&plan, Overwrite::Refuse).unwrap();
        assert!(!record.is_changed());
        let written = std::fs::read(&plan).unwrap();
        record.song_mut().settings.limiter.drive = 5.0;
        assert_eq!(record.save(&plan, Overwrite::Refuse), Err(SaveError::Exists));
        assert_eq!(std::fs::read(&plan).unwrap(), written);

        let job = read_plan(&plan, &MasterJob::new(Path::new(""))).unwrap();
        assert_eq!((job.gap, job.tags.get(TagField::Album)), (1.25, Some("Boathouse")));
        let [first, second] = [0, 1].map(|i| &job.songs[i].job);
        assert_eq!(first.input, folder.path().join("oars.wav"));
        assert_eq!(first.settings, record.songs()[0].settings);
        assert_eq!((second.settings.limiter.drive, second.settings.bypass), (4.2, false));
        assert_eq!((second.ends.end, second.target.loudness), (Some(1.5), -16.0));
        assert_eq!(second.tags.get(TagField::Isrc), Some("AA6Q72000047"));

        let again = Record::open(&plan).unwrap();
        assert!(!again.is_changed());
        // A song that is left as it is sounds so, and takes no settings.
        let text = std::fs::read_to_string(&plan).unwrap();
        let left = folder.path().join("left.toml");
        std::fs::write(&left, text + "\n[[song]]\nfile = \"oars.wav\"\nas_it_is = true\n").unwrap();
        let mut of_left = Record::open(&left).unwrap();
        of_left.show(2);
        assert!(!of_left.song().settings.limiter.on);
        of_left.set_settings(&Settings::default());
        assert!(!of_left.is_changed() && !of_left.song().settings.limiter.on);
        assert_eq!(again.songs()[1].settings.limiter.drive, 4.2);
        assert_eq!(again.default_folder(), folder.path().join("masters"));
        record.save(&plan, Overwrite::Allow).unwrap();
        assert_eq!(Record::open(&plan).unwrap().songs()[1].settings.limiter.drive, 5.0);
    }

    #[test]
    fn what_no_command_could_read_is_not_written_and_a_song_is_never_replaced() {
        let folder = tempfile::tempdir().unwrap();
        let (mut record, _) = Record::of_files(&songs(folder.path(), &["oars"]), &Settings::default());
        let plan = folder.path().join("release.toml");
        let song = record.song().table.file.clone();
        let failed = |record: &mut Record, path: &Path| match record.save(path, Overwrite::Allow) {
            Err(SaveError::Failed(why)) => why,
            other => panic!("{other:?}"),
        };
        let said = failed(&mut record, &song);
        assert!(said.contains("is a song"), "{said}");
        record.song_mut().table.isrc = Some("AA6".into());
        let said = failed(&mut record, &plan);
        assert!(said.contains("song 1") && said.contains("ISRC") && !plan.exists(), "{said}");
        std::fs::write(&plan, "[release]\ntitel = \"x\"\n").unwrap();
        let said = Record::open(&plan).unwrap_err();
        assert!(said.contains("release.toml") && said.contains("line 2"), "{said}");
    }
}

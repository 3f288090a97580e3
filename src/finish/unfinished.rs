//! A file that gets its name only once it is whole: bytes go into it beside the target, and either the
//! target stands there complete in the end or nothing does.
//!
//! On Linux the file has no name at all until then, so that even a killed process leaves nothing
//! (`O_TMPFILE`, open(2)). Where the system or the file system cannot do that it is called
//! `.lintel-….part`, is removed when it is dropped, and locked as long as its process lives: what a
//! killed process has left is not locked, and the next one that writes into the folder removes it.

use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};
use std::time::Duration;

use tempfile::NamedTempFile;

use super::write::Overwrite;

const PREFIX: &str = ".lintel-";
const SUFFIX: &str = ".part";
/// Age from which on an unlocked part counts as left behind: a new one is not locked at once.
const STALE: Duration = Duration::from_secs(60);

/// A file on its way.
pub struct UnfinishedFile {
    file: File,
    folder: PathBuf,
    /// None for a file without a name.
    name: Option<NamedTempFile>,
}

impl UnfinishedFile {
    /// Begins a file in the folder of `path`, with the rights of any new file.
    pub fn beside(path: &Path) -> io::Result<Self> {
        let folder = match path.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        };
        sweep(folder);
        if let Some(file) = nameless(folder) {
            return Ok(Self { file, folder: folder.to_owned(), name: None });
        }
        Self::named(folder)
    }

    fn named(folder: &Path) -> io::Result<Self> {
        let name = builder().tempfile_in(folder)?;
        let file = name.as_file().try_clone()?;
        // Not every file system has locks; without one the file may be swept after a minute, and
        // then the end fails.
        let _ = file.try_lock();
        Ok(Self { file, folder: folder.to_owned(), name: Some(name) })
    }

    /// The file, to write into.
    pub fn file(&self) -> &File {
        &self.file
    }

    /// Gives it the name `path`, which must lie in its folder.
    pub fn finish(self, path: &Path, overwrite: Overwrite) -> io::Result<()> {
        let name = match (self.name, overwrite) {
            (Some(name), _) => name,
            (None, Overwrite::Refuse) => return link(&self.file, path),
            // A link replaces nothing, a rename does: so it gets a hidden name first.
            (None, Overwrite::Allow) => builder().make_in(&self.folder, |hidden| {
                link(&self.file, hidden)?;
                self.file.try_clone()
            })?,
        };
        let done = match overwrite {
            Overwrite::Allow => name.persist(path),
            Overwrite::Refuse => name.persist_noclobber(path),
        };
        done.map(drop).map_err(|err| err.error)
    }
}

fn builder<'a>() -> tempfile::Builder<'a, 'a> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(PREFIX).suffix(SUFFIX);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        builder.permissions(std::fs::Permissions::from_mode(0o666));
    }
    builder
}

/// A file without a name, where there is such a thing and a way to name it later.
#[cfg(target_os = "linux")]
fn nameless(folder: &Path) -> Option<File> {
    use rustix::fs::{Mode, OFlags, open};
    let flags = OFlags::TMPFILE | OFlags::RDWR | OFlags::CLOEXEC;
    let file = File::from(open(folder, flags, Mode::from_raw_mode(0o666)).ok()?);
    door(&file).exists().then_some(file)
}

/// Where the system shows an open file by number.
#[cfg(target_os = "linux")]
fn door(file: &File) -> PathBuf {
    use std::os::fd::AsRawFd;
    PathBuf::from(format!("/proc/self/fd/{}", file.as_raw_fd()))
}

#[cfg(target_os = "linux")]
fn link(file: &File, path: &Path) -> io::Result<()> {
    use rustix::fs::{AtFlags, CWD, linkat};
    linkat(CWD, door(file), CWD, path, AtFlags::SYMLINK_FOLLOW).map_err(io::Error::from)
}

#[cfg(not(target_os = "linux"))]
fn nameless(_: &Path) -> Option<File> {
    None
}

#[cfg(not(target_os = "linux"))]
fn link(_: &File, _: &Path) -> io::Result<()> {
    Err(io::ErrorKind::Unsupported.into())
}

/// Removes what killed processes have left. Failing to is no failure of the work at hand.
fn sweep(folder: &Path) {
    let Ok(entries) = std::fs::read_dir(folder) else { return };
    for path in entries.filter_map(|entry| Some(entry.ok()?.path())) {
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        if !(name.starts_with(PREFIX) && name.ends_with(SUFFIX)) {
            continue;
        }
        let Ok(file) = File::open(&path) else { continue };
        let age = file.metadata().and_then(|meta| meta.modified()).map(|at| at.elapsed());
        if matches!(age, Ok(Ok(age)) if age >= STALE) && file.try_lock().is_ok() {
            let _ = std::fs::remove_file(&path);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;
    use std::io::Write;

    fn names(folder: &Path) -> Vec<String> {
        let entries = fs::read_dir(folder).unwrap();
        entries.map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned()).collect()
    }

    /// Both kinds, into the clear and over another file.
    #[test]
    fn the_name_comes_last() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("x");
        for make in
            [UnfinishedFile::beside as fn(&Path) -> _, |path| UnfinishedFile::named(path.parent().unwrap())]
        {
            let part = make(&path).unwrap();
            part.file().write_all(b"first").unwrap();
            assert!(!path.exists());
            part.finish(&path, Overwrite::Refuse).unwrap();
            assert_eq!((names(folder.path()), fs::read(&path).unwrap()), (vec!["x".into()], b"first".into()));

            let part = make(&path).unwrap();
            assert_eq!(
                part.finish(&path, Overwrite::Refuse).unwrap_err().kind(),
                io::ErrorKind::AlreadyExists
            );
            let part = make(&path).unwrap();
            part.file().write_all(b"second").unwrap();
            part.finish(&path, Overwrite::Allow).unwrap();
            assert_eq!(
                (names(folder.path()), fs::read(&path).unwrap()),
                (vec!["x".into()], b"second".into())
            );
            fs::remove_file(&path).unwrap();
        }
    }

    #[test]
    fn what_a_killed_process_left_is_swept_and_what_a_living_one_holds_is_not() {
        let folder = tempfile::tempdir().unwrap();
        let long_ago = std::time::SystemTime::now() - 2 * STALE;
        let left = folder.path().join(".lintel-left.part");
        let young = folder.path().join(".lintel-young.part");
        File::create(&left).unwrap().set_modified(long_ago).unwrap();
        File::create(&young).unwrap();
        let held = UnfinishedFile::named(folder.path()).unwrap();
        held.file().set_modified(long_ago).unwrap();
        fs::write(folder.path().join("a song.wav"), b"").unwrap();
        sweep(folder.path());
        assert!(!left.exists() && young.exists());
        assert_eq!(names(folder.path()).len(), 3);
        held.finish(&folder.path().join("x"), Overwrite::Refuse).unwrap();
    }
}

//! A file that gets its name only when it is complete: bytes in, a file under its final name out, or no
//! file at all.
//!
//! On Linux the file has no name until then, so that even a killed process leaves nothing (`O_TMPFILE`,
//! open(2)). Where the system or the file system does not support that, the file is called
//! `.lintel-….part`, is removed when it is dropped, and is locked while its process runs. What a killed
//! process left behind is not locked; the next process that writes into the folder removes it.

use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};
use std::time::Duration;

use tempfile::NamedTempFile;

use super::format::Overwrite;

/// Beginning and end of a temporary name.
const PREFIX: &str = ".lintel-";
const SUFFIX: &str = ".part";
/// Age from which an unlocked temporary file counts as left behind: a new one is not locked at once.
const STALE_AGE: Duration = Duration::from_secs(60);

/// A file under construction.
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
        remove_stale(folder);
        if let Some(file) = nameless(folder) {
            return Ok(Self { file, folder: folder.to_owned(), name: None });
        }
        Self::named(folder)
    }

    fn named(folder: &Path) -> io::Result<Self> {
        let name = builder().tempfile_in(folder)?;
        let file = name.as_file().try_clone()?;
        // Not every file system has locks. Without one, another process may remove the file after a
        // minute; then `finish` fails.
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
            // A link never replaces a file, a rename does: link to a hidden name, then rename.
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

/// A file without a name, where the system supports one and a way to name it later.
#[cfg(target_os = "linux")]
fn nameless(folder: &Path) -> Option<File> {
    use rustix::fs::{Mode, OFlags, open};
    let flags = OFlags::TMPFILE | OFlags::RDWR | OFlags::CLOEXEC;
    let file = File::from(open(folder, flags, Mode::from_raw_mode(0o666)).ok()?);
    descriptor_path(&file).exists().then_some(file)
}

/// The path of an open file descriptor.
#[cfg(target_os = "linux")]
fn descriptor_path(file: &File) -> PathBuf {
    use std::os::fd::AsRawFd;
    PathBuf::from(format!("/proc/self/fd/{}", file.as_raw_fd()))
}

#[cfg(target_os = "linux")]
fn link(file: &File, path: &Path) -> io::Result<()> {
    use rustix::fs::{AtFlags, CWD, linkat};
    linkat(CWD, descriptor_path(file), CWD, path, AtFlags::SYMLINK_FOLLOW).map_err(io::Error::from)
}

#[cfg(not(target_os = "linux"))]
fn nameless(_: &Path) -> Option<File> {
    None
}

#[cfg(not(target_os = "linux"))]
fn link(_: &File, _: &Path) -> io::Result<()> {
    Err(io::ErrorKind::Unsupported.into())
}

/// Removes what killed processes have left in `folder`. Errors are ignored: they do not concern the
/// file at hand.
fn remove_stale(folder: &Path) {
    let Ok(entries) = std::fs::read_dir(folder) else { return };
    for path in entries.filter_map(|entry| Some(entry.ok()?.path())) {
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        if !(name.starts_with(PREFIX) && name.ends_with(SUFFIX)) {
            continue;
        }
        let Ok(file) = File::open(&path) else { continue };
        let age = file.metadata().and_then(|meta| meta.modified()).map(|at| at.elapsed());
        if matches!(age, Ok(Ok(age)) if age >= STALE_AGE) && file.try_lock().is_ok() {
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

    /// With and without a temporary name, to a free name and over another file.
    #[test]
    fn a_file_gets_its_name_only_when_it_is_complete() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("x");
        for make in
            [UnfinishedFile::beside as fn(&Path) -> _, |path| UnfinishedFile::named(path.parent().unwrap())]
        {
            let unfinished = make(&path).unwrap();
            unfinished.file().write_all(b"first").unwrap();
            assert!(!path.exists());
            unfinished.finish(&path, Overwrite::Refuse).unwrap();
            assert_eq!((names(folder.path()), fs::read(&path).unwrap()), (vec!["x".into()], b"first".into()));

            let unfinished = make(&path).unwrap();
            assert_eq!(
                unfinished.finish(&path, Overwrite::Refuse).unwrap_err().kind(),
                io::ErrorKind::AlreadyExists
            );
            let unfinished = make(&path).unwrap();
            unfinished.file().write_all(b"second").unwrap();
            unfinished.finish(&path, Overwrite::Allow).unwrap();
            assert_eq!(
                (names(folder.path()), fs::read(&path).unwrap()),
                (vec!["x".into()], b"second".into())
            );
            fs::remove_file(&path).unwrap();
        }
    }

    #[test]
    fn stale_files_of_killed_processes_are_removed_and_those_in_use_are_kept() {
        let folder = tempfile::tempdir().unwrap();
        let long_ago = std::time::SystemTime::now() - 2 * STALE_AGE;
        let left = folder.path().join(".lintel-left.part");
        let young = folder.path().join(".lintel-young.part");
        File::create(&left).unwrap().set_modified(long_ago).unwrap();
        File::create(&young).unwrap();
        let in_use = UnfinishedFile::named(folder.path()).unwrap();
        in_use.file().set_modified(long_ago).unwrap();
        fs::write(folder.path().join("a song.wav"), b"").unwrap();
        remove_stale(folder.path());
        assert!(!left.exists() && young.exists());
        assert_eq!(names(folder.path()).len(), 3);
        in_use.finish(&folder.path().join("x"), Overwrite::Refuse).unwrap();
    }
}

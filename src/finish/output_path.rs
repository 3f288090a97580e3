//! Paths of outputs: checks them before the work begins and writes small files, complete or not at all.

use std::io::Write;
use std::path::Path;

use super::error::{Error, Fault, Result, writing};
use super::format::Overwrite;
use super::unfinished::UnfinishedFile;

/// Checks before the work whether every one of `outputs` can be written: not a folder, not one of the
/// `inputs`, not the same place as another output, not an existing file unless it may be replaced, in a
/// folder that exists and takes files.
///
/// # Errors
/// The fault that writing would end in.
pub fn check_outputs(outputs: &[&Path], inputs: &[&Path], overwrite: Overwrite) -> Result<()> {
    for (i, output) in outputs.iter().enumerate() {
        let fail = |fault| Err(Error::new(output, fault));
        if output.is_dir() {
            return fail(Fault::Folder);
        }
        if inputs.iter().any(|input| same_file(input, output)) {
            return fail(Fault::IsInput);
        }
        if outputs[..i].iter().any(|other| same_place(other, output)) {
            return fail(Fault::IsOutput);
        }
        if overwrite == Overwrite::Refuse && output.exists() {
            return fail(Fault::Exists);
        }
        // The folder is tried: permissions alone do not tell (read-only file systems, full quotas).
        UnfinishedFile::beside(output).map_err(|err| writing(output, err))?;
    }
    Ok(())
}

/// Writes a small file (a report, a picture) complete or not at all.
///
/// # Errors
/// If the file exists and may not be replaced, or cannot be written.
pub fn write_whole(path: &Path, bytes: &[u8], overwrite: Overwrite) -> Result<()> {
    if path.is_dir() {
        return Err(Error::new(path, Fault::Folder));
    }
    let unfinished = UnfinishedFile::beside(path).map_err(|err| writing(path, err))?;
    unfinished
        .file()
        .write_all(bytes)
        .and_then(|()| unfinished.finish(path, overwrite))
        .map_err(|err| writing(path, err))
}

/// True if both paths name one place, whether a file is there or not. Names that differ in case only count
/// as one: they are on some file systems.
fn same_place(a: &Path, b: &Path) -> bool {
    let folder = |path: &Path| match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder.canonicalize(),
        _ => Path::new(".").canonicalize(),
    };
    let name = |path: &Path| path.file_name().map(|name| name.to_string_lossy().to_lowercase());
    let one_folder = matches!((folder(a), folder(b)), (Ok(a), Ok(b)) if a == b);
    same_file(a, b) || (one_folder && name(a) == name(b))
}

/// True if both paths lead to one file.
pub(super) fn same_file(a: &Path, b: &Path) -> bool {
    let (Ok(meta_a), Ok(meta_b)) = (a.metadata(), b.metadata()) else { return false };
    #[cfg(unix)]
    {
        use std::os::unix::fs::MetadataExt;
        if (meta_a.dev(), meta_a.ino()) == (meta_b.dev(), meta_b.ino()) {
            return true;
        }
    }
    let _ = (meta_a, meta_b);
    matches!((a.canonicalize(), b.canonicalize()), (Ok(a), Ok(b)) if a == b)
}

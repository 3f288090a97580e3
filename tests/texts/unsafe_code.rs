//! Where the library steps outside of what the compiler proves, and why. The reason of each place stands
//! beside it (clippy's `undocumented_unsafe_blocks` demands it); this list keeps a new place from
//! slipping in. Sound is made in safe Rust throughout: what runs in wider registers is dispatched by the
//! crate multiversion, which checks the processor first.

use std::path::{Path, PathBuf};

/// File under src, and what forces it.
const PLACES: [(&str, &str); 3] = [
    ("editor/host/gestures.rs", "the framework takes parameters as raw handles"),
    ("host_params.rs", "the framework's trait for a table of parameters is unsafe to implement"),
    ("plugin.rs", "a test sets parameters through the framework's raw handles"),
];

fn sources(folder: &Path) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(folder).expect("a folder").map(|entry| entry.expect("an entry").path());
    entries
        .flat_map(|path| match path.is_dir() {
            true => sources(&path),
            false => vec![path],
        })
        .filter(|path| path.extension().is_some_and(|end| end == "rs"))
        .collect()
}

/// Whether a line of code (not of comment) has the keyword.
fn uses(line: &str) -> bool {
    let code = line.split("//").next().unwrap_or_default();
    code.split(|c: char| !c.is_alphanumeric() && c != '_').any(|word| word == "unsafe")
}

#[test]
fn code_that_is_not_proven_stands_where_it_is_known() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut found: Vec<String> = sources(&root)
        .into_iter()
        .filter(|path| std::fs::read_to_string(path).expect("a text").lines().any(uses))
        .map(|path| path.strip_prefix(&root).expect("under src").to_string_lossy().replace('\\', "/"))
        .collect();
    found.sort();
    assert_eq!(found, PLACES.map(|(file, _)| file), "say in PLACES what forces it");
}

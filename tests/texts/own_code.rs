//! The repository holds what its authors wrote. Other people's code comes from the registry as it was
//! released: no copied folder, no foreign licence or copyright line, no dependency put in another's place.

use std::path::{Path, PathBuf};

/// How the authors name themselves in LICENSE.
const AUTHORS: &str = "the Lintel developers";

/// The only place that dependencies come from.
const REGISTRY: &str = "https://github.com/rust-lang/crates.io-index";

/// Folders that by custom hold other people's code.
const FOREIGN_FOLDERS: [&str; 9] = [
    "vendor",
    "vendored",
    "third_party",
    "third-party",
    "thirdparty",
    "external",
    "extern",
    "node_modules",
    "submodules",
];

/// How files that state a licence begin.
const LICENCE_FILES: [&str; 7] =
    ["license", "licence", "copying", "copyright", "unlicense", "notice", "authors"];

/// How a header names its owner or its terms, in small letters; split so that this file has none.
const MARKS: [&str; 6] = [
    concat!("copy", "right (c)"),
    concat!("copy", "right ©"),
    concat!("copy", "right 1"),
    concat!("copy", "right 2"),
    concat!("spdx-", "license-identifier"),
    concat!("licensed ", "under the"),
];

/// Lines at a file's beginning that can be a header.
const HEADER_LINES: usize = 40;

/// Every file of the repository but for git's own and what builds leave.
fn files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        let name = path.file_name().expect("a name").to_string_lossy().into_owned();
        match path.is_dir() {
            true if matches!(name.as_str(), ".git" | "target") => {}
            true => found.extend(files(&path)),
            false if name == ".git" => {}
            false => found.push(path),
        }
    }
    found
}

/// What a manifest or cargo's configuration puts in the place of a registry's crate.
fn replaced(table: &toml::Table) -> Vec<String> {
    let mut found = Vec::new();
    for name in ["patch", "replace", "source", "paths"] {
        if table.contains_key(name) {
            found.push(format!("has [{name}]"));
        }
    }
    dependencies(table, &mut found);
    found
}

/// Dependencies in any table of this one that come from neither the registry nor a path.
fn dependencies(table: &toml::Table, found: &mut Vec<String>) {
    for (key, value) in table {
        let Some(inner) = value.as_table() else { continue };
        if key.ends_with("dependencies") {
            for (name, dependency) in inner {
                if dependency.get("git").is_some() || dependency.get("registry").is_some() {
                    found.push(format!("{name} does not come from the registry"));
                }
            }
        } else {
            dependencies(inner, found);
        }
    }
}

/// What does not belong into one file of the repository.
fn faults_of(file: &Path, bytes: &[u8]) -> Vec<String> {
    let mut found = Vec::new();
    let folders = file.parent().into_iter().flat_map(Path::components);
    let folders = folders.map(|part| part.as_os_str().to_string_lossy().to_lowercase());
    for folder in folders.filter(|folder| FOREIGN_FOLDERS.contains(&folder.as_str())) {
        found.push(format!("lies in a folder named {folder}"));
    }
    let Ok(text) = std::str::from_utf8(bytes) else { return found };
    let name = file.file_name().expect("a name").to_string_lossy().to_lowercase();
    let is_source = name.ends_with(".rs") || name.ends_with(".py");
    if !is_source && LICENCE_FILES.iter().any(|begin| name.starts_with(begin)) && file != Path::new("LICENSE")
    {
        found.push("states a licence of its own".to_owned());
    }
    for line in text.lines().take(HEADER_LINES) {
        let small = line.to_lowercase();
        if MARKS.iter().any(|mark| small.contains(mark)) && !line.contains(AUTHORS) {
            found.push(format!("has the header \"{}\"", line.trim()));
        }
    }
    let is_config = file.starts_with(".cargo") || file.components().any(|part| part.as_os_str() == ".cargo");
    if name == "cargo.toml" || (is_config && name.starts_with("config")) {
        match text.parse::<toml::Table>() {
            Ok(table) => found.extend(replaced(&table)),
            Err(why) => found.push(format!("cannot be read: {why}")),
        }
    }
    found
}

fn faults(root: &Path) -> Vec<String> {
    let mut found = Vec::new();
    for path in files(root) {
        let file = path.strip_prefix(root).expect("under the root");
        let bytes = std::fs::read(&path).expect("a file");
        found.extend(faults_of(file, &bytes).into_iter().map(|fault| format!("{}: {fault}", file.display())));
    }
    found
}

#[test]
fn nothing_here_was_written_by_others() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    assert!(files(root).len() > 100);
    assert_eq!(faults(root), [""; 0]);
}

#[test]
fn every_dependency_comes_from_the_registry() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let read = |file: &str| -> toml::Table {
        std::fs::read_to_string(root.join(file)).expect("there").parse().expect("TOML")
    };
    let ours: Vec<String> = files(root)
        .into_iter()
        .filter(|path| path.file_name().is_some_and(|name| name == "Cargo.toml"))
        .filter_map(|path| std::fs::read_to_string(path).ok()?.parse::<toml::Table>().ok())
        .filter_map(|table| Some(table.get("package")?.get("name")?.as_str()?.to_owned()))
        .collect();
    let lock = read("Cargo.lock");
    let packages = lock["package"].as_array().expect("a list");
    assert!(packages.len() > 100);
    for package in packages {
        let name = package["name"].as_str().expect("a name");
        match package.get("source").and_then(toml::Value::as_str) {
            Some(source) => assert_eq!(source, format!("registry+{REGISTRY}"), "{name}"),
            None => assert!(ours.iter().any(|own| own == name), "{name} has no source"),
        }
    }
    let sources = &read("deny.toml")["sources"];
    for (key, value) in [("unknown-registry", "deny"), ("unknown-git", "deny")] {
        assert_eq!(sources[key].as_str(), Some(value), "deny.toml: {key}");
    }
    assert_eq!(sources["allow-registry"], toml::Value::from(vec![REGISTRY]));
    assert_eq!(sources["allow-git"], toml::Value::Array(Vec::new()));
}

#[test]
fn what_others_wrote_is_found() {
    let header = |mark: &str, owner: &str| format!("// {mark} 2020 {owner}\nfn main() {{}}\n");
    let yes = [
        ("vendor/some/src/lib.rs", "fn f() {}".to_owned()),
        ("tests/Third_Party/notes.txt", "words".to_owned()),
        ("src/dsp/LICENSE-MIT", "words".to_owned()),
        ("COPYING", "words".to_owned()),
        ("src/a.rs", header(MARKS[0], "somebody")),
        ("src/a.rs", header(MARKS[4], "MIT")),
        ("Cargo.toml", "[patch.crates-io]\nserde = { path = \"x\" }".to_owned()),
        ("fuzz/Cargo.toml", "[dependencies]\nserde = { git = \"x\" }".to_owned()),
        ("fuzz/Cargo.toml", "[target.'cfg(unix)'.dev-dependencies]\nserde = { git = \"x\" }".to_owned()),
        ("Cargo.toml", "[replace]\n\"serde:1.0.0\" = { path = \"x\" }".to_owned()),
        (".cargo/config.toml", "[source.crates-io]\nreplace-with = \"x\"".to_owned()),
        (".cargo/config.toml", "paths = [\"x\"]".to_owned()),
    ];
    for (file, text) in yes {
        assert_ne!(faults_of(Path::new(file), text.as_bytes()), [""; 0], "{file}: {text}");
    }
    let no = [
        ("LICENSE", header(MARKS[0], AUTHORS)),
        ("src/vendor.rs", "fn vendor() {}".to_owned()),
        ("tests/texts/licences.rs", "fn f() {}".to_owned()),
        ("fuzz/Cargo.toml", "[dependencies]\nlintel = { path = \"..\" }\nserde = \"1\"".to_owned()),
        (".cargo/config.toml", "[alias]\nx = \"run\"".to_owned()),
    ];
    for (file, text) in no {
        assert_eq!(faults_of(Path::new(file), text.as_bytes()), [""; 0], "{file}: {text}");
    }
}

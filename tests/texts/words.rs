//! One word, one meaning: words that the field's own terms have replaced stand in no identifier,
//! no string and no document. Reads Rust files with a parser, so that comments about sine tones or
//! the ceiling as a level do not matter, and the documents as plain text.

use proc_macro2::{TokenStream, TokenTree};
use std::path::{Path, PathBuf};
use std::process::Command;

/// What may not be part of an identifier (split at underscores and capitals), and what replaced it.
const IDENTIFIERS: &[(&str, &str)] = &[
    ("glue", "compressor"),
    ("tonal", "eq"),
    ("anew", "reset"),
    ("hear", "solo"),
    ("hears", "solo"),
    ("swing", "pumping"),
    ("wish", "request or options"),
    ("wishes", "requests or options"),
    ("told", "status or what was sent"),
    ("ledger", "readout"),
    ("paper", "chart or background"),
    ("ink", "text colour"),
    ("desk", "editor or background"),
    ("sheet", "panel or scale"),
    ("stamp", "highlight"),
    ("dressed", "style"),
    ("night", "dark"),
    ("sight", "context"),
    ("pulse", "readout"),
    ("strokes", "transients"),
];

/// What no text may say, and what the field says.
const TEXTS: &[(&str, &str)] = &[
    ("taken away", "removed signal only"),
    ("takes away", "gain reduction"),
    ("at work", "active"),
    ("starting point", "preset"),
    ("start anew", "reset"),
    ("go on measuring", "resume"),
    ("equal loudness (make-up)", "auto make-up"),
    ("hear this band alone", "solo band"),
    ("hear band", "solo band"),
    ("heard alone", "solo"),
    ("the sides", "side"),
    ("peak to loudness", "PLR"),
    ("peak-to-loudness", "PLR"),
    ("copy to B", "A → B"),
    ("found ends", "found start and end"),
    ("let it run", "resume"),
    ("take care", "warning"),
    ("nothing moved", "flat"),
    ("untouched 0", "default 0"),
    ("search the drive", "match the target"),
    ("way to the target", "search log"),
    ("what remains", "difference"),
    ("stamped", "highlighted"),
    ("ledger", "readout"),
    ("on paper", "chart"),
    ("the paper", "the chart"),
    ("night sheet", "dark theme"),
    ("day sheet", "light theme"),
    ("the house", "the code"),
    ("glue stage", "compressor"),
    ("the glue", "the compressor"),
    ("tone stage", "EQ"),
    ("tone band", "EQ band"),
    ("tonal band", "EQ band"),
    ("tone and glue", "EQ and compressor"),
    ("strokes", "transients"),
];

/// Words that another library, an operating system or a standard has chosen.
const FOREIGN: &[&str] =
    &["rect_stroke", "bg_stroke", "fg_stroke", "window_stroke", "PathStroke", "StrokeKind"];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Tracked files with this ending, this file left out.
fn tracked(ending: &str) -> Vec<PathBuf> {
    let output = Command::new("git")
        .arg("-C")
        .arg(root())
        .args(["ls-files", "-z", "--cached", "--others", "--exclude-standard"])
        .output();
    let Some(output) = output.ok().filter(|output| output.status.success()) else { return Vec::new() };
    let names = String::from_utf8(output.stdout).expect("names in UTF-8");
    let files = names.split('\0').filter(|name| name.ends_with(ending) && !name.ends_with("texts/words.rs"));
    files.map(PathBuf::from).filter(|file| root().join(file).is_file()).collect()
}

/// "GlueSettings" and "glue_db" as words in lower case.
fn words(identifier: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    for c in identifier.chars() {
        if (c == '_' || c.is_uppercase()) && words.last().is_some_and(|word| !word.is_empty()) {
            words.push(String::new());
        }
        if c != '_' {
            words.last_mut().expect("one word").extend(c.to_lowercase());
        }
    }
    words
}

fn check_text(at: &str, text: &str, found: &mut Vec<String>) {
    let plain = text.to_lowercase();
    for (old, new) in TEXTS {
        // Whole words: "float work" is not "at work".
        let is_word = |at: usize| !plain[..at].ends_with(char::is_alphanumeric);
        if plain.match_indices(old).any(|(at, _)| is_word(at)) {
            found.push(format!("{at}: \"{old}\" → {new}"));
        }
    }
}

fn check_tokens(file: &str, tokens: TokenStream, found: &mut Vec<String>) {
    for token in tokens {
        match token {
            TokenTree::Group(group) => check_tokens(file, group.stream(), found),
            TokenTree::Ident(name) => {
                let text = name.to_string();
                let parts = if FOREIGN.contains(&text.as_str()) { Vec::new() } else { words(&text) };
                for (old, new) in IDENTIFIERS.iter().filter(|(old, _)| parts.iter().any(|part| part == old)) {
                    let line = name.span().start().line;
                    found.push(format!("{file}:{line}: {text}: {old} → {new}"));
                }
            }
            // Doc comments arrive here, too, as the text of an attribute.
            TokenTree::Literal(literal) => {
                let line = literal.span().start().line;
                check_text(&format!("{file}:{line}"), &literal.to_string(), found);
            }
            TokenTree::Punct(_) => {}
        }
    }
}

#[test]
fn replaced_words_do_not_come_back() {
    let (sources, documents) = (tracked(".rs"), [tracked(".md"), tracked(".toml")].concat());
    if sources.is_empty() {
        eprintln!("skipped: not a git checkout");
        return;
    }
    let mut found = Vec::new();
    for file in sources {
        let text = std::fs::read_to_string(root().join(&file)).expect("readable");
        check_tokens(&file.display().to_string(), text.parse().expect("Rust"), &mut found);
    }
    for file in documents {
        let text = std::fs::read_to_string(root().join(&file)).expect("readable");
        for (n, line) in text.lines().enumerate() {
            check_text(&format!("{}:{}", file.display(), n + 1), line, &mut found);
        }
    }
    assert!(found.is_empty(), "{} places:\n{}", found.len(), found.join("\n"));
}

/// Every text of the command line, as a user gets it.
#[test]
fn the_help_says_none_of_them() {
    let mut found = Vec::new();
    for command in ["", "check", "finish", "compare", "release", "settings"] {
        let args = ["help", command].into_iter().filter(|arg| !arg.is_empty());
        let output =
            Command::new(env!("CARGO_BIN_EXE_lintel")).args(args).output().expect("the program runs");
        let help = String::from_utf8_lossy(&output.stdout).into_owned();
        assert!(help.contains("Usage"), "{command}: no help");
        check_text(&format!("lintel help {command}"), &help, &mut found);
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn an_identifier_is_split_into_its_words() {
    assert_eq!(words("GlueSettings"), ["glue", "settings"]);
    assert_eq!(words("glue_db"), ["glue", "db"]);
    let mut found = Vec::new();
    check_tokens("made up", "let swing_db = \"it is at work\";".parse().expect("Rust"), &mut found);
    assert_eq!(found.len(), 2, "{found:?}");
}

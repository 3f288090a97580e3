//! `cargo xtask validate`: whatever format validators are on PATH run over the bundles. Their own
//! verdict counts, exit status and summary line; a failure or a warning in it fails the command. A word
//! in a log ("ERROR" of a library that probes the system) is no verdict.

use crate::{Failure, bundle};
use std::path::Path;
use std::process::Command;

/// A validator's program, what it is given before the bundle's path, and the bundle it reads.
struct Validator {
    program: &'static str,
    arguments: &'static [&'static str],
    bundle: &'static str,
    /// How to get it.
    from: &'static str,
}

/// Those that are known. Programs and arguments from memory of their help texts.
const KNOWN: [Validator; 4] = [
    Validator {
        program: "clap-validator",
        arguments: &["validate"],
        bundle: "Lintel.clap",
        from: "built from its public repository with cargo (not on crates.io)",
    },
    Validator {
        program: "vst3-validator",
        arguments: &[],
        bundle: "Lintel.vst3",
        from: "the example `validator` of the VST3 SDK, built with cmake, under this name",
    },
    Validator {
        program: "validator",
        arguments: &[],
        bundle: "Lintel.vst3",
        from: "the same under its own name",
    },
    Validator {
        program: "pluginval",
        arguments: &["--strictness-level", "10", "--validate"],
        bundle: "Lintel.vst3",
        from: "built from its public repository with cmake",
    },
];

/// Runs all that can be found.
pub fn run() -> Result<(), Failure> {
    let clap = bundle::build()?;
    let bundled = clap.parent().expect("a folder");
    let (mut found, mut troubled) = (0, Vec::new());
    for validator in &KNOWN {
        let Some(program) = on_path(validator.program) else { continue };
        found += 1;
        let path = bundled.join(validator.bundle);
        println!("{} {}", validator.program, path.display());
        let output = Command::new(program).args(validator.arguments).arg(&path).output()?;
        let said = [&output.stdout[..], &output.stderr[..]].concat();
        let said = String::from_utf8_lossy(&said);
        let verdict = Verdict::of(&said, output.status.success());
        println!("  {verdict}, ended with {}", output.status);
        if verdict.is_faulty() {
            let lines: Vec<&str> = said.lines().collect();
            lines[lines.len().saturating_sub(SHOWN_LINES)..].iter().for_each(|line| println!("  | {line}"));
            troubled.push(validator.program);
        }
    }
    if found == 0 {
        println!("no format validator on PATH; nothing was validated. Known are:");
        KNOWN.iter().for_each(|known| println!("  {}: {}", known.program, known.from));
    }
    if troubled.is_empty() {
        Ok(())
    } else {
        Err(format!("not without fault: {}", troubled.join(", ")).into())
    }
}

fn on_path(program: &str) -> Option<std::path::PathBuf> {
    let name = format!("{program}{}", std::env::consts::EXE_SUFFIX);
    std::env::split_paths(&std::env::var_os("PATH")?)
        .map(|folder| folder.join(&name))
        .find(|path: &std::path::PathBuf| Path::is_file(path))
}

/// Last lines of a validator's output that are shown if its verdict is a fault.
const SHOWN_LINES: usize = 60;

/// What a validator says of a bundle.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Verdict {
    /// Its exit status.
    succeeded: bool,
    /// The counts of its summary line, if it prints one.
    summary: Option<Summary>,
}

/// Counts of a summary line.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Summary {
    passed: usize,
    failed: usize,
    warnings: usize,
}

impl Verdict {
    /// From everything it printed, and its exit status.
    fn of(said: &str, succeeded: bool) -> Self {
        Self { succeeded, summary: said.lines().rev().find_map(Summary::of) }
    }

    fn is_faulty(&self) -> bool {
        !self.succeeded || self.summary.is_some_and(|counts| counts.failed + counts.warnings > 0)
    }
}

impl std::fmt::Display for Verdict {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.summary {
            Some(Summary { passed, failed, warnings }) => {
                write!(f, "passed: {passed}, failed: {failed}, warnings: {warnings}")
            }
            None => write!(f, "no summary line"),
        }
    }
}

impl Summary {
    /// From a line that gives both counts: "46 tests passed, 1 tests failed", "19 passed, 1 failed,
    /// 0 skipped, 0 warnings".
    fn of(line: &str) -> Option<Self> {
        let words: Vec<&str> =
            line.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()).collect();
        // The number before the word, with at most one word between.
        let count = |stem: &str| {
            let at = words.iter().position(|word| word.to_lowercase().starts_with(stem))?;
            words[..at].iter().rev().take(2).find_map(|word| word.parse().ok())
        };
        let (passed, failed) = (count("passed")?, count("failed")?);
        Some(Self { passed, failed, warnings: count("warning").unwrap_or(0) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn is_faulty(said: &str) -> bool {
        Verdict::of(said, true).is_faulty()
    }

    #[test]
    fn the_word_error_in_a_log_is_no_failure_and_the_tools_own_verdict_counts() {
        let log = "ERROR: no display found, continuing\n[warning] failed to open the sound device\n";
        assert!(!is_faulty(&format!("{log}Result: 47 tests passed, 0 tests failed\n")));
        assert!(!is_faulty(&format!("{log}SUCCESS\n")), "the exit status alone");
        assert!(Verdict::of("SUCCESS", false).is_faulty());
        assert!(Verdict::of("Result: 47 tests passed, 0 tests failed", false).is_faulty(), "it crashed");
        assert!(is_faulty("Result: 46 tests passed, 1 tests failed"));
        assert!(is_faulty("21 tests run, 21 passed, 0 failed, 0 skipped, 1 warnings"));
        // The last summary counts, not one in the log before it.
        assert!(!is_faulty("self-test: 1 passed, 1 failed\n20 tests run, 20 passed, 0 failed, 0 warnings"));
    }

    #[test]
    fn the_summary_is_read() {
        let read = |line: &str| Summary::of(line).map(|s| (s.passed, s.failed, s.warnings));
        assert_eq!(read("Result: 47 tests passed, 0 tests failed"), Some((47, 0, 0)));
        assert_eq!(read("21 tests run, 16 passed, 0 failed, 5 skipped, 2 warnings"), Some((16, 0, 2)));
        assert_eq!(read("scan: passed"), None);
        let verdict = Verdict::of("21 tests run, 16 passed, 0 failed, 5 skipped, 0 warnings", true);
        assert_eq!(verdict.to_string(), "passed: 16, failed: 0, warnings: 0");
    }
}

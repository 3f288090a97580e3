//! `cargo xtask validate`: whatever format validators are on PATH run over the bundles; their words are
//! read, and a failure or a warning fails the command.

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
        let problems = problems(&said);
        println!("  passed: {}, ended with {}", passed(&said), output.status);
        problems.iter().for_each(|line| println!("  ! {line}"));
        if !problems.is_empty() || !output.status.success() {
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

/// Lines that speak of something that is wrong, whatever the validator: a word that begins like "fail",
/// "warning", "error" or "crash", unless it is said to be none.
fn problems(said: &str) -> Vec<&str> {
    said.lines().map(str::trim).filter(|line| is_problem(line)).collect()
}

fn is_problem(line: &str) -> bool {
    // "19 passed, 1 failed, 0 warnings": each part speaks for itself.
    line.to_lowercase().split([',', ';']).any(is_wrong)
}

fn is_wrong(part: &str) -> bool {
    let words: Vec<&str> =
        part.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()).collect();
    let none = |at: Option<usize>| {
        at.and_then(|at| words.get(at)).is_some_and(|word| ["0", "no", "without"].contains(word))
    };
    words.iter().enumerate().any(|(n, word)| {
        let wrong = ["fail", "warning", "error", "crash"].iter().any(|stem| word.starts_with(stem));
        // "0 failed", "0 tests failed", "no errors", "failed: 0".
        wrong && !none(n.checked_sub(1)) && !none(n.checked_sub(2)) && !none(Some(n + 1))
    })
}

/// Tests that it says have passed: the number before the word in the last line that has one, or the
/// lines that say so.
fn passed(said: &str) -> usize {
    let counted = said.lines().rev().find_map(|line| {
        let words: Vec<&str> = line.split_whitespace().collect();
        let at =
            words.iter().position(|word| word.trim_end_matches([',', '.']).eq_ignore_ascii_case("passed"))?;
        words[..at].iter().rev().take(2).find_map(|word| word.parse().ok())
    });
    counted.unwrap_or_else(|| said.lines().filter(|line| line.to_lowercase().contains("passed")).count())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_wrong_is_seen_and_what_is_none_is_not() {
        for line in [
            "FAILED: param-fuzz: the plugin produced NaN",
            "   - state-reproducibility (warning): differs",
            "[Failed]",
            "Result: 46 tests passed, 1 tests failed",
            "20 tests run, 19 passed, 1 failed, 0 skipped, 0 warnings",
            "!!! Test 3 crashed",
            "Error: could not load",
        ] {
            assert!(is_problem(line), "{line}");
        }
        for line in [
            "Result: 47 tests passed, 0 tests failed",
            "21 tests run, 16 passed, 0 failed, 5 skipped, 0 warnings",
            "no errors, failed: 0",
            "* Loaded without warnings",
            "SUCCESS",
        ] {
            assert!(!is_problem(line), "{line}");
        }
    }

    #[test]
    fn the_summary_is_read() {
        assert_eq!(passed("[Succeeded]\nResult: 47 tests passed, 0 tests failed\n"), 47);
        assert_eq!(passed("21 tests run, 16 passed, 0 failed, 5 skipped, 0 warnings"), 16);
        assert_eq!(passed("scan: passed\nstate: passed\n"), 2);
    }
}

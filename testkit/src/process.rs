//! One test in a process of its own.

use std::process::{Command, Output};

/// Runs the ignored test of this name in a new process of this program.
pub fn run(test: &str, environment: &[(&str, &str)]) -> Output {
    Command::new(std::env::current_exe().expect("this program"))
        .args(["--ignored", "--exact", test, "--nocapture", "--test-threads=1"])
        .envs(environment.iter().copied())
        .output()
        .expect("it starts")
}

/// What it wrote.
pub fn said(output: &Output) -> String {
    format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr))
}

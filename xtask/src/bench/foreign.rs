//! The VST3 bundle beside a foreign host library's own chain, in that host, in turns.

use crate::Failure;
use lintel::finish::{Overwrite, write_whole};
use lintel::params;
use serde::Deserialize;
use std::fmt::Write;
use std::path::Path;
use std::process::Command;
use testkit::cost::asked;
use testkit::quartet;

/// Every stage active, near what the demo's master is made with; the drive follows.
const SETTINGS: [(&str, &str); 12] = [
    ("trim", "−6.0 dB"),
    ("eq1_gain", "+1.0 dB"),
    ("eq2_freq", "75 Hz"),
    ("eq2_gain", "−2.0 dB"),
    ("eq3_gain", "+0.5 dB"),
    ("eq4_gain", "+1.0 dB"),
    ("eq5_gain", "+1.0 dB"),
    ("comp_on", "on"),
    ("comp_threshold", "−20.0 dB"),
    ("comp_ratio", "2.0 : 1"),
    ("comp_attack", "30 ms"),
    ("ceiling", "−1.0 dBTP"),
];

/// Most that was asked for: our processor time over that of the host library's chain.
const THREAD_RATIO: f64 = 0.40;
const PROCESS_RATIO: f64 = 0.75;

/// What the script says.
#[derive(Deserialize)]
struct Said {
    built_in: f64,
    plugin: f64,
    ratio: f64,
    built_in_process: f64,
    plugin_process: f64,
    process_ratio: f64,
    host: String,
}

/// Measures, and tells in the page's words.
pub fn section(bundle: &Path) -> Result<String, Failure> {
    let home = Path::new("target/foreign");
    let python = home.join(if cfg!(windows) { "Scripts/python.exe" } else { "bin/python3" });
    if !python.exists() {
        return Ok("Not measured: `cargo xtask test` makes the environment in target/foreign.\n".to_owned());
    }
    let bundle = bundle.with_extension("vst3");
    let folder = Path::new("target/bench");
    std::fs::create_dir_all(folder)?;
    let wav = folder.join("quartet.wav");
    crate::demo::save(&wav, &quartet::mix(54.0), quartet::RATE as u32, 1.0, &[])?;

    let mut text = String::from(
        "The demo's mix in blocks of 512 through the VST3 bundle with five bands, compressor, true-peak limiter \
         and all meters, and through the host library's own low shelf, three bells, high shelf, compressor \
         and limiter, which oversample nothing and measure nothing; fifteen turns each. Counted is processor time: \
         of the thread that processes, and of the whole process, where the analysis has a thread of its own.\n\n\
         | drive | of | its own chain, ns | Lintel, ns | least over least | median of the turns | |\n\
         | --- | --- | ---: | ---: | ---: | ---: | --- |\n",
    );
    let mut host = String::new();
    for drive in ["+9.8 dB", "+16.0 dB"] {
        let named: Result<Vec<_>, Failure> = SETTINGS
            .iter()
            .chain(&[("drive", drive)])
            .map(|(id, text)| {
                let param = params::find(id).ok_or_else(|| format!("no parameter {id}"))?;
                Ok((param.name, *text))
            })
            .collect();
        let settings = folder.join("settings.json");
        write_whole(&settings, serde_json::to_string(&named?)?.as_bytes(), Overwrite::Allow)?;
        let output = Command::new(&python)
            .arg("tests/foreign/price.py")
            .arg(&bundle)
            .arg(&wav)
            .arg(&settings)
            .output()?;
        if !output.status.success() {
            return Err(format!("tests/foreign/price.py: {}", String::from_utf8_lossy(&output.stderr)).into());
        }
        let said: Said = serde_json::from_slice(&output.stdout)?;
        for (of, own, ours, ratio, most) in [
            ("the thread", said.built_in, said.plugin, said.ratio, THREAD_RATIO),
            ("the process", said.built_in_process, said.plugin_process, said.process_ratio, PROCESS_RATIO),
        ] {
            let (least, kept) = (ours / own, asked(ratio, most, ""));
            writeln!(text, "| {drive} | {of} | {own:.1} | {ours:.1} | {least:.2} | {ratio:.2} | {kept} |")?;
        }
        host = said.host;
    }
    writeln!(
        text,
        "\nThe host library is `pedalboard` {host} from PyPI (general audio processing in Python)."
    )?;
    Ok(text)
}

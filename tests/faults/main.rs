//! The fuzzer's checks on the stable compiler: whole files, hurt in every way, some thousands of each.

use lintel::finish::{Encoding, Layout, OutputSpec, Overwrite, Reader, Writer};
use lintel::params;
use lintel::settings::Settings;
use testkit::{Random, check};

/// Hurts `bytes` in one to five ways.
fn hurt(bytes: &[u8], dice: &mut Random) -> Vec<u8> {
    let mut bytes = bytes.to_vec();
    for _ in 0..1 + dice.below(5) {
        let at = dice.below(bytes.len() + 1);
        let end = (at + 1 + dice.below(16)).min(bytes.len());
        match dice.below(7) {
            0 => bytes.truncate(at),
            1 if at < bytes.len() => bytes[at] ^= 1 << dice.below(8),
            2 if at < bytes.len() => bytes[at] = [0, 0xff, 0x7f, 0x80, b'"', b'-', b'9'][dice.below(7)],
            3 => drop(bytes.drain(at.min(end)..end)),
            4 => {
                let part: Vec<u8> = bytes[at.min(end)..end].to_vec();
                (0..1 + dice.below(40)).for_each(|_| drop(bytes.splice(at..at, part.iter().copied())));
            }
            5 => bytes.insert(at, dice.below(256) as u8),
            _ => {
                let to = dice.below(bytes.len() + 1);
                let part: Vec<u8> = bytes[at.min(end)..end].to_vec();
                bytes.splice(to..to, part);
            }
        }
    }
    bytes
}

/// Runs `check` on `whole` and on `cases` hurt copies; some must be taken and some refused.
fn try_many(target: &str, whole: &[Vec<u8>], cases: usize, check: impl Fn(&[u8]) -> bool) {
    // The fuzzer's seeds, on request.
    if let Some(corpus) = std::env::var_os("LINTEL_SEEDS") {
        let folder = std::path::Path::new(&corpus).join(target);
        std::fs::create_dir_all(&folder).expect("a folder");
        for (n, bytes) in whole.iter().enumerate() {
            std::fs::write(folder.join(format!("whole-{n}")), bytes).expect("written");
        }
    }
    let mut dice = Random::new(5);
    let mut taken = 0;
    for bytes in whole {
        assert!(check(bytes), "the whole one is refused");
    }
    for n in 0..cases {
        let bytes = hurt(&whole[n % whole.len()], &mut dice);
        let result = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| check(&bytes)));
        taken += usize::from(result.unwrap_or_else(|_| panic!("case {n} of {} bytes", bytes.len())));
    }
    println!("{taken} of {cases} taken");
    assert!(taken > cases / 100 && taken < cases, "{taken} of {cases} taken");
}

#[test]
fn settings_files() {
    let mut settings = Settings::default();
    for (n, param) in params::all().iter().enumerate() {
        param.set(&mut settings, param.at_position((n as f32 * 0.377).fract()));
    }
    let whole = [
        params::to_toml(&settings),
        "drive = 4\ncomp_on = true\n".into(),
        "order = \"compressor first\"".into(),
    ];
    try_many("settings", &whole.map(String::into_bytes), 10_000, check::settings);
}

#[test]
fn sound_files() {
    let folder = tempfile::tempdir().expect("a folder");
    let lane: Vec<f64> = (0..500).map(|n| (f64::from(n) * 0.1).sin() / 2.0).collect();
    let mut whole = Vec::new();
    for (layout, encoding) in [
        (Layout::Wav, Encoding::Int(16)),
        (Layout::Wav, Encoding::Int(24)),
        (Layout::Wav, Encoding::Float(32)),
        (Layout::Flac, Encoding::Int(24)),
    ] {
        let path = folder.path().join("whole");
        let spec = OutputSpec::new(layout, encoding, 48_000, 2);
        let mut writer = Writer::create(&path, spec, Overwrite::Allow, &[]).expect("created");
        writer.write(&lane, &lane).expect("written");
        writer.finish(None).expect("finished");
        assert!(Reader::open(&path).is_ok());
        whole.push(std::fs::read(&path).expect("read"));
    }
    try_many("wav", &whole, 8_000, check::wav);
}

#[cfg(feature = "plugin")]
#[test]
fn saved_states() {
    use testkit::host::raw::Rig;

    let rig = Rig::inside(&lintel::plugin::clap_entry);
    let saved = |rig: &Rig| rig.save(usize::MAX).expect("a state")[8..].to_vec();
    let mut whole = vec![saved(&rig)];
    for param in &rig.params {
        rig.set(&param.name, &rig.text(param.id, param.min));
    }
    whole.push(saved(&rig));
    try_many("state", &whole, 4_000, |bytes| check::state::state(&rig, bytes));
}

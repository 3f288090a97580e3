//! What must hold for any bytes whatever: they are refused in one line, or they mean something sound.
//! The fuzzer's targets run these very functions.

#[cfg(feature = "host")]
pub mod state;

use lintel::finish::Reader;
use lintel::params;

/// A settings file. True when it was taken.
pub fn settings(bytes: &[u8]) -> bool {
    let Ok(text) = std::str::from_utf8(bytes) else { return false };
    match params::from_toml(text) {
        Ok(settings) => {
            for param in params::all() {
                let (min, max) = param.range();
                let value = param.get(&settings);
                assert!((min..=max).contains(&value), "{}: {value}", param.id);
            }
            let again = params::from_toml(&params::to_toml(&settings)).expect("our own text");
            assert!(again == settings, "what was written reads back otherwise");
            true
        }
        Err(err) => {
            let line = err.to_string();
            assert!(!line.is_empty() && !line.contains('\n'), "{line:?}");
            false
        }
    }
}

/// A sound file (any kind the reader knows). True when it could be read to its end.
pub fn wav(bytes: &[u8]) -> bool {
    thread_local! {
        static FOLDER: tempfile::TempDir = tempfile::tempdir().expect("a folder");
    }
    FOLDER.with(|folder| {
        let path = folder.path().join("sound");
        std::fs::write(&path, bytes).expect("written");
        let one_line = |line: String| assert!(!line.is_empty() && !line.contains('\n'), "{line:?}");
        let mut reader = match Reader::open(&path) {
            Ok(reader) => reader,
            Err(err) => {
                one_line(err.to_string());
                return false;
            }
        };
        let (mut left, mut right) = (vec![0.0_f64; 1000], vec![0.0_f64; 1000]);
        let mut frames = 0;
        loop {
            match reader.read(&mut left, &mut right) {
                Ok(0) => return true,
                Ok(n) => {
                    assert!(left[..n].iter().chain(&right[..n]).all(|x| x.is_finite()));
                    frames += n;
                    // No sample takes less than a bit; more would be made of nothing.
                    assert!(frames <= 8 * bytes.len() + 65_536, "{frames} frames of {} bytes", bytes.len());
                }
                Err(err) => {
                    one_line(err.to_string());
                    return false;
                }
            }
        }
    })
}

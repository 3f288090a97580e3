//! Loud targets: `lintel finish` reaches them on dense and on open music, and says what they cost.

use serde_json::Value;

use testkit::quartet::{self, pieces::Kind};

use crate::kit::{save, text};
use crate::place::{lintel, run};

/// Read back with the crate ebur128 (BS.1770): within 0.1 LU of the target, samples and levels between them
/// under the ceiling. The grade (after BS.1387) is no better for the louder master.
#[test]
fn loud_targets_are_reached_with_their_price() {
    let wide = |lanes: [Vec<f32>; 2]| lanes.map(|lane| lane.into_iter().map(f64::from).collect::<Vec<_>>());
    for (name, lanes) in [("dense", wide(Kind::Dense.mix())), ("quartet", wide(quartet::mix(30.0)))] {
        let dir = tempfile::tempdir().unwrap();
        let mix = dir.path().join("mix.wav");
        save(&mix, quartet::RATE as u32, &lanes);
        let mut grades = Vec::new();
        for target in [-9.0, -7.0] {
            let finish = |extra: &[&str]| {
                let goal = ["finish", "--grade", "--json", "--overwrite", "--no-report", "--target"];
                run(lintel().args(goal).arg(target.to_string()).args(extra).arg(&mix))
            };
            let out = finish(&["--force"]);
            let said = format!("{name} at {target}: {}", text(&out.stderr));
            assert_eq!(out.status.code(), Some(0), "{said}");
            let json: Value = serde_json::from_slice(&out.stdout).unwrap();
            let number = |path: &str| json.pointer(path).and_then(Value::as_f64).unwrap();
            assert_eq!(json.pointer("/search/outcome").unwrap(), "reached", "{said}");

            let master = testkit::wave::read_all(&dir.path().join("mix (master).wav")).unwrap();
            let frames: Vec<[f64; 2]> = master[0].iter().zip(&master[1]).map(|(&l, &r)| [l, r]).collect();
            let loudness = testkit::meter::integrated(quartet::RATE, &frames);
            assert!((loudness - target).abs() <= 0.1, "{said}: {loudness} LUFS");
            let ceiling = lintel::dsp::db::to_gain(-1.0);
            assert!(frames.iter().flatten().all(|x| x.abs() <= ceiling), "{said}");
            assert!(number("/out/true_peak") <= -0.99, "{said}: {}", number("/out/true_peak"));
            grades.push(number("/grade/odg"));
            println!("{name} at {target} LUFS: grade {}", number("/grade/odg"));
        }
        assert!(grades[1] <= grades[0] + 0.05, "{name}: {grades:?}");
        // 8 LU more on open music is heard; the dense piece becomes 2 LU louder at the most.
        let price = if name == "quartet" { -4.0..-0.5 } else { -0.4..0.3 };
        assert!(price.contains(&grades[1]), "{name}: {grades:?}");
    }
}

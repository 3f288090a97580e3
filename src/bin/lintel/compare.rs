//! `lintel compare`.

use lintel::finish::compare::{Comparison, compare};
use lintel::finish::{Overwrite, number, time};

use crate::args::CompareArgs;
use crate::progress::Progress;
use crate::{End, Failure, write};

pub fn run(args: &CompareArgs) -> Result<End, Failure> {
    let progress = Progress::new(args.quiet);
    let overwrite = if args.overwrite { Overwrite::Allow } else { Overwrite::Refuse };
    let residue = args.residue.as_deref().map(|path| (path, overwrite));
    let result = compare(&args.a, &args.b, residue, &progress);
    progress.end();
    let found = result?;
    if args.json {
        let json = serde_json::to_string_pretty(&found).map_err(|err| Failure::Usage(err.to_string()))?;
        write::out(&format!("{json}\n"));
    } else {
        write::out(&text(&found));
    }
    Ok(End::Done)
}

fn text(found: &Comparison) -> String {
    let level = |x: Option<f64>, unit: &str| x.map_or("—".into(), |x| format!("{} {unit}", number(x, 2)));
    let rate = f64::from(found.rate);
    let place = match found.lag {
        0 => "aligned".into(),
        lag if lag > 0 => format!("{lag} frames behind ({} ms)", number(1000.0 * lag as f64 / rate, 2)),
        lag => format!("{} frames ahead ({} ms)", -lag, number(-1000.0 * lag as f64 / rate, 2)),
    };
    let mut text = format!(
        "B is {place}, {} dB against A{}{}\n",
        number(found.gain_db, 3),
        if found.inverted { ", polarity turned round" } else { "" },
        if found.converted { ", converted to A's sample rate" } else { "" }
    );
    text += &format!(
        "loudness       A {}, B {}\n",
        level(found.loudness_a, "LUFS"),
        level(found.loudness_b, "LUFS")
    );
    text += &format!("in common      {}\n", time(found.frames as f64 / rate));
    text += &match found.residue_db {
        None => "what remains   nothing: the samples are the same\n".to_owned(),
        some => format!(
            "what remains   {} against the matched A, highest sample {}\n",
            level(some, "dB"),
            level(found.residue_peak, "dBFS")
        ),
    };
    text += "spectrum of B over the matched A, dB\n";
    for (hz, value) in found.frequencies.iter().zip(&found.spectrum).step_by(12) {
        let hz = if *hz < 1000.0 { format!("{hz:.0} Hz") } else { format!("{:.2} kHz", hz / 1000.0) };
        text += &format!("{hz:>12}  {:>7}\n", value.map_or("—".into(), |x| number(x, 2)));
    }
    text
}

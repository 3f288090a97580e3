//! `lintel compare`.

use lintel::finish::compare::{Comparison, compare};
use lintel::numbers::{NONE, clock_tenths, number};

use crate::args::CompareArgs;
use crate::outcome::{End, Failure};
use crate::output;
use crate::progress::Progress;
use crate::value_args::overwrite;

/// Every so many bands of the spectrum are printed: one an octave.
const BANDS_PER_ROW: usize = 12;

pub fn run(args: &CompareArgs) -> Result<End, Failure> {
    let progress = Progress::new(args.quiet);
    let difference = args.difference.as_deref().map(|path| (path, overwrite(args.overwrite)));
    let result = compare(&args.a, &args.b, difference, &progress);
    progress.end();
    let comparison = result?;
    if args.json {
        let json =
            serde_json::to_string_pretty(&comparison).map_err(|err| Failure::Usage(err.to_string()))?;
        output::print(&format!("{json}\n"));
    } else {
        output::print(&text(&comparison));
    }
    Ok(End::Done)
}

fn text(found: &Comparison) -> String {
    let level = |x: Option<f64>, unit: &str| x.map_or(NONE.into(), |x| format!("{} {unit}", number(x, 2)));
    let rate = f64::from(found.rate);
    let ms = |frames: i64| number(1000.0 * frames as f64 / rate, 2);
    let place = match found.lag {
        0 => "aligned".into(),
        lag if lag > 0 => format!("{lag} frames behind ({} ms)", ms(lag)),
        lag => format!("{} frames ahead ({} ms)", -lag, ms(-lag)),
    };
    let difference = match found.difference_db {
        None => "none: the samples are identical".to_owned(),
        some => format!(
            "{} below the level-matched A, highest sample {}",
            level(some.map(|db| -db), "dB"),
            level(found.difference_peak_dbfs, "dBFS")
        ),
    };
    let mut text = format!(
        "B is {place} (confidence {}), {} dB against A{}{}\n",
        number(found.confidence, 2),
        number(found.gain_db, 3),
        if found.inverted { ", polarity inverted" } else { "" },
        if found.converted { ", converted to A's sample rate" } else { "" }
    );
    let row = |name: &str, value: String| vec![name.to_owned(), value];
    let (a, b) = (level(found.loudness_a, "LUFS"), level(found.loudness_b, "LUFS"));
    text += &output::plain_table(
        vec![
            row("loudness", format!("A {a}, B {b}")),
            row("common length", clock_tenths(found.frames as f64 / rate)),
            row("difference", difference),
        ],
        [],
    );
    text += "spectrum of B over the level-matched A, dB\n";
    let bands = found.frequencies_hz.iter().zip(&found.spectrum_db).step_by(BANDS_PER_ROW);
    let rows = bands.map(|(hz, value)| {
        let hz = if *hz < 1000.0 { format!("{hz:.0} Hz") } else { format!("{:.2} kHz", hz / 1000.0) };
        vec![hz, value.map_or(NONE.into(), |x| number(x, 2))]
    });
    text + &output::plain_table(rows.collect(), [0, 1])
}

//! Figures of the whole chain, on the demo mix: what it leaves alone, and that the sample rate
//! changes nothing one could solo.

use super::Row;
use lintel::chain::Chain;
use lintel::finish::Converter;
use lintel::meter::LoudnessMeter;
use lintel::settings::Settings;
use testkit::quartet;
use testkit::rig::chain::{
    MeasuredChain, compressing, half_seconds_db, noise, stated_minus_heard_db, strikes,
};

/// Rate of the demo mix, Hz.
const RATE: u32 = 44_100;

/// Four seconds at the rate of the rig, frames.
const FOUR_S: usize = 4 * 48_000;

type Stereo = [Vec<f32>; 2];

/// Measures and returns the rows.
pub fn run() -> Vec<Row> {
    let mix = quartet::mix(54.0);
    let mut rows = vec![untouched(&mix), neutral(&mix)];
    rows.extend(rates(&mix));
    rows.push(switched());
    rows.extend(level_match());
    rows
}

/// Auto make-up after the compressor is switched in, against a chain that had it on all the time.
fn switched() -> Row {
    let worst = [noise(FOUR_S), strikes(FOUR_S)].iter().fold(0.0f64, |worst, input| {
        let [mut chain, mut always] = [false, true].map(|on| MeasuredChain::new(&compressing(on, true)));
        let parts = [false, true, false, true].map(|on| {
            chain.chain.set(&compressing(on, true));
            let steps = half_seconds_db(&mut chain, input);
            let asked = half_seconds_db(&mut always, input);
            let off = steps.iter().zip(&asked).skip(1).map(|(step, asked)| (step - asked).abs());
            if on { off.fold(0.0, f64::max) } else { 0.0 }
        });
        parts.into_iter().fold(worst, f64::max)
    });
    Row {
        what:
            "chain: compressor with auto make-up switched in twice, −30 dB, 3 : 1, noise and struck tones: \
               loudness off that of always on, from 0.5 s on"
                .into(),
        asked: "≤ 0.3 LU (own goal)".into(),
        reached: format!("{worst:.2} LU"),
        source: "own measurement, K-weighted (BS.1770-5)".into(),
        kept: Some(worst <= 0.3),
    }
}

/// The stated difference of level-matched comparison after the drive has moved.
fn level_match() -> [Row; 2] {
    let (from, mut to) = (Settings::default(), Settings::default());
    to.limiter.drive = 6.0;
    let frames = 2 * FOUR_S;
    let errors = [noise(frames), strikes(frames)]
        .map(|input| stated_minus_heard_db([&input, &input], &from, &to, [2.0, 5.0]));
    [(0, 2, 0.5), (1, 5, 0.2)].map(|(n, seconds, goal)| {
        let worst = errors.iter().fold(0.0f64, |worst, errors| worst.max(errors[n].abs()));
        Row {
            what: format!(
                "chain: level match {seconds} s after the drive moved from 0 to 6 dB, noise and struck tones: \
                 stated less heard"
            ),
            asked: format!("≤ {goal} dB (own goal)"),
            reached: format!("{worst:.2} dB"),
            source: "own measurement, K-weighted (BS.1770-5)".into(),
            kept: Some(worst <= goal),
        }
    })
}

/// Runs the chain; the output is as long as the input and moved back by the latency. The columns
/// of 20 ms hold the deepest reduction of compressor and ceiling, dB.
fn process(rate: u32, input: &Stereo, settings: &Settings) -> (Stereo, Vec<[f32; 2]>) {
    let mut chain = Chain::new(f64::from(rate));
    chain.set(settings);
    chain.reset();
    let latency = chain.latency();
    let column = rate as usize / 50;
    let mut columns = vec![[0.0_f32; 2]; input[0].len().div_ceil(column)];
    let [mut left, mut right] = input.clone();
    for ch in [&mut left, &mut right] {
        ch.extend(std::iter::repeat_n(0.0, latency));
    }
    let mut frame = 0;
    chain.process(&mut [&mut left, &mut right], |tap| {
        for (compressor, ceiling) in tap.compressor_db.iter().zip(tap.limiter_db) {
            if frame >= latency {
                let deepest = &mut columns[(frame - latency) / column];
                *deepest = [deepest[0].max(*compressor), deepest[1].max(*ceiling)];
            }
            frame += 1;
        }
    });
    (([left, right]).map(|ch| ch[latency..].to_vec()), columns)
}

/// Largest difference, dB re full scale.
fn null_db(a: &Stereo, b: &Stereo) -> f64 {
    let pairs = a.iter().flatten().zip(b.iter().flatten());
    20.0 * pairs.map(|(a, b)| (f64::from(*a) - f64::from(*b)).abs()).fold(0.0, f64::max).log10()
}

fn quieter(mix: &Stereo) -> Stereo {
    mix.each_ref().map(|ch| ch.iter().map(|x| x * 0.5).collect())
}

/// Defaults under the ceiling: the input bit for bit.
fn untouched(mix: &Stereo) -> Row {
    let input = quieter(mix);
    let (out, _) = process(RATE, &input, &Settings::default());
    let differ = out.iter().flatten().zip(input.iter().flatten()).filter(|(a, b)| a.to_bits() != b.to_bits());
    let differ = differ.count();
    Row {
        what: "chain: default settings, demo mix at −6 dB, against the delayed input".into(),
        asked: "bit for bit".into(),
        reached: format!("{differ} of {} samples differ", 2 * input[0].len()),
        source: "definition".into(),
        kept: Some(differ == 0),
    }
}

/// Every stage on but neutral.
fn neutral(mix: &Stereo) -> Row {
    let input = quieter(mix);
    let mut settings = Settings::default();
    settings.compressor.on = true;
    settings.compressor.threshold = 0.0;
    let null = null_db(&process(RATE, &input, &settings).0, &input);
    Row {
        what: "chain: every stage on and neutral, demo mix at −6 dB, against the delayed input".into(),
        asked: "≤ −140 dBFS".into(),
        reached: if null.is_finite() { format!("{null:.0} dBFS") } else { "no difference".into() },
        source: "definition".into(),
        kept: Some(null <= -140.0),
    }
}

/// The demo mix as it is and converted to 96 kHz, every stage active.
fn rates(mix: &Stereo) -> [Row; 2] {
    let mut settings = Settings::default();
    settings.input.trim = -6.0;
    settings.eq.bands[1].gain = -2.0;
    settings.eq.bands[4].gain = 1.0;
    settings.compressor.on = true;
    settings.compressor.threshold = -22.0;
    settings.limiter.drive = 11.0;

    let mut converter = Converter::new(RATE, 96_000);
    let wide = mix.each_ref().map(|ch| ch.iter().map(|x| f64::from(*x)).collect::<Vec<_>>());
    let mut converted = [Vec::new(), Vec::new()];
    converter.push(&wide[0], &wide[1], &mut converted);
    converter.end(&mut converted);
    let converted = converted.map(|ch| ch.iter().map(|x| *x as f32).collect::<Vec<_>>());

    let (low, low_columns) = process(RATE, mix, &settings);
    let (high, high_columns) = process(96_000, &converted, &settings);
    let loudness = |rate, x: &Stereo| {
        let mut meter = LoudnessMeter::new(rate, 2);
        meter.feed(&[&x[0], &x[1]]);
        meter.integrated()
    };
    let apart = (loudness(RATE, &low) - loudness(96_000, &high)).abs();
    let pairs = low_columns.iter().zip(&high_columns);
    let worst = pairs.flat_map(|(a, b)| [(a[0] - b[0]).abs(), (a[1] - b[1]).abs()]).fold(0.0, f32::max);
    let row = |what: &str, asked: &str, reached: String, kept| Row {
        what: format!("chain: demo mix at 44.1 and at 96 kHz, all stages active, drive 11 dB: {what}"),
        asked: asked.into(),
        reached,
        source: "own measurement, converted by rubato".into(),
        kept: Some(kept),
    };
    [
        row("integrated loudness apart", "≤ 0.1 LU", format!("{apart:.4} LU"), apart <= 0.1),
        row("reduction in columns of 20 ms apart", "≤ 0.2 dB", format!("{worst:.3} dB"), worst <= 0.2),
    ]
}

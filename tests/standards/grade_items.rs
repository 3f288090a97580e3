//! Signals to grade: three sources, each with the same faults, some of special shape, and the demo's mix
//! clipped and limited. The same samples on every machine (IEEE arithmetic, `libm`, one fixed sequence
//! of random numbers).

use libm::{cos, exp, pow, rint, sin};
use lintel::chain::Chain;
use lintel::settings::Settings;
use std::f64::consts::TAU;
use testkit::{Random, quartet};

pub const RATE_HZ: u32 = 48_000;

/// A reference and what is graded against it, channel by channel.
pub struct Item {
    pub name: String,
    pub rate: u32,
    pub reference: Vec<Vec<f32>>,
    pub test: Vec<Vec<f32>>,
}

type Channels = Vec<Vec<f64>>;

fn channels(frames: usize, mut sample: impl FnMut(usize, f64) -> f64) -> Channels {
    (0..2).map(|ch| (0..frames).map(|n| sample(ch, n as f64 / f64::from(RATE_HZ))).collect()).collect()
}

/// Decaying harmonic notes, four a second; the right channel a fifth higher.
fn notes(frames: usize) -> Channels {
    let mut noise = Random::new(5);
    channels(frames, |ch, t| {
        let note = (t * 4.0) as usize;
        let since = t - note as f64 / 4.0;
        let pitch = [110.0, 164.81, 220.0, 146.83, 277.18][note % 5] * [1.0, 1.5][ch];
        let tone = |k: f64| sin(TAU * pitch * k * since) * exp(-since * (3.0 + 2.0 * k)) / k;
        0.004 * noise.signed() + 0.45 * (1..=9).map(|k| tone(f64::from(k))).sum::<f64>()
    })
}

/// A hum with a burst of noise every 0.3 s.
fn bursts(frames: usize) -> Channels {
    let mut noise = Random::new(11);
    channels(frames, |ch, t| {
        let since = t - (t / 0.3 + ch as f64 * 0.5).floor() * 0.3 + ch as f64 * 0.15;
        0.5 * noise.signed() * exp(-since.abs() / 0.02)
            + 0.3 * sin(TAU * 90.0 * t) * (0.7 + 0.3 * sin(TAU * 1.3 * t))
    })
}

/// A chord that stands, each partial beating slowly.
fn chord(frames: usize) -> Channels {
    let mut noise = Random::new(7);
    channels(frames, |ch, t| {
        let partial = |k: usize| {
            let hz = [220.0, 277.2, 329.6, 523.3, 880.0, 1760.0, 3520.0, 7040.0, 11_000.0][k];
            let beat = 1.0 + 0.4 * sin(TAU * (0.4 + 0.23 * k as f64 + 0.1 * ch as f64) * t);
            beat * sin(TAU * hz * t + k as f64) * pow(0.72, k as f64)
        };
        0.002 * noise.signed() + 0.16 * (0..9).map(partial).sum::<f64>()
    })
}

/// One channel in, the same with a fault out.
type Fault = fn(&[f64]) -> Vec<f64>;

/// What can be wrong with the test.
const FAULTS: [(&str, Fault); 9] = [
    ("none", |x| x.to_vec()),
    ("clipped 6 dB below the peak", |x| clipped(x, 0.5)),
    ("clipped 2 dB below the peak", |x| clipped(x, 0.8)),
    ("noise at -74 dB", |x| with_noise(x, 2e-4)),
    ("noise at -60 dB", |x| with_noise(x, 1e-3)),
    ("gain at 3 Hz", |x| modulated(x, 3.0, 0.15)),
    ("gain at 40 Hz", |x| modulated(x, 40.0, 0.02)),
    ("one pole at 5 kHz", one_pole),
    ("11 bits", |x| x.iter().map(|x| rint(x * 1024.0) / 1024.0).collect()),
];

fn clipped(x: &[f64], part: f64) -> Vec<f64> {
    let limit = part * x.iter().fold(0.0, |peak: f64, x| peak.max(x.abs()));
    x.iter().map(|x| x.clamp(-limit, limit)).collect()
}

fn with_noise(x: &[f64], level: f64) -> Vec<f64> {
    let mut noise = Random::new(23);
    x.iter().map(|x| x + level * noise.signed()).collect()
}

fn modulated(x: &[f64], hz: f64, depth: f64) -> Vec<f64> {
    let gain = |n: usize| 1.0 + depth * cos(TAU * hz * n as f64 / f64::from(RATE_HZ));
    x.iter().enumerate().map(|(n, x)| x * gain(n)).collect()
}

fn one_pole(x: &[f64]) -> Vec<f64> {
    let keep = exp(-TAU * 5000.0 / f64::from(RATE_HZ));
    let mut y = 0.0;
    x.iter()
        .map(|x| {
            y = keep * y + (1.0 - keep) * x;
            y
        })
        .collect()
}

fn item(name: impl Into<String>, reference: &Channels, test: &Channels) -> Item {
    let single = |x: &Channels| x.iter().map(|x| x.iter().map(|&x| x as f32).collect()).collect();
    Item { name: name.into(), rate: RATE_HZ, reference: single(reference), test: single(test) }
}

fn with_fault(channels: &Channels, fault: usize) -> Channels {
    channels.iter().map(|x| FAULTS[fault].1(x)).collect()
}

/// Every source with every fault, and some with something special about their shape.
fn made_items() -> Vec<Item> {
    let second = RATE_HZ as usize;
    let sources: [(&str, Channels); 3] =
        [("notes", notes(3 * second)), ("bursts", bursts(3 * second)), ("chord", chord(3 * second))];
    let mut items = Vec::new();
    for (source, channels) in &sources {
        for (fault, (name, _)) in FAULTS.iter().enumerate() {
            items.push(item(format!("{source}, {name}"), channels, &with_fault(channels, fault)));
        }
    }
    let source = &sources[0].1;
    let faulty = with_fault(source, 2);
    let cut = |x: &Channels, range: std::ops::Range<usize>| -> Channels {
        x.iter().map(|x| x[range.clone()].to_vec()).collect()
    };
    let between = |x: &Channels, before: usize, after: usize| -> Channels {
        x.iter().map(|x| [&vec![0.0; before], x.as_slice(), &vec![0.0; after]].concat()).collect()
    };
    let (short, odd) = (0..second * 6 / 5, 0..second * 2 + 77);
    items.push(item("a little over a second", &cut(source, short.clone()), &cut(&faulty, short)));
    items.push(item("an odd length", &cut(source, odd.clone()), &cut(&faulty, odd)));
    items.push(item("the test is longer", &cut(source, 0..second * 2), &faulty));
    items.push(item("one channel", &source[..1].to_vec(), &faulty[..1].to_vec()));
    items.push(item("a fault on one side only", source, &vec![source[0].clone(), faulty[1].clone()]));
    items.push(item(
        "silence at both ends",
        &between(source, 30_000, 20_000),
        &between(&faulty, 30_000, 20_000),
    ));
    items.push(item("a test of silence", source, &vec![vec![0.0; 3 * second]; 2]));
    items
}

/// The demo's mix (44.1 kHz), and 44.1 kHz taken for 48: clipped, limited, with noise, in mono.
fn mix_items() -> Vec<Item> {
    let mix = quartet::mix(10.0);
    let channels: Vec<Vec<f32>> = mix.to_vec();
    let with = |f: &mut dyn FnMut(f64) -> f64| -> Vec<Vec<f32>> {
        channels.iter().map(|x| x.iter().map(|&x| f(f64::from(x)) as f32).collect()).collect()
    };
    let mut tests: Vec<(String, Vec<Vec<f32>>)> = Vec::new();
    for drive_db in [3.0, 6.0, 9.0] {
        let gain = 10f64.powf(drive_db / 20.0);
        tests.push((
            format!("mix clipped by {drive_db} dB"),
            with(&mut |x| (x * gain).clamp(-0.89, 0.89) / gain),
        ));
        tests.push((format!("mix limited by {drive_db} dB"), limited(&channels, drive_db)));
    }
    let mut noise = Random::new(31);
    tests.push(("mix with noise at -54 dB".into(), with(&mut |x| x + 2e-3 * noise.signed())));
    let mut items = Vec::new();
    for rate in [44_100, RATE_HZ] {
        for (name, test) in &tests {
            let name = format!("{name}, {rate} Hz");
            items.push(Item { name, rate, reference: channels.clone(), test: test.clone() });
        }
    }
    let mono = |x: &[Vec<f32>]| vec![x[0].iter().zip(&x[1]).map(|(l, r)| 0.5 * (l + r)).collect()];
    items.push(Item {
        name: "mono mix clipped by 6 dB, 44100 Hz".into(),
        rate: 44_100,
        reference: mono(&channels),
        test: mono(&tests[2].1),
    });
    items
}

/// The whole chain at its defaults with `drive_db`, aligned, at the level of its input.
fn limited(channels: &[Vec<f32>], drive_db: f64) -> Vec<Vec<f32>> {
    let mut settings = Settings::default();
    settings.limiter.drive = drive_db as f32;
    let mut chain = Chain::new(44_100.0);
    chain.set(&settings);
    chain.reset();
    let latency = chain.latency();
    let mut out = channels.to_vec();
    out.iter_mut().for_each(|x| x.extend(std::iter::repeat_n(0.0, latency)));
    let [left, right] = out.as_mut_slice() else { unreachable!("the mix is stereo") };
    chain.process(&mut [left, right], |_| {});
    let gain = 10f64.powf(-drive_db / 20.0) as f32;
    out.iter().map(|x| x[latency..].iter().map(|x| x * gain).collect()).collect()
}

/// All items.
pub fn items() -> Vec<Item> {
    let mut items = made_items();
    items.extend(mix_items());
    items
}

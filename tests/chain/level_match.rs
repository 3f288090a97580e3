//! Level-matched comparison after a move: the stated difference against the one that is heard.

use crate::signal::transients;
use lintel::chain::Chain;
use lintel::dsp::db;
use lintel::dsp::k_weighting::KWeighting;
use lintel::params::{self, Kind, Param};
use lintel::settings::{Compare, Settings};

const RATE: f64 = 48_000.0;
const SECOND: usize = 48_000;
/// Frames a block of the host.
const BLOCK: usize = 480;
/// Seconds before the move.
const BEFORE_S: usize = 3;

/// Own goals: stated minus heard, dB.
const GOAL_2_S_DB: f64 = 0.5;
const GOAL_5_S_DB: f64 = 0.2;

fn noise() -> [Vec<f32>; 2] {
    let mut random = testkit::Random::new(7);
    let mut channel = || (0..(BEFORE_S + 5) * SECOND).map(|_| (0.2 * random.signed()) as f32).collect();
    [channel(), channel()]
}

fn music() -> [Vec<f32>; 2] {
    transients((BEFORE_S + 5) * SECOND, RATE, 11)
}

fn start() -> Settings {
    let mut settings = Settings::default();
    settings.eq.bands[1].gain = 3.0;
    settings.eq.bands[4].gain = 2.0;
    settings.compressor.on = true;
    settings.compressor.threshold = -24.0;
    settings.limiter.drive = 6.0;
    settings
}

/// One run.
struct Run {
    /// Told difference at the end of each block, dB.
    stated: Vec<f64>,
    /// K-weighted energies of each block: before and after.
    energy: Vec<[f64; 2]>,
}

impl Run {
    /// Told minus heard, `seconds` after the move, dB: heard is the difference over the seconds from
    /// `from` seconds after the move on.
    fn error_db(&self, from: f64, seconds: f64) -> f64 {
        let block = |seconds: f64| ((BEFORE_S as f64 + seconds) * RATE) as usize / BLOCK;
        let sum = self.energy[block(from)..block(seconds)]
            .iter()
            .fold([0.0; 2], |sum, energy| [sum[0] + energy[0], sum[1] + energy[1]]);
        self.stated[block(seconds) - 1] - db::from_power(sum[1] / sum[0])
    }
}

fn run(input: &[Vec<f32>; 2], from: &Settings, to: &Settings) -> Run {
    let mut chain = Chain::new(RATE);
    let mut weighting = KWeighting::<4>::new(RATE);
    chain.set(from);
    chain.reset();
    let mut run = Run { stated: Vec::new(), energy: Vec::new() };
    for (n, (left, right)) in input[0].chunks(BLOCK).zip(input[1].chunks(BLOCK)).enumerate() {
        if n * BLOCK == BEFORE_S * SECOND {
            chain.set(to);
        }
        let mut energy = [0.0; 4];
        let (mut left, mut right) = (left.to_vec(), right.to_vec());
        chain.process(&mut [&mut left, &mut right], |tap| {
            weighting.add_energy([tap.before[0], tap.before[1], tap.after[0], tap.after[1]], &mut energy);
        });
        run.stated.push(chain.louder_by_db());
        run.energy.push([energy[0] + energy[1], energy[2] + energy[3]]);
    }
    run
}

/// All ends of a parameter.
fn ends(param: &Param) -> Vec<f32> {
    match param.kind {
        Kind::Number { min, max, .. } => vec![min, max],
        Kind::Choice(words) => (0..words.len()).map(|n| n as f32).collect(),
        Kind::Switch => vec![0.0, 1.0],
    }
}

fn check(input: &[Vec<f32>; 2], what: &str, wrong: &mut Vec<String>) {
    for param in params::all().iter().filter(|param| !param.is_monitoring()) {
        let values = ends(param);
        for (from, to) in values.iter().zip(values.iter().skip(1)).flat_map(|(a, b)| [(*a, *b), (*b, *a)]) {
            let (mut a, mut b) = (start(), start());
            param.set(&mut a, from);
            param.set(&mut b, to);
            let run = run(input, &a, &b);
            // The last second heard: a whole bar of the music.
            for (seconds, goal) in [(2.0, GOAL_2_S_DB), (5.0, GOAL_5_S_DB)] {
                let error = run.error_db(seconds * 0.5, seconds);
                if error.is_nan() || error.abs() > goal {
                    wrong.push(format!(
                        "{what}: {} {from} to {to}: {error:.2} dB after {seconds} s",
                        param.id
                    ));
                }
            }
        }
    }
}

#[test]
fn stated_is_measured_within_half_a_decibel_2_s_and_a_fifth_5_s_after_any_move() {
    let mut wrong = Vec::new();
    check(&noise(), "noise", &mut wrong);
    check(&music(), "music", &mut wrong);
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

/// The drive of the issue: from 0 to +6 dB.
#[test]
fn drive_of_6_db_is_stated_from_the_first_second_on() {
    let (from, mut to) = (Settings::default(), Settings::default());
    to.limiter.drive = 6.0;
    for input in [noise(), music()] {
        let run = run(&input, &from, &to);
        for seconds in [0.5, 1.0, 2.0, 5.0] {
            let error = run.error_db(seconds * 0.5, seconds);
            assert!(error.abs() < 0.5, "{error:.2} dB after {seconds} s");
        }
    }
}

/// What is stated glides into the listening levels with 50 ms, which makes a fifth of this of it.
#[test]
fn nothing_jumps_where_nothing_has_moved() {
    for input in [noise(), music()] {
        let run = run(&input, &start(), &start());
        let steps = run.stated[BEFORE_S * SECOND / BLOCK..].windows(2).map(|pair| (pair[1] - pair[0]).abs());
        let largest = steps.fold(0.0, f64::max);
        assert!(largest < 0.15, "{largest} dB in 10 ms");
    }
}

/// Also bypass and compare themselves are no moves.
#[test]
fn compare_is_identical_from_run_to_run_and_at_every_block_size() {
    let input = music();
    let mut settings = Settings { compare: Compare::After, ..start() };
    let mut heard = |sizes: &[usize]| {
        let mut chain = Chain::new(RATE);
        chain.set(&settings);
        chain.reset();
        let [mut left, mut right] = input.clone();
        let mut at = 0;
        for size in sizes.iter().cycle() {
            // The move comes at one frame for all.
            let end = if at < SECOND { (at + size).min(SECOND) } else { (at + size).min(left.len()) };
            if at == SECOND {
                settings.limiter.drive = 12.0;
                chain.set(&settings);
            }
            chain.process(&mut [&mut left[at..end], &mut right[at..end]], |_| ());
            at = end;
            if at == left.len() {
                break;
            }
        }
        settings.limiter.drive = 6.0;
        [left, right]
    };
    let reference = heard(&[512]);
    assert!(heard(&[512]) == reference);
    assert!(heard(&[1, 7, 4096, 33]) == reference);
}

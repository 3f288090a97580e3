//! A reference as the third side of compare: equally loud, exchanged without a click, never in a file.

use crate::signal::{run, transients};
use lintel::chain::{Chain, ReferenceSound};
use lintel::dsp::CHUNK;
use lintel::meter::{LoudnessMeter, MonoAs};
use lintel::settings::{Compare, Settings};
use std::f64::consts::TAU;

const RATE: f64 = 48_000.0;
const SECOND: usize = 48_000;

/// Bound of a level match, LU: that of input and output after five seconds is 0.2 (see level_match), and the
/// issue of a reference adds the difference between two gated programmes.
const MATCH_LU: f64 = 0.5;

/// Integrated loudness, LUFS, by the project's meter, which the tests of standards check.
fn integrated(channels: &[Vec<f32>; 2]) -> f64 {
    let mut meter = LoudnessMeter::with_layout(SECOND as u32, MonoAs::default().roles(2));
    let chunks = channels[0].as_chunks::<CHUNK>().0.iter().zip(channels[1].as_chunks::<CHUNK>().0);
    chunks.for_each(|(left, right)| meter.feed(&[left, right]));
    meter.integrated()
}

fn sound(channels: [Vec<f32>; 2], start: usize) -> Box<ReferenceSound> {
    let loudness = integrated(&channels);
    Box::new(ReferenceSound::new(channels, SECOND as u32, loudness, start))
}

fn scaled(channels: &[Vec<f32>; 2], gain: f32) -> [Vec<f32>; 2] {
    channels.clone().map(|channel| channel.iter().map(|x| x * gain).collect())
}

/// A sine of −26 dBFS at 100 Hz: every step in the output is a step of the chain's.
fn tone(frames: usize) -> [Vec<f32>; 2] {
    let tone: Vec<f32> = (0..frames).map(|n| (0.05 * (TAU * 100.0 * n as f64 / RATE).sin()) as f32).collect();
    [tone.clone(), tone]
}

fn process(chain: &mut Chain, channels: &mut [Vec<f32>; 2]) {
    let [left, right] = channels;
    chain.process(&mut [left, right], |_| ());
}

fn comparing(compare: Compare) -> Settings {
    let mut settings = Settings { compare, ..Settings::default() };
    settings.limiter.drive = 6.0;
    settings
}

/// Ten seconds of music, then every side in turn: a loud reference, one that is quieter than the mix, and one
/// with a quiet half.
#[test]
fn every_side_is_equally_loud_and_none_is_turned_up() {
    let music = transients(20 * SECOND, RATE, 21);
    let other = transients(10 * SECOND, RATE, 22);
    let mut half_quiet = other.clone();
    half_quiet.iter_mut().for_each(|channel| channel[..5 * SECOND].iter_mut().for_each(|x| *x *= 0.05));
    for (name, reference) in
        [("loud", scaled(&other, 1.0)), ("quiet", scaled(&other, 0.1)), ("half quiet", half_quiet)]
    {
        let mut found = Vec::new();
        for compare in [Compare::Before, Compare::After, Compare::Reference] {
            let mut chain = Chain::new(RATE);
            chain.set(&comparing(compare));
            chain.reset();
            chain.offer_reference(Some(sound(reference.clone(), 0))).expect("taken");
            let mut out = music.clone();
            process(&mut chain, &mut out);
            // The second half: the gains have settled. The reference is heard whole.
            let heard = out.map(|channel| channel[10 * SECOND..].to_vec());
            found.push(integrated(&heard));
            assert!(
                chain.readout().listening_db.iter().all(|db| *db <= 0.0),
                "{name}: {compare:?} turned up"
            );
        }
        println!("{name}: before {:.2}, after {:.2}, reference {:.2} LUFS", found[0], found[1], found[2]);
        let spread = found.iter().fold(f64::NEG_INFINITY, |m, x| m.max(*x))
            - found.iter().fold(f64::INFINITY, |m, x| m.min(*x));
        assert!(spread <= MATCH_LU, "{name}: {found:?}");
    }
}

#[test]
fn before_anything_is_measured_a_loud_reference_is_quiet() {
    let mut chain = Chain::new(RATE);
    chain.set(&comparing(Compare::Reference));
    chain.reset();
    chain.offer_reference(Some(sound(transients(10 * SECOND, RATE, 23), 0))).expect("taken");
    let mut out = [vec![0.0; 10 * SECOND], vec![0.0; 10 * SECOND]];
    process(&mut chain, &mut out);
    let lufs = integrated(&out);
    assert!((lufs + 23.0).abs() < 0.5, "{lufs} LUFS");
}

#[test]
fn every_block_size_gives_the_same_samples_also_while_references_are_exchanged() {
    let music = transients(3 * SECOND, RATE, 24);
    let with = |block: usize| {
        let mut chain = Chain::new(RATE);
        chain.set(&comparing(Compare::Reference));
        chain.reset();
        let mut out = music.clone();
        // Exchanges at fixed frames; every block size has a block begin there.
        for (n, part) in (0..3 * SECOND).step_by(4800).enumerate() {
            drop(chain.take_replaced_reference());
            let next = (n % 5 != 4).then(|| sound(transients(SECOND, RATE, n as u64), 100 * n));
            let _ = chain.offer_reference(next);
            for at in (part..part + 4800).step_by(block) {
                let end = (at + block).min(part + 4800);
                let [left, right] = &mut out;
                chain.process(&mut [&mut left[at..end], &mut right[at..end]], |_| ());
            }
        }
        out
    };
    let expected = with(480);
    for block in [1, 17, 64, 4096] {
        assert!(with(block) == expected, "block size {block}");
    }
}

#[test]
fn a_hundred_exchanges_make_no_click_and_give_every_sound_back() {
    let mut chain = Chain::new(RATE);
    chain.set(&comparing(Compare::Reference));
    chain.reset();
    let (mut given, mut back, mut last) = (0, 0, 0.0_f32);
    let mut steepest = 0.0_f32;
    for n in 0..300 {
        back += usize::from(chain.take_replaced_reference().is_some());
        if chain.takes_a_reference() && n % 3 == 0 {
            // Every fourth exchange removes it.
            let next = (n % 12 != 9).then(|| sound(tone(SECOND), 7919 * n));
            given += usize::from(next.is_some());
            chain.offer_reference(next).expect("it takes offers");
        }
        // Whole periods of the sine: the input has no step of its own.
        let mut part = tone(1440);
        process(&mut chain, &mut part);
        for x in &part[0] {
            steepest = steepest.max((x - last).abs());
            last = *x;
        }
    }
    println!("{given} given, {back} back, steepest step {steepest}");
    assert!(given == 75 && back >= given - 1, "{given} given, {back} back");
    // The sine's own steepest step, 0.05 · 2π · 100 / 48000, and the cross-fade's of 10 ms.
    assert!(steepest < 0.05 * (TAU * 100.0 / RATE) as f32 + 0.1 / 480.0, "{steepest}");
}

#[test]
fn files_and_normal_operation_never_contain_a_reference() {
    let music = transients(SECOND, RATE, 26);
    for compare in [Compare::Off, Compare::Reference] {
        let mut chain = Chain::new(RATE);
        chain.set(&comparing(compare));
        chain.reset();
        chain.offer_reference(Some(sound(transients(SECOND, RATE, 27), 0))).expect("taken");
        let mut wide = music.clone().map(|channel| channel.iter().map(|x| f64::from(*x)).collect::<Vec<_>>());
        let [left, right] = &mut wide;
        chain.process_wide([left, right], |_| ());
        let narrow = wide.map(|channel| channel.iter().map(|x| *x as f32).collect::<Vec<_>>());
        assert!(narrow == run(RATE, &music, 480, &comparing(Compare::Off)), "a file, {compare:?}");
    }
    let mut chain = Chain::new(RATE);
    chain.set(&comparing(Compare::Off));
    chain.reset();
    chain.offer_reference(Some(sound(transients(SECOND, RATE, 27), 0))).expect("taken");
    let mut out = music.clone();
    process(&mut chain, &mut out);
    assert!(out == run(RATE, &music, 480, &comparing(Compare::Off)), "compare off");
}

#[test]
fn without_a_reference_the_result_is_heard() {
    let music = transients(2 * SECOND, RATE, 28);
    let [reference, after] =
        [Compare::Reference, Compare::After].map(|compare| run(RATE, &music, 480, &comparing(compare)));
    assert!(reference == after);
}

#[test]
fn a_reference_of_another_rate_is_refused() {
    let mut chain = Chain::new(44_100.0);
    let refused = chain.offer_reference(Some(sound(tone(SECOND), 0)));
    assert!(matches!(refused, Err(Some(_))));
    assert!(chain.takes_a_reference());
}

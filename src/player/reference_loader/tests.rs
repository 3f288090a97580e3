//! A loader with a chain that a thread runs, as a host would.

use super::*;
use crate::chain::Chain;
use crate::meter::Analysis;
use crate::player::loaded_song::tests::file;
use crate::settings::{Compare, Settings};
use crate::tap_ring::Transport;
use testkit::Random;

const RATE: u32 = 48_000;

fn until(what: &str, mut done: impl FnMut() -> bool) {
    let start = Instant::now();
    while !done() {
        assert!(start.elapsed() < Duration::from_secs(30), "{what}");
        std::thread::sleep(Duration::from_millis(2));
    }
}

/// Noise through one pole: the larger `pole`, the darker.
fn noise(seconds: usize, pole: f64, level: f64) -> Vec<f32> {
    let (mut random, mut last) = (Random::new(31), 0.0);
    let next = |_| {
        last = pole * last + (1.0 - pole) * random.signed();
        (level * last) as f32
    };
    (0..seconds * RATE as usize).map(next).collect()
}

fn ready(loader: &ReferenceLoader) -> bool {
    loader.readout().figures().is_some()
}

/// Runs a block of silence, as the audio thread does.
fn block(chain: &mut Chain, receiver: &mut ReferenceReceiver) {
    receiver.exchange(chain);
    let mut silence = [0.0; 512];
    chain.process(&mut [&mut silence], |_| ());
}

#[test]
fn a_file_is_heard_and_measured_and_a_missing_one_is_one_line() {
    let folder = tempfile::tempdir().unwrap();
    let path = file(folder.path(), 44_100, &noise(12, 0.5, 0.5));
    let (loader, mut receiver) = ReferenceLoader::new();
    let mut chain = Chain::new(f64::from(RATE));
    loader.chain_created(RATE);
    loader.show(&path.display().to_string(), false);
    until("reading", || ready(&loader));
    let figures = loader.readout().figures().cloned().unwrap();
    assert!((-20.0..-5.0).contains(&figures.integrated), "{figures:?}");
    let seconds = 12.0 * f64::from(RATE) / 44_100.0;
    assert!((figures.seconds - seconds).abs() < 1e-6, "{figures:?}");
    chain.set(&Settings { compare: Compare::Reference, ..Settings::default() });
    let mut heard = 0.0_f32;
    until("hearing it", || {
        receiver.exchange(&mut chain);
        let mut silence = [0.0; 512];
        chain.process(&mut [&mut silence], |_| ());
        heard = silence.iter().fold(heard, |m, x| m.max(x.abs()));
        heard > 0.01
    });

    let missing = folder.path().join("none.wav").display().to_string();
    loader.show(&missing, false);
    until("the fault", || matches!(loader.readout().load, ReferenceLoad::Failed(_)));
    let ReferenceLoad::Failed(line) = &loader.readout().load else { unreachable!() };
    assert!(line.contains("none.wav") && line.contains("no such file") && !line.contains('\n'), "{line}");
    // The earlier one is no longer heard.
    until("silence", || {
        receiver.exchange(&mut chain);
        let mut silence = [0.0; 512];
        chain.process(&mut [&mut silence], |_| ());
        silence.iter().all(|x| *x == 0.0)
    });
}

#[test]
fn a_hundred_references_in_a_row_end_with_none() {
    let folder = tempfile::tempdir().unwrap();
    let paths = [0.0, 0.9].map(|pole| {
        let inner = folder.path().join(format!("{pole}"));
        std::fs::create_dir(&inner).unwrap();
        file(&inner, RATE, &noise(1, pole, 0.3)).display().to_string()
    });
    let (loader, mut receiver) = ReferenceLoader::new();
    let mut chain = Chain::new(f64::from(RATE));
    loader.chain_created(RATE);
    for n in 0..100 {
        match n % 4 {
            3 => loader.show("", false),
            n => loader.show(&paths[n % 2], false),
        }
        // Some are replaced while they are being read.
        if n % 5 != 0 {
            until("reading", || {
                block(&mut chain, &mut receiver);
                n % 4 == 3 || ready(&loader)
            });
        }
    }
    loader.show("", false);
    assert_eq!(*loader.readout(), ReferenceReadout::default());
    drop(loader);
    block(&mut chain, &mut receiver);
}

/// The input is darker than the reference by the curve of one pole: the fit raises the treble.
#[test]
fn the_tone_of_the_input_is_compared_and_a_move_proposed() {
    let folder = tempfile::tempdir().unwrap();
    let path = file(folder.path(), RATE, &noise(30, 0.3, 0.3));
    let (loader, _receiver) = ReferenceLoader::new();
    loader.chain_created(RATE);
    loader.show(&path.display().to_string(), false);
    until("reading", || ready(&loader));
    let mut analysis = Analysis::new(RATE, 1);
    let mut chain = Chain::new(f64::from(RATE));
    let mut input = noise(30, 0.6, 0.3);
    let early = 5 * RATE as usize;
    chain.process(&mut [&mut input[..early]], |tap| analysis.feed(tap, Transport::default()));
    loader.follow(&analysis.snapshot());
    std::thread::sleep(Duration::from_millis(50));
    assert!(loader.readout().tone.is_none(), "5 s are too little");
    chain.process(&mut [&mut input[early..]], |tap| analysis.feed(tap, Transport::default()));
    until("comparing", || {
        loader.follow(&analysis.snapshot());
        loader.readout().tone.is_some()
    });
    let tone = loader.readout().tone.clone().unwrap();
    let bands = tone.fit.expect(&tone.sentence);
    println!("{tone:?}");
    assert!(bands[4].gain > 0.5 && bands[0].gain < 0.5, "{bands:?}");
    assert!(
        tone.left_db.is_sorted_by(|a, b| a > b) && tone.left_db[3] < 0.5 * tone.difference_db,
        "{tone:?}"
    );
}

//! Through the CLAP C interface.

use crate::play::turn;
use crate::signal::{BUSY, bundle, chain, difference, settings, stepped, transients};
use lintel::chain::Chain;
use lintel::params;
use testkit::host::offline::{Change, Host, Run};

fn open() -> Option<Host> {
    bundle("Lintel.clap").map(|path| Host::open(&path).expect("the bundle opens"))
}

fn set(host: &mut Host, texts: &[(&str, &str)]) {
    for (id, text) in texts {
        host.set(params::find(id).expect("a parameter").name, text).expect("the plugin takes it");
    }
}

const fn run(sample_rate: f64, block: usize) -> Run<'static> {
    Run { sample_rate, block, changes: &[] }
}

#[test]
fn every_block_size_gives_the_samples_of_the_chain() {
    let _turn = turn();
    let Some(mut host) = open() else { return };
    set(&mut host, &BUSY);
    let input = transients(44_100.0, 0.5, 2);
    let (expected, latency) = chain(44_100.0, &input, &settings(&BUSY));
    for block in [1, 17, 64, 480, 4096] {
        let output = host.run(&input, run(44_100.0, block), &mut |_| ()).expect("it runs");
        assert_eq!(output.latency, latency);
        assert!(
            output.channels == expected,
            "block size {block}: {}",
            difference(&output.channels, &expected)
        );
    }
}

#[test]
fn every_rate_works_and_reports_the_chains_latency_and_tail() {
    let _turn = turn();
    let Some(mut host) = open() else { return };
    set(&mut host, &BUSY);
    for rate in [8_000.0, 11_025.0, 44_100.0, 48_000.0, 88_200.0, 96_000.0, 192_000.0, 384_000.0] {
        let input = transients(rate, 0.2, 2);
        let (expected, latency) = chain(rate, &input, &settings(&BUSY));
        let output = host.run(&input, run(rate, 512), &mut |_| ()).expect("it runs");
        assert_eq!(output.latency, latency, "{rate}");
        let mut reference = Chain::new(rate);
        reference.set(&settings(&BUSY));
        assert_eq!(output.tail as usize, reference.tail(), "{rate}");
        assert!(output.channels == expected, "{rate}: {}", difference(&output.channels, &expected));
    }
}

#[test]
fn bypass_through_the_host_is_the_input_bit_for_bit() {
    let _turn = turn();
    let Some(mut host) = open() else { return };
    set(&mut host, &BUSY);
    set(&mut host, &[("bypass", "on")]);
    let mut input = transients(48_000.0, 0.3, 2);
    input[0][4_000] = 3.7;
    let output = host.run(&input, run(48_000.0, 333), &mut |_| ()).expect("it runs");
    assert!(output.channels == input);
}

#[test]
fn automation_acts_at_its_frame_whatever_the_block_size() {
    let _turn = turn();
    let Some(mut host) = open() else { return };
    let input = transients(48_000.0, 0.5, 2);
    let change = |frame, id: &str, text: &str| Change {
        frame,
        name: params::find(id).expect("a parameter").name.to_owned(),
        text: text.to_owned(),
    };
    let changes = [
        change(1_000, "drive", "+12 dB"),
        change(7_777, "eq2_gain", "+6 dB"),
        change(12_345, "comp_on", "on"),
        change(20_001, "drive", "0 dB"),
    ];
    let mut reference = Chain::new(48_000.0);
    reference.set(&settings(&[]));
    reference.reset();
    let mut expected = input.clone();
    let latency = reference.latency();
    expected.iter_mut().for_each(|ch| ch.extend(std::iter::repeat_n(0.0, latency)));
    let steps: [(usize, &[(&str, &str)]); 5] = [
        (1_000, &[]),
        (7_777, &[("drive", "+12 dB")]),
        (12_345, &[("drive", "+12 dB"), ("eq2_gain", "+6 dB")]),
        (20_001, &[("drive", "+12 dB"), ("eq2_gain", "+6 dB"), ("comp_on", "on")]),
        (expected[0].len(), &[("eq2_gain", "+6 dB"), ("comp_on", "on")]),
    ];
    stepped(&mut reference, &mut expected, &steps);
    expected.iter_mut().for_each(|ch| drop(ch.drain(..latency)));
    for block in [1, 17, 64, 480, 4096] {
        set(&mut host, &[("drive", "0 dB"), ("eq2_gain", "0 dB"), ("comp_on", "off")]);
        let what = Run { sample_rate: 48_000.0, block, changes: &changes };
        let output = host.run(&input, what, &mut |_| ()).expect("it runs");
        assert!(
            output.channels == expected,
            "block size {block}: {}",
            difference(&output.channels, &expected)
        );
    }
}

#[test]
fn a_state_restores_everything_in_another_instance() {
    let _turn = turn();
    let (Some(mut first), Some(mut second)) = (open(), open()) else { return };
    // Every parameter away from its default.
    for param in params::all() {
        let value = if param.default() == param.range().1 { param.range().0 } else { param.range().1 };
        first.set(param.name, &param.text(value)).expect("the plugin takes it");
    }
    let state = first.save().expect("a state");
    second.load(&state).expect("it is taken");
    for param in params::all() {
        let (a, b) = (first.text(param.name).unwrap(), second.text(param.name).unwrap());
        assert_eq!(a, b, "{}", param.id);
        assert_ne!(a, param.text(param.default()), "{}", param.id);
    }
    assert_eq!(second.save().expect("a state"), state);
}

#[test]
fn a_garbage_state_is_refused_and_the_old_one_kept() {
    let _turn = turn();
    let Some(mut host) = open() else { return };
    set(&mut host, &BUSY);
    let before = host.save().expect("a state");
    for garbage in [&b""[..], b"not a state", &before[..before.len() / 2], &[0xff; 4096]] {
        assert!(host.load(garbage).is_err(), "{} bytes of garbage taken", garbage.len());
        assert_eq!(host.save().expect("a state"), before);
    }
}

#[test]
fn every_parameter_reads_and_writes_its_texts() {
    let _turn = turn();
    let Some(mut host) = open() else { return };
    assert_eq!(host.params().len(), params::all().len());
    for param in params::all() {
        assert_eq!(host.text(param.name).expect("a text"), param.text(param.default()), "{}", param.id);
        for position in [0.0, 0.31, 0.5, 0.87, 1.0] {
            let text = param.text(param.at_position(position));
            host.set(param.name, &text).expect("the plugin takes its own text");
            assert_eq!(host.text(param.name).expect("a text"), text, "{}", param.id);
        }
        assert!(host.set(param.name, "nonsense").is_err(), "{}", param.id);
    }
}

#[test]
fn a_thread_that_scanned_the_bundle_may_end_after_the_bundle_is_closed() {
    let _turn = turn();
    for _ in 0..20 {
        let scan = std::thread::spawn(|| {
            let Some(host) = open() else { return };
            assert!(!host.params().is_empty());
            drop(host);
        });
        scan.join().expect("the scanning thread ends in peace");
    }
}

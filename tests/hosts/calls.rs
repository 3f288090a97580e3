//! Every layout, rate, block size, buffer and order of calls that the CLAP interface allows: always the
//! samples of the library's own chain.

use crate::play::{Buffers, by_hand, play, set, turn};
use crate::signal::{BUSY, chain, difference, settings, stepped, transients};
use lintel::chain::Chain;
use lintel::params;
use testkit::Random;
use testkit::host::raw::{Events, Rig};

/// Length of the longest call.
const MOST: usize = 8192;

/// Lengths of calls, drawn from those that hosts like and those that they do not; 0 among them.
fn lengths(seed: u64) -> impl FnMut() -> usize {
    let mut random = Random::new(seed);
    move || [0, 1, 2, 31, 32, 33, 63, 64, 441, 480, 512, 1 + random.below(700), 4096, MOST][random.below(14)]
}

#[track_caller]
fn same(found: &[Vec<f32>], expected: &[Vec<f32>], what: &str) {
    assert!(found == expected, "{what}: {}", difference(found, expected));
}

#[test]
fn every_layout_and_rate_in_changing_calls_in_place_and_not() {
    let _turn = turn();
    let Some(mut rig) = by_hand() else { return };
    let layouts = rig.layouts();
    assert_eq!(layouts.iter().map(|l| (l.1, l.2)).collect::<Vec<_>>(), [(2, 2), (1, 1)]);
    set(&rig, &BUSY);
    for layout in layouts {
        assert!(rig.select(layout));
        for rate in
            [8_000.0, 11_025.0, 22_050.0, 44_100.0, 48_000.0, 88_200.0, 96_000.0, 192_000.0, 384_000.0]
        {
            let input = transients(rate, 0.15, layout.1 as usize);
            let (expected, latency) = chain(rate, &input, &settings(&BUSY));
            assert!(rig.activate(rate, MOST as u32));
            rig.serve();
            assert_eq!(rig.latency(), latency, "{rate}");
            assert!(rig.start());
            for buffers in [Buffers::InPlace, Buffers::Separate] {
                rig.reset();
                let found = play(&rig, &input, buffers, lengths(rate as u64));
                same(&found, &expected, &format!("{layout:?} at {rate}, {buffers:?}"));
            }
            rig.stop();
            rig.deactivate();
        }
    }
}

#[test]
fn every_block_size_up_to_8192() {
    let _turn = turn();
    let Some(mut rig) = by_hand() else { return };
    set(&rig, &BUSY);
    let input = transients(44_100.0, 0.25, 2);
    let (expected, _) = chain(44_100.0, &input, &settings(&BUSY));
    assert!(rig.activate(44_100.0, MOST as u32) && rig.start());
    let powers = (0..=13).map(|n| 1 << n);
    for size in powers.chain([3, 31, 33, 100, 441, 480, 1000, 1023, 4095, 8191]) {
        rig.reset();
        same(&play(&rig, &input, Buffers::Separate, || size), &expected, &format!("{size} frames"));
    }
    rig.stop();
    rig.deactivate();
}

#[test]
fn any_legal_order_of_calls() {
    let _turn = turn();
    let Some(mut rig) = by_hand() else { return };
    let input = transients(48_000.0, 0.1, 2);
    let (plain, _) = chain(48_000.0, &input, &settings(&[]));
    let (busy, _) = chain(48_000.0, &input, &settings(&BUSY));
    let whole = |rig: &Rig| play(rig, &input, Buffers::InPlace, || 512);

    // Active without a start; started without a sound; started again; reset before and after.
    assert!(rig.activate(48_000.0, 512));
    rig.reset();
    rig.deactivate();
    assert!(rig.activate(48_000.0, 512) && rig.start());
    rig.stop();
    assert!(rig.start());
    same(&whole(&rig), &plain, "started twice");
    rig.stop();
    rig.reset();
    assert!(rig.start());
    same(&whole(&rig), &plain, "stopped and started");
    rig.stop();
    rig.deactivate();

    // Another rate and back; settings while not active.
    assert!(rig.activate(192_000.0, 64) && rig.start());
    rig.stop();
    rig.deactivate();
    set(&rig, &BUSY);
    assert!(rig.activate(48_000.0, 512) && rig.start());
    same(&whole(&rig), &busy, "after another rate");
    rig.stop();
    rig.deactivate();

    // Saving and loading in every moment.
    let state = rig.save(usize::MAX).expect("a state");
    assert!(rig.load(&state, usize::MAX) && rig.activate(48_000.0, 512));
    assert!(rig.load(&state, usize::MAX) && rig.start());
    assert!(rig.load(&state, usize::MAX));
    assert_eq!(rig.save(usize::MAX).as_ref(), Some(&state));
    rig.reset();
    same(&whole(&rig), &busy, "loaded while it runs");
    rig.stop();
    rig.deactivate();
}

#[test]
fn a_reset_while_playing_forgets_everything() {
    let _turn = turn();
    let Some(mut rig) = by_hand() else { return };
    set(&rig, &BUSY);
    let input = transients(44_100.0, 0.3, 2);
    let (expected, _) = chain(44_100.0, &input, &settings(&BUSY));
    assert!(rig.activate(44_100.0, 512) && rig.start());
    // In the middle of a chunk of 32 frames, with everything in motion.
    for stop in [1, 77, 4_001, 9_000] {
        let mut loud: Vec<Vec<f32>> = input.iter().map(|ch| ch.iter().map(|x| x * 9.0).collect()).collect();
        assert!(rig.in_place(&mut loud, 0, stop, &Events::default()));
        rig.reset();
        same(&play(&rig, &input, Buffers::InPlace, || 333), &expected, &format!("reset after {stop}"));
        rig.reset();
    }
    rig.stop();
    rig.deactivate();
}

#[test]
fn parameters_arrive_without_processing() {
    let _turn = turn();
    let Some(mut rig) = by_hand() else { return };
    let input = transients(44_100.0, 0.2, 2);
    let texts: Vec<(&str, &str)> = BUSY.to_vec();
    let mut events = Events::default();
    for (id, text) in &texts {
        let id = rig.id(params::find(id).expect("a parameter").name);
        events.push(0, id, rig.read(id, text).expect("its text"));
    }
    let (expected, _) = chain(44_100.0, &input, &settings(&texts));
    for moment in ["not active", "active", "processing"] {
        for param in rig.params.clone() {
            let mut back = Events::default();
            back.push(0, param.id, param.default);
            rig.flush(&back, false);
        }
        if moment == "not active" {
            rig.flush(&events, false);
        }
        assert!(rig.activate(44_100.0, 512));
        if moment == "active" {
            rig.flush(&events, true);
        }
        assert!(rig.start());
        if moment == "processing" {
            rig.flush(&events, true);
        }
        for (id, text) in &texts {
            let param = params::find(id).expect("a parameter");
            let id = rig.id(param.name);
            let want = param.text(param.parse(text).expect("its text"));
            assert_eq!(rig.text(id, rig.value(id)), want, "{moment}: {}", param.id);
        }
        // Before the first frame they hold at once, whenever they came.
        same(&play(&rig, &input, Buffers::InPlace, || 512), &expected, moment);
        rig.stop();
        rig.deactivate();
    }
}

#[test]
fn an_event_acts_at_its_frame_at_every_offset() {
    let _turn = turn();
    let Some(mut rig) = by_hand() else { return };
    let (rate, block, blocks) = (48_000.0, 64, 24);
    let input = transients(rate, 0.1, 2);
    let (drive, tone) = (rig.id("drive"), rig.id("EQ 4 gain"));
    assert!(rig.activate(rate, block as u32) && rig.start());
    for offset in 0..block {
        // Two events in one call: one at every offset, one at the mirrored place.
        let (first, second) = (offset.min(block - 1 - offset), offset.max(block - 1 - offset));
        for param in rig.params.clone() {
            let mut back = Events::default();
            back.push(0, param.id, param.default);
            rig.flush(&back, true);
        }
        rig.reset();
        let mut found = input.clone();
        let mut events = Events::default();
        for n in 0..blocks {
            events.clear();
            if n == 3 {
                events.push(first as u32, drive, rig.read(drive, "+12 dB").expect("a value"));
                events.push(second as u32, tone, rig.read(tone, "+6 dB").expect("a value"));
            }
            assert!(rig.in_place(&mut found, n * block, block, &events));
        }
        let mut reference = Chain::new(rate);
        reference.set(&settings(&[]));
        reference.reset();
        let mut expected = input.clone();
        let steps: [(usize, &[(&str, &str)]); 3] = [
            (3 * block + first, &[]),
            (3 * block + second, &[("drive", "+12 dB")]),
            (blocks * block, &[("drive", "+12 dB"), ("eq4_gain", "+6 dB")]),
        ];
        stepped(&mut reference, &mut expected, &steps);
        for ch in 0..2 {
            found[ch].truncate(blocks * block);
            expected[ch].truncate(blocks * block);
        }
        same(&found, &expected, &format!("offset {offset}"));
    }
    rig.stop();
    rig.deactivate();
}

#[test]
fn latency_stands_still_and_the_tail_is_the_chains() {
    let _turn = turn();
    let Some(mut rig) = by_hand() else { return };
    let bell = [("eq2_freq", "20 Hz"), ("eq2_gain", "+12 dB"), ("eq2_q", "10")];
    for texts in [&BUSY[..], &bell[..], &[("bypass", "on"), ("limit_on", "off")]] {
        let mut fresh = by_hand().expect("it was there before");
        std::mem::swap(&mut rig, &mut fresh);
        drop(fresh);
        assert!(rig.activate(48_000.0, 512) && rig.start());
        let at_first = rig.latency();
        set(&rig, texts);
        let input = transients(48_000.0, 0.2, 2);
        play(&rig, &input, Buffers::InPlace, || 512);
        let mut reference = Chain::new(48_000.0);
        reference.set(&settings(texts));
        reference.reset();
        assert_eq!((rig.latency(), at_first), (reference.latency(), reference.latency()));
        assert_eq!(rig.tail(), reference.tail(), "{texts:?}");
        rig.stop();
        rig.deactivate();
    }
}

#[test]
fn an_offline_render_gives_the_samples_of_real_time() {
    let _turn = turn();
    let Some(mut rig) = by_hand() else { return };
    set(&rig, &BUSY);
    let input = transients(44_100.0, 0.5, 2);
    let (expected, _) = chain(44_100.0, &input, &settings(&BUSY));
    for offline in [true, false, true] {
        assert!(rig.render(offline));
        assert!(rig.activate(44_100.0, MOST as u32) && rig.start());
        same(&play(&rig, &input, Buffers::Separate, lengths(3)), &expected, &format!("offline {offline}"));
        rig.stop();
        // While active the plugin asks for a restart, and goes on as it was until it gets it.
        let before = rig.restarts();
        assert!(rig.render(!offline));
        assert_eq!(rig.restarts(), before + 1);
        assert!(rig.start());
        same(&play(&rig, &input, Buffers::Separate, || 64), &expected, "until the restart");
        rig.stop();
        rig.deactivate();
    }
}

#[test]
fn every_rate_from_1_khz_to_2_mhz_runs_and_others_are_refused() {
    let _turn = turn();
    let Some(mut rig) = by_hand() else { return };
    for rate in [0.0, -48_000.0, 1.0, 999.0, 2.1e6, 1e9, f64::NAN, f64::INFINITY] {
        assert!(!rig.activate(rate, 512), "{rate}");
    }
    set(&rig, &BUSY);
    // Not whole, as a validator asks for them; the framework hands rates on as single precision.
    for rate in [1_000.0, f64::from(1_234.57_f32), 48_000.0, 1_234_567.0, 2e6] {
        let input = transients(rate, 0.2, 2);
        let (expected, _) = chain(rate, &input, &settings(&BUSY));
        assert!(rig.activate(rate, MOST as u32) && rig.start(), "{rate}");
        same(&play(&rig, &input, Buffers::Separate, lengths(4)), &expected, &format!("{rate} Hz"));
        rig.stop();
        rig.deactivate();
    }
}

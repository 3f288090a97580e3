//! Saved states: in pieces of any size, from an older version, from a newer one, and broken.

use crate::play::{by_hand, set, turn};
use crate::signal::BUSY;
use lintel::params;
use serde_json::{Value, json};
use testkit::host::raw::Rig;

/// The state as the host keeps it: eight bytes of length, little-endian, and JSON.
pub fn opened(state: &[u8]) -> Value {
    let (length, text) = state.split_first_chunk::<8>().expect("a length");
    assert_eq!(u64::from_le_bytes(*length) as usize, text.len());
    serde_json::from_slice(text).expect("JSON")
}

pub fn closed(value: &Value) -> Vec<u8> {
    let text = serde_json::to_vec(value).expect("JSON");
    [&(text.len() as u64).to_le_bytes()[..], &text].concat()
}

fn texts(rig: &Rig) -> Vec<(String, String)> {
    rig.params.iter().map(|param| (param.name.clone(), rig.text(param.id, rig.value(param.id)))).collect()
}

/// Every parameter away from its default.
fn far(rig: &Rig) {
    for param in params::all() {
        let (min, max) = param.range();
        rig.set(param.name, &param.text(if param.default() == max { min } else { max }));
    }
}

#[test]
fn a_stream_may_give_and_take_a_few_bytes_at_a_time() {
    let _turn = turn();
    let (Some(first), Some(second)) = (by_hand(), by_hand()) else { return };
    far(&first);
    let whole = first.save(usize::MAX).expect("a state");
    for most in 1..=7 {
        assert_eq!(first.save(most).as_ref(), Some(&whole), "{most} bytes at a time");
        set(&second, &BUSY);
        assert!(second.load(&whole, most), "{most} bytes at a time");
        assert_eq!(texts(&second), texts(&first));
    }
}

#[test]
fn an_older_version_had_fewer_parameters_the_rest_is_untouched_lintel() {
    let _turn = turn();
    let (Some(old), Some(new)) = (by_hand(), by_hand()) else { return };
    set(&old, &BUSY);
    let mut state = opened(&old.save(usize::MAX).expect("a state"));
    state["version"] = json!("0.0.1");
    let known = ["drive", "eq2_freq"];
    state["params"].as_object_mut().expect("parameters").retain(|id, _| known.contains(&id.as_str()));
    state["fields"] = json!({});
    // What stood in the instance before must not shine through.
    far(&new);
    assert!(new.load(&closed(&state), usize::MAX));
    for param in params::all() {
        let id = new.id(param.name);
        let text = new.text(id, new.value(id));
        if known.contains(&param.id) {
            assert_eq!(text, old.text(id, old.value(id)), "{}", param.id);
        } else {
            assert_eq!(text, param.text(param.default()), "{}", param.id);
        }
    }
}

#[test]
fn a_state_from_the_future_is_read_as_far_as_it_is_known() {
    let _turn = turn();
    let (Some(there), Some(here)) = (by_hand(), by_hand()) else { return };
    set(&there, &BUSY);
    let mut state = opened(&there.save(usize::MAX).expect("a state"));
    state["version"] = json!("9.9.9");
    state["params"]["warmth"] = json!({"f32": 0.5});
    state["fields"]["layers"] = json!("[1, 2, 3]");
    state["more"] = json!({"of": ["this", null, 1e300]});
    assert!(here.load(&closed(&state), usize::MAX));
    assert_eq!(texts(&here), texts(&there));
}

#[test]
fn values_out_of_range_or_of_another_kind_come_in_as_values() {
    let _turn = turn();
    let (Some(other), Some(rig)) = (by_hand(), by_hand()) else { return };
    let whole = opened(&other.save(usize::MAX).expect("a state"));
    for wrong in
        [json!({"f32": 1e30}), json!({"f32": -1e30}), json!({"i32": 1_000_000}), json!({"bool": true})]
    {
        let mut state = whole.clone();
        for (_, value) in state["params"].as_object_mut().expect("parameters") {
            *value = wrong.clone();
        }
        far(&rig);
        assert!(rig.load(&closed(&state), usize::MAX), "{wrong}");
        for param in params::all() {
            let listed = rig.params.iter().find(|listed| listed.name == param.name).expect("listed");
            let value = rig.value(listed.id);
            assert!((listed.min..=listed.max).contains(&value), "{}: {value} after {wrong}", param.id);
            let text = rig.text(listed.id, value);
            assert!(param.parse(&text).is_ok(), "{}: {text} after {wrong}", param.id);
        }
    }
}

#[test]
fn garbage_is_refused_and_the_old_state_kept() {
    let _turn = turn();
    let Some(rig) = by_hand() else { return };
    set(&rig, &BUSY);
    let whole = rig.save(usize::MAX).expect("a state");
    let huge = [&u64::MAX.to_le_bytes()[..], &whole[8..]].concat();
    let long = [&(whole.len() as u64 * 2).to_le_bytes()[..], &whole[8..]].concat();
    let text = |text: &str| [&(text.len() as u64).to_le_bytes()[..], text.as_bytes()].concat();
    let mut garbage = vec![Vec::new(), b"not a state".to_vec(), vec![0xff; 4096], huge, vec![0; 64]];
    garbage.extend(["", "null", "[]", "{}", "{\"params\": 3}"].map(text));
    // Nested so deeply that a careless reader would run out of stack.
    garbage.push(text(&"[".repeat(1 << 20)));
    garbage.extend((0..whole.len()).step_by(53).map(|n| whole[..n].to_vec()));
    for (n, bytes) in garbage.iter().enumerate() {
        for most in [usize::MAX, 5] {
            assert!(!rig.load(bytes, most), "garbage {n} ({} bytes) was taken", bytes.len());
            assert_eq!(rig.save(usize::MAX).as_ref(), Some(&whole), "garbage {n}");
        }
    }
    // A length that promises more than comes, with a whole state in it, is a whole state.
    assert!(rig.load(&long, usize::MAX));
    assert_eq!(rig.save(usize::MAX).as_ref(), Some(&whole));
}

#[test]
fn every_parameter_reads_its_texts_at_every_position() {
    let _turn = turn();
    let Some(rig) = by_hand() else { return };
    assert_eq!(rig.params.len(), params::all().len());
    for (listed, param) in rig.params.iter().map(|listed| {
        (listed, params::all().iter().find(|param| param.name == listed.name).expect("in the table"))
    }) {
        for step in 0..=64 {
            let value = listed.min + (listed.max - listed.min) * f64::from(step) / 64.0;
            let text = rig.text(listed.id, value);
            let back = rig.read(listed.id, &text).unwrap_or_else(|| panic!("{}: {text}", param.id));
            assert_eq!(rig.text(listed.id, back), text, "{}", param.id);
            assert!((listed.min..=listed.max).contains(&back), "{}: {text} read as {back}", param.id);
        }
        for nonsense in ["", "nonsense", "\u{2212}", "1e999 dB", "\u{1f600}", "nan"] {
            assert_eq!(rig.read(listed.id, nonsense), None, "{} took {nonsense:?}", param.id);
        }
    }
}

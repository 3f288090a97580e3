//! Reading without eyes: the accessibility tree holds every figure, finding and note that is painted.

use crate::legibility::with_music;
use crate::rig::Rig;
use egui_kittest::kittest::NodeT;
use lintel::numbers::{number, signed};

/// The labels of all nodes, and of those with a label of their own the value, too.
pub fn spoken<S>(harness: &egui_kittest::Harness<'_, S>) -> Vec<String> {
    let nodes = harness.root().children_recursive();
    nodes
        .flat_map(|node| {
            let node = node.accesskit_node();
            [node.label(), node.value()]
        })
        .flatten()
        .collect()
}

/// What a person who reads the screen finds on it after 8 s of music.
fn figures(rig: &Rig) -> Vec<String> {
    let live = &rig.0.state().live;
    let (input, output) = (&live.input, &live.output);
    let (db, lu) = (|v: f64| format!("{} dB", number(v, 1)), |v: f64| format!("{} LU", number(v, 1)));
    let (lufs, dbtp) = (|v: f64| format!("{} LUFS", number(v, 1)), |v: f64| format!("{} dBTP", number(v, 1)));
    let ceiling = f64::from(rig.value("ceiling"));
    vec![
        format!("integrated loudness: {}", lufs(output.integrated)),
        format!("true peak max: {}", dbtp(output.true_peak_max)),
        format!("loudness range: {}", lu(output.range)),
        format!("PLR: {}", lu(output.plr)),
        format!("limiter, deepest: {}", db(live.limiter.deepest)),
        format!("compressor, deepest: {}", db(live.compressor.deepest)),
        format!("soft clip, deepest: {}", db(live.clip.deepest)),
        format!("limiter active: {} %", number(live.limiter.active_share * 100.0, 0)),
        format!("pumping, 0.5–8 Hz: {}", db(live.pumping_db)),
        format!("loudness, in: {}", lufs(input.integrated)),
        format!("true peak max, in: {}", dbtp(input.true_peak_max)),
        format!("crest factor, in: {}", db(input.crest)),
        format!("crest factor, out: {}", db(output.crest)),
        format!("correlation: {}", signed(output.correlation, 2)),
        format!("headroom of the source: {}", db(-input.true_peak_max)),
        format!("correlation of the source: {}", signed(input.correlation, 2)),
        format!("level, in: {}", dbtp(input.true_peak)),
        format!("level, out: {}", dbtp(output.true_peak)),
        format!("level, ceiling: {}", dbtp(ceiling)),
        format!("reduction, compressor: {}", db(live.compressor.now)),
        format!("reduction, limiter: {}", db(live.limiter.now)),
        format!("reduction, soft clip: {}", db(live.clip.now)),
        format!("reduction, total: {}", db(live.total.now)),
        format!("total, deepest: {}", db(live.total.deepest)),
        format!("loudness, short-term: {}", lufs(output.short_term)),
        format!("loudness, momentary: {}", lufs(output.momentary)),
        format!("loudness, target: {}", lufs(live.chosen_target().loudness)),
        format!("compare, turned down: after, {}", db(live.listening_db[1])),
    ]
}

#[test]
fn every_figure_finding_and_note_is_a_node_of_the_tree() {
    for (width, height) in [(900.0, 600.0), (1180.0, 760.0)] {
        let mut rig = with_music(width, height);
        rig.0.state_mut().live.listening_db = [0.0, -1.3, 0.0];
        rig.wait(0.3);
        let spoken = spoken(&rig.0);
        let mut wanted = figures(&rig);
        let live = &rig.0.state().live;
        assert!(!live.findings.is_empty() && live.notes.len() > 1, "the music has both");
        for (n, finding) in live.findings.iter().enumerate() {
            wanted.push(format!("source check, finding {}: {}", n + 1, finding.text));
        }
        for (n, note) in live.notes.iter().enumerate() {
            let kind = if note.is_warning { "warning" } else { "note" };
            assert!(!note.remedy.is_empty());
            wanted.push(format!("{kind} {} of {}: {} {}", n + 1, live.notes.len(), note.text, note.remedy));
        }
        let missing: Vec<_> = wanted.iter().filter(|text| !spoken.contains(text)).collect();
        assert!(missing.is_empty(), "{width} x {height}: {missing:#?} not in {spoken:#?}");
    }
}

#[test]
fn the_chart_speaks_its_last_column() {
    let rig = with_music(1180.0, 760.0);
    let chart = egui_kittest::kittest::Queryable::get_by_label(&rig.0, "chart");
    let text = chart.accesskit_node().value().expect("a value");
    let history = &rig.0.state().history;
    let mut last = [lintel::live::LiveColumn::NONE];
    let step = 0.01;
    let at = (history.seconds() / step).floor() as i64 - 1;
    history.read(at, step, &mut last);
    let short_term = number(f64::from(last[0].short_term), 1);
    assert!(text.contains(&format!("short-term {short_term} LUFS")) && text.contains("limiter"), "{text}");
    let silent = Rig::new();
    let chart = egui_kittest::kittest::Queryable::get_by_label(&silent.0, "chart");
    assert_eq!(chart.accesskit_node().value().as_deref(), Some("no signal yet"));
}

#[test]
fn a_figure_that_does_not_exist_yet_is_said_in_words() {
    let spoken = spoken(&Rig::new().0);
    for name in ["integrated loudness", "PLR", "level, out", "loudness, momentary"] {
        assert!(spoken.contains(&format!("{name}: not measured")), "{name}: {spoken:#?}");
    }
}

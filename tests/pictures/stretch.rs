//! The chart answers what the limiter did: a stretch that is selected on the frozen chart has its own
//! figures, and the pass before is a pale line.

use crate::reading::spoken;
use crate::rig::Rig;
use crate::scene;
use egui::{Key, Modifiers, Pos2, Shape, pos2};
use egui_kittest::SnapshotOptions;
use lintel::editor::MemoryControls;
use lintel::editor::theme::Theme;
use lintel::editor::window_state::{TimeSpan, WindowState};
use lintel::live::{HistorySource, LiveColumn};
use lintel::settings::Settings;

/// Length of a pass, s.
const PASS_S: f64 = 12.0;

fn driven(drive: f32) -> Settings {
    let mut settings = scene::settings();
    settings.limiter.drive = drive;
    settings
}

/// Two passes over the same music, the second with 10 dB more drive, on a chart of 30 s.
fn two_passes(width: f32, height: f32) -> Rig {
    let settings = [driven(4.0), driven(14.0)];
    let scene = scene::passes(&settings, PASS_S, 0.0);
    let memory = MemoryControls { settings: settings[1], ..MemoryControls::default() };
    let span = TimeSpan::Seconds30;
    let window_state = WindowState { width, height, span, ..WindowState::default() };
    Rig::with(window_state, memory, scene.live, Box::new(scene::OwnedHistory(scene.history)), 1.0)
}

/// Where a time of the recording is drawn, in the middle of the level lane.
fn at(rig: &Rig, seconds: f64) -> Pos2 {
    let chart = rig.rect("chart");
    let end = rig.0.state().history.seconds();
    let x = chart.right() as f64 - (end - seconds) / 30.0 * chart.width() as f64;
    pos2(x as f32, chart.top() + 40.0)
}

fn select(rig: &mut Rig, from: f64, to: f64) {
    let (from, to) = (at(rig, from), at(rig, to));
    rig.drag(from, to - from, Modifiers::NONE);
    rig.wait(0.5);
}

fn says(rig: &Rig, text: &str) -> bool {
    spoken(&rig.0).iter().any(|label| label.contains(text))
}

#[test]
fn dragging_over_the_frozen_chart_gives_the_figures_of_the_stretch() {
    let mut rig = two_passes(1180.0, 760.0);
    let drive = rig.value("drive");
    rig.click("freeze the chart");
    select(&mut rig, PASS_S + 2.0, PASS_S + 10.0);
    assert_eq!(rig.value("drive"), drive, "it moves nothing");
    let stretch = rig.0.state().history.stretch(PASS_S + 2.0, PASS_S + 10.0).expect("recorded");
    let near = |label: &str, value: f64, unit: &str| {
        let shown = spoken(&rig.0);
        let text = shown.iter().find_map(|text| text.strip_prefix(&format!("stretch, {label}: ")));
        let text = text.unwrap_or_else(|| panic!("{label} in {shown:#?}"));
        let read: f64 = text.split(' ').next().unwrap().replace('\u{2212}', "-").parse().unwrap();
        assert!(text.ends_with(unit) && (read - value).abs() < 0.11, "{label}: {text}, not {value}");
    };
    near("loudness", stretch.loudness, "LUFS");
    near("PLR", stretch.plr.unwrap(), "LU");
    near("limiter", stretch.limiter.mean, "dB");
    near("compressor", stretch.compressor.mean, "dB");
    near("total", stretch.total.mean, "dB");
    near("pumping, 0.5\u{2013}8 Hz", stretch.pumping.unwrap(), "dB");
    assert!(says(&rig, "selected stretch: 0:0"), "its place in the song");
    assert!(stretch.total.deepest > stretch.limiter.deepest.max(stretch.compressor.deepest));
    rig.click("stretch: close");
    assert!(!says(&rig, "selected stretch") && says(&rig, "integrated loudness"));
    // Resuming ends the selection.
    select(&mut rig, PASS_S + 2.0, PASS_S + 10.0);
    assert!(says(&rig, "selected stretch"));
    rig.click("resume the chart");
    assert!(!says(&rig, "selected stretch"));
}

/// The meter of the whole measurement and the figures of a stretch over the same time agree.
#[test]
fn the_loudness_of_the_whole_recording_is_that_of_the_meter() {
    for settings in [driven(2.0), driven(8.0)] {
        let scene = scene::run(&settings, 20.0, -6.0);
        let history = scene::OwnedHistory(scene.history);
        let stretch = history.stretch(0.0, history.seconds()).expect("recorded");
        let meter = &scene.live.output;
        assert!(
            (stretch.loudness - meter.integrated).abs() < 0.1,
            "{} {}",
            stretch.loudness,
            meter.integrated
        );
        assert!((stretch.true_peak - meter.true_peak_max).abs() < 0.1);
        assert!((stretch.limiter.deepest - scene.live.limiter.deepest).abs() < 0.01);
        assert!((stretch.total.deepest - scene.live.total.deepest).abs() < 0.01);
    }
}

#[test]
fn a_stretch_is_selected_with_the_arrow_keys() {
    let mut rig = two_passes(1180.0, 760.0);
    rig.focus("chart");
    rig.key(Key::ArrowRight, Modifiers::NONE);
    assert!(!says(&rig, "selected stretch"), "only on the frozen chart");
    rig.click("freeze the chart");
    rig.focus("chart");
    for _ in 0..3 {
        rig.key(Key::ArrowLeft, Modifiers::NONE);
    }
    assert!(
        says(&rig, "selected stretch: 0:08.0 to 0:09.0") || says(&rig, "selected stretch: 0:07.9 to 0:08.9")
    );
    rig.key(Key::ArrowRight, Modifiers::SHIFT);
    assert!(says(&rig, "to 0:10.0") || says(&rig, "to 0:09.9"), "{:#?}", spoken(&rig.0));
}

#[test]
fn loop_this_is_offered_where_the_song_can_be_looped() {
    let mut rig = two_passes(1180.0, 760.0);
    rig.click("freeze the chart");
    select(&mut rig, PASS_S + 3.0, PASS_S + 5.0);
    assert!(!says(&rig, "stretch: loop this"), "not in a host");
    rig.0.state_mut().screen.loops = true;
    rig.0.run_steps(2);
    rig.click("stretch: loop this");
    let looped = rig.0.state().requests.iter().find_map(|request| request.loop_song_s).expect("a loop");
    assert!((looped[0] - 3.0).abs() < 0.1 && (looped[1] - 5.0).abs() < 0.1, "{looped:?}");
}

#[test]
fn the_pass_before_is_read_at_the_same_place_of_the_song() {
    let scene = scene::passes(&[driven(4.0), driven(14.0)], PASS_S, 0.0);
    let history = scene::OwnedHistory(scene.history);
    let step = 0.05;
    let columns = |from: f64, earlier: bool| {
        let mut columns = vec![LiveColumn::NONE; 160];
        let first = (from / step) as i64;
        let any = match earlier {
            true => history.read_earlier(first, step, &mut columns),
            false => {
                history.read(first, step, &mut columns);
                true
            }
        };
        (columns, any)
    };
    let (_, any) = columns(2.0, true);
    assert!(!any, "nothing comes before the first pass");
    let ((first, _), (before, any), (second, _)) =
        (columns(2.0, false), columns(PASS_S + 2.0, true), columns(PASS_S + 2.0, false));
    assert!(any);
    let mean = |columns: &[LiveColumn]| columns.iter().map(|c| c.limiter).sum::<f32>() / columns.len() as f32;
    assert!((mean(&before) - mean(&first)).abs() < 0.02, "{} {}", mean(&before), mean(&first));
    assert!(mean(&second) > mean(&before) + 0.3, "{} {}", mean(&second), mean(&before));
    let differ = first.iter().zip(&before).filter(|(a, b)| (a.input - b.input).abs() > 3.0).count();
    assert!(differ < 8, "{differ} of 160 columns are elsewhere");
}

/// Pale lines, which stand for the pass before.
fn pale_lines(rig: &Rig) -> usize {
    let color = Theme::of(false).border;
    let is_pale = |shape: &Shape| match shape {
        Shape::Path(path) => {
            path.points.len() > 1
                && path.stroke.width == 2.2
                && path.stroke.color == egui::epaint::ColorMode::Solid(color)
        }
        _ => false,
    };
    rig.0.output().shapes.iter().filter(|clipped| is_pale(&clipped.shape)).count()
}

#[test]
fn the_pass_before_is_a_pale_line_that_can_be_left_out() {
    let mut rig = two_passes(1180.0, 760.0);
    assert_eq!(pale_lines(&rig), 2, "total reduction and short-term loudness");
    rig.click("previous pass");
    assert_eq!(pale_lines(&rig), 0);
    assert!(!rig.0.state().screen.window_state.previous_pass);
    assert_eq!(pale_lines(&crate::legibility::with_music(1180.0, 760.0)), 0, "one pass has none before it");
}

#[test]
fn a_selected_stretch_and_the_pass_before() {
    let mut rig = two_passes(900.0, 600.0);
    rig.0.state_mut().screen.loops = true;
    rig.click("freeze the chart");
    select(&mut rig, PASS_S + 3.0, PASS_S + 9.0);
    rig.hover(pos2(5.0, 280.0));
    crate::legibility::assert_legible(rig.0.output(), 900.0, 600.0);
    let options = SnapshotOptions::new().max_failed_pixels(300).output_path("tests/pictures/snapshots");
    rig.0.snapshot_options("stretch", &options);
}

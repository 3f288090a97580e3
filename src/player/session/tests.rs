//! A session with a clock that runs too fast in the place of a device.

use super::*;
use crate::player::loaded_song::tests::file;
use crate::player::sink::SilentDevice;
use std::time::Instant;

/// A clock that runs a hundred times too fast, so that a test need not wait.
#[derive(Default)]
struct Fast(Option<SilentDevice>);

impl Device for Fast {
    fn rate(&mut self, song: u32) -> u32 {
        song
    }
    fn start(&mut self, sink: DeviceRing) -> Option<String> {
        self.0 = None;
        self.0 = SilentDevice::start(sink, 4_800_000).ok();
        Some("nobody hears it".to_owned())
    }
}

fn until(what: &str, mut done: impl FnMut() -> bool) {
    let start = Instant::now();
    while !done() {
        assert!(start.elapsed() < Duration::from_secs(20), "{what}");
        std::thread::sleep(Duration::from_millis(2));
    }
}

fn music() -> Vec<f32> {
    let mut samples = vec![0.0; 2 * 48_000];
    let level = |n: u32| if (12..24).contains(&(n / 48_000)) { 0.5 } else { 0.1 };
    samples.extend((0..30 * 48_000).map(|n| level(n) * (n as f32 * 0.05).sin()));
    samples.extend(vec![0.0; 2 * 48_000]);
    samples
}

#[test]
fn a_song_plays_through_and_the_screen_sees_it() {
    let folder = tempfile::tempdir().unwrap();
    let mut device = Fast::default();
    let mut session = PlayerSession::open(&file(folder.path(), 48_000, &music()), &mut device).unwrap();
    assert_eq!(session.silent(), Some("nobody hears it"));
    let settings = Settings::default();
    until("reading", || {
        session.refresh(&settings, "", false, None);
        session.take().ready() == 34 * 48_000 && session.playhead().trim().start > 0
    });
    // 0.8 s before the first note, 1 s behind the last.
    let trim = session.playhead().trim();
    assert!(trim.start.abs_diff(57_600) < 960 && trim.end.abs_diff(33 * 48_000) < 4_800, "{trim:?}");
    session.ask(SessionRequest::Toggle);
    until("playing to the end", || !session.playing() && session.heard() == trim.end);
    until("measuring", || {
        session.refresh(&settings, "", false, None);
        session.live.after.integrated > -30.0
    });
    session.look(|_, recording| assert!(recording.seconds() > 20.0));
}

#[test]
fn the_loudest_ten_seconds_are_repeated() {
    let folder = tempfile::tempdir().unwrap();
    let take = LoadedSong::open_whole(&file(folder.path(), 48_000, &music())).unwrap();
    let mut session = PlayerSession::of(take, &mut Fast::default()).unwrap();
    session.refresh(&Settings::default(), "", false, None);
    session.ask(SessionRequest::Loudest);
    let cycle = session.playhead().cycle().unwrap();
    assert!(cycle.start >= 14 * 48_000 - 4_800 && cycle.end <= 26 * 48_000 + 4_800, "{cycle:?}");
    assert_eq!(cycle.end - cycle.start, 480_000);
    let start = session.heard();
    assert!(session.playing() && start == cycle.start);
}

#[test]
fn ends_that_the_hand_has_set_go_into_the_export_and_found_ones_do_not() {
    let folder = tempfile::tempdir().unwrap();
    let take = LoadedSong::open_whole(&file(folder.path(), 48_000, &music())).unwrap();
    let mut session = PlayerSession::of(take, &mut Fast::default()).unwrap();
    session.refresh(&Settings::default(), "", false, None);
    let found = session.playhead().trim();
    assert_eq!(session.wishes(), finish::EndsOptions::default());
    session.ask(SessionRequest::Trim(96_000..480_000));
    session.refresh(&Settings::default(), "", false, None);
    assert_eq!((session.wishes().start, session.wishes().end), (Some(2.0), Some(10.0)));
    session.ask(SessionRequest::FoundEnds);
    assert_eq!(session.playhead().trim(), found);
    assert_eq!(session.wishes(), finish::EndsOptions::default());
}

#[test]
fn closing_lets_everything_go_and_several_do_not_mix() {
    let folders = [tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap()];
    let tone = |level: f32| (0..20 * 48_000).map(|n| level * (n as f32 * 0.13).sin()).collect::<Vec<f32>>();
    let mut devices = [Fast::default(), Fast::default()];
    let mut sessions: Vec<PlayerSession> = [0.3, 0.03]
        .iter()
        .zip(&folders)
        .zip(&mut devices)
        .map(|((level, folder), device)| {
            let take = LoadedSong::open_whole(&file(folder.path(), 48_000, &tone(*level))).unwrap();
            PlayerSession::of(take, device).unwrap()
        })
        .collect();
    sessions.iter_mut().for_each(|session| session.ask(SessionRequest::Toggle));
    until("both play", || {
        sessions.iter_mut().for_each(|s| s.refresh(&Settings::default(), "", false, None));
        sessions.iter().all(|s| s.live.measured > 15.0)
    });
    let [loud, soft] = [0, 1].map(|n| sessions[n].live.after.integrated);
    assert!((loud - soft - 20.0).abs() < 0.1, "{loud} {soft}");
    let takes: Vec<_> = sessions.iter().map(|s| Arc::downgrade(&s.take)).collect();
    let histories: Vec<_> = sessions.iter().map(|s| Arc::downgrade(&s.history)).collect();
    drop(sessions);
    assert!(takes.iter().all(|take| take.upgrade().is_none()), "a song stays in memory");
    assert!(histories.iter().all(|history| history.upgrade().is_none()));
}

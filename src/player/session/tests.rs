//! A session with an accelerated clock in place of a device.

use super::*;
use crate::finish::encoded::SHIFTS;
use crate::player::loaded_song::tests::file;
use crate::player::preview::PREVIEW_FORMATS;
use crate::player::silent_device::SilentDevice;
use std::time::Instant;

/// A clock at 10 times real time, so that tests need not wait; the analysis keeps up even under a sanitizer.
#[derive(Default)]
struct Fast(Option<SilentDevice>);

impl Device for Fast {
    fn rate(&mut self, song: u32) -> u32 {
        song
    }
    fn start(&mut self, ring: DeviceRing) -> Option<String> {
        self.0 = None;
        self.0 = SilentDevice::start(ring, 480_000).ok();
        Some("no device".to_owned())
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
fn a_song_plays_to_its_end_and_is_measured() {
    let folder = tempfile::tempdir().unwrap();
    let mut device = Fast::default();
    let mut session = PlayerSession::open(&file(folder.path(), 48_000, &music()), &mut device).unwrap();
    assert_eq!(session.silent(), Some("no device"));
    let settings = Settings::default();
    until("reading", || {
        session.refresh(&settings, "", false, None);
        session.song().ready() == 34 * 48_000 && session.playhead().bounds().start > 0
    });
    // 0.8 s before the first note, 1 s after the last.
    let bounds = session.playhead().bounds();
    assert!(bounds.start.abs_diff(57_600) < 960 && bounds.end.abs_diff(33 * 48_000) < 4_800, "{bounds:?}");
    session.request(SessionRequest::PlayPause);
    until("playing to the end", || !session.playing() && session.audible_frame() == bounds.end);
    until("measuring", || {
        session.refresh(&settings, "", false, None);
        session.live.output.integrated > -30.0
    });
    session.with_readout(|_, history| assert!(history.seconds() > 20.0));
}

#[test]
fn the_loudest_ten_seconds_are_looped() {
    let folder = tempfile::tempdir().unwrap();
    let song = LoadedSong::open_whole(&file(folder.path(), 48_000, &music())).unwrap();
    let mut session = PlayerSession::of(song, &mut Fast::default()).unwrap();
    session.refresh(&Settings::default(), "", false, None);
    session.request(SessionRequest::LoopLoudest);
    let range = session.playhead().loop_range().unwrap();
    assert!(range.start >= 14 * 48_000 - 4_800 && range.end <= 26 * 48_000 + 4_800, "{range:?}");
    assert_eq!(range.end - range.start, 480_000);
    // The clock runs at ten times real time, and the worker reports when it gets its turn.
    until("playing", || session.playing());
    assert!(range.contains(&session.audible_frame()), "{} in {range:?}", session.audible_frame());
}

#[test]
fn only_a_start_and_end_set_by_the_user_are_passed_to_the_export() {
    let folder = tempfile::tempdir().unwrap();
    let song = LoadedSong::open_whole(&file(folder.path(), 48_000, &music())).unwrap();
    let mut session = PlayerSession::of(song, &mut Fast::default()).unwrap();
    session.refresh(&Settings::default(), "", false, None);
    let found = session.playhead().bounds();
    assert_eq!(session.ends_options(), finish::EndsOptions::default());
    session.request(SessionRequest::Bounds(96_000..480_000));
    session.refresh(&Settings::default(), "", false, None);
    assert_eq!((session.ends_options().start, session.ends_options().end), (Some(2.0), Some(10.0)));
    session.request(SessionRequest::FoundBounds);
    assert_eq!(session.playhead().bounds(), found);
    assert_eq!(session.ends_options(), finish::EndsOptions::default());
}

#[test]
fn several_sessions_do_not_mix_and_closing_frees_everything() {
    let folders = [tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap()];
    let tone = |level: f32| (0..20 * 48_000).map(|n| level * (n as f32 * 0.13).sin()).collect::<Vec<f32>>();
    let mut devices = [Fast::default(), Fast::default()];
    let mut sessions: Vec<PlayerSession> = [0.3, 0.03]
        .iter()
        .zip(&folders)
        .zip(&mut devices)
        .map(|((level, folder), device)| {
            let song = LoadedSong::open_whole(&file(folder.path(), 48_000, &tone(*level))).unwrap();
            PlayerSession::of(song, device).unwrap()
        })
        .collect();
    sessions.iter_mut().for_each(|session| session.request(SessionRequest::PlayPause));
    until("both play", || {
        sessions.iter_mut().for_each(|s| s.refresh(&Settings::default(), "", false, None));
        sessions.iter().all(|s| s.live.measured > 15.0)
    });
    let [loud, soft] = [0, 1].map(|n| sessions[n].live.output.integrated);
    assert!((loud - soft - 20.0).abs() < 0.1, "{loud} {soft}");
    let songs: Vec<_> = sessions.iter().map(|s| Arc::downgrade(&s.song)).collect();
    let histories: Vec<_> = sessions.iter().map(|s| Arc::downgrade(&s.history)).collect();
    drop(sessions);
    assert!(songs.iter().all(|song| song.upgrade().is_none()), "a song stays in memory");
    assert!(histories.iter().all(|history| history.upgrade().is_none()));
}

/// What comes out of the device's ring is the decoded passage, aligned with the song: as near to the master as
/// MP3 at 320 kbit/s is, and the difference is what lies between them.
#[test]
fn an_encoded_passage_is_played_in_place_and_ends_with_other_settings() {
    let folder = tempfile::tempdir().unwrap();
    let song = LoadedSong::open_whole(&file(folder.path(), 48_000, &music())).unwrap();
    let mut session = PlayerSession::of(song, &mut Fast::default()).unwrap();
    let settings = Settings::default();
    session.refresh(&settings, "", false, None);
    session.request(SessionRequest::Loop(Some(15 * 48_000..17 * 48_000)));
    let format = PREVIEW_FORMATS[1];
    session.request(SessionRequest::PlayEncoded(format));
    assert_eq!(session.preview(), Some(Preview::Encoding(format)));
    until("encoding", || {
        session.refresh(&settings, "", false, None);
        session.preview() == Some(Preview::Playing(format, EncodedSide::Decoded))
    });
    // The figures are those of the passage: what the command line prints of such a master.
    let figures = session.encoded_figures().unwrap();
    assert_eq!(figures.row.format, format);
    assert_eq!(figures.row.true_peaks.len(), SHIFTS.len());
    let ceiling = f64::from(settings.limiter.ceiling);
    assert!((ceiling - 12.0..=ceiling + 0.02).contains(&figures.before), "{}", figures.before);
    assert!((figures.row.true_peak - figures.before).abs() < 2.0, "{figures:?}");
    let allowed = figures.before - (figures.row.true_peak + figures.row.tolerance);
    assert_eq!(figures.ceiling, Some(allowed.min(0.0)));
    session.request(SessionRequest::EncodedSide(EncodedSide::Difference));
    assert_eq!(session.preview(), Some(Preview::Playing(format, EncodedSide::Difference)));
    let mut louder = settings;
    louder.compare = crate::settings::Compare::After;
    session.refresh(&louder, "", false, None);
    assert!(session.preview().is_some(), "monitoring does not end it");
    louder.limiter.drive = 3.0;
    session.refresh(&louder, "", false, None);
    assert_eq!(session.preview(), None);
    session.request(SessionRequest::PlayEncoded(format));
    session.request(SessionRequest::Loop(None));
    session.refresh(&louder, "", false, None);
    assert_eq!(session.preview(), None, "another passage");
}

#[test]
fn a_loop_is_measured_as_a_passage_and_the_song_as_the_song() {
    let folder = tempfile::tempdir().unwrap();
    let mut device = Fast::default();
    let mut session = PlayerSession::open(&file(folder.path(), 48_000, &music()), &mut device).unwrap();
    let settings = Settings::default();
    until("reading", || {
        session.refresh(&settings, "", false, None);
        session.song().ready() == 34 * 48_000 && session.playhead().bounds().start > 0
    });
    session.request(SessionRequest::LoopLoudest);
    let passage = |session: &mut PlayerSession| {
        session.refresh(&settings, "", false, None);
        session.live.passage_s
    };
    // Half as long again as the loop: every second of it counts once.
    until("the loop", || {
        let seconds = passage(&mut session);
        session.live.measured > 15.0 && seconds.is_some_and(|seconds| (seconds - 10.0).abs() < 0.3)
    });
    assert!(session.live.notes.iter().all(|note| note.rule != crate::meter::RuleId::OverTarget));
    session.request(SessionRequest::Loop(None));
    session.request(SessionRequest::Seek(0));
    until("most of the song", || passage(&mut session).is_none());
    assert!(session.live.output.integrated.is_finite());
}

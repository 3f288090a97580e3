//! The reports in a browser: headless Chromium opens the page without a message on its console and takes a picture that must contain the colours of the chart.

use std::path::{Path, PathBuf};
use std::process::Command;

use crate::kit::text;
use crate::place::{lintel, place, run};
use lintel::palette::LIGHT;

/// The browser, or nothing, with a message.
fn chromium() -> Option<&'static str> {
    let found = ["chromium", "chromium-browser", "google-chrome"]
        .into_iter()
        .find(|name| Command::new(name).arg("--version").output().is_ok_and(|said| said.status.success()));
    if found.is_none() {
        eprintln!("SKIPPED: the pages were not opened, there is no Chromium here");
    }
    found
}

/// Opens a page 1280 points wide: what the console said, the page as it stands after all, the picture.
fn open(browser: &str, page: &Path, folder: &Path) -> (Vec<String>, String, image::RgbImage) {
    let picture = folder.join("page.png");
    let look = |what: &str| {
        let mut command = Command::new(browser);
        command.args(["--headless", "--disable-gpu", "--no-sandbox", "--hide-scrollbars"]);
        command.args(["--no-first-run", "--window-size=1280,2400", "--enable-logging=stderr"]);
        // A profile of its own: runs side by side must not share one.
        command.arg(format!("--user-data-dir={}", folder.join("profile").display()));
        let said = command.arg(what).arg(format!("file://{}", page.display())).output().unwrap();
        assert!(said.status.success(), "{}", text(&said.stderr));
        said
    };
    let said = look(&format!("--screenshot={}", picture.display()));
    let errors =
        text(&said.stderr).lines().filter(|line| line.contains("CONSOLE")).map(String::from).collect();
    let dom = text(&look("--dump-dom").stdout);
    (errors, dom, image::open(picture).unwrap().to_rgb8())
}

/// Share of points that have about that colour.
fn share(picture: &image::RgbImage, colour: [u8; 3]) -> f64 {
    let near = |p: &image::Rgb<u8>| p.0.iter().zip(colour).all(|(a, b)| a.abs_diff(b) < 24);
    picture.pixels().filter(|p| near(p)).count() as f64 / picture.pixels().len() as f64
}

fn check(page: &Path, words: &[&str]) {
    let Some(browser) = chromium() else { return };
    // Where a picture can be looked at afterwards.
    let keep = PathBuf::from(env!("CARGO_TARGET_TMPDIR"));
    let folder = tempfile::tempdir().unwrap();
    let (errors, dom, picture) = open(browser, page, folder.path());
    let name = page.file_stem().unwrap().to_string_lossy();
    picture.save(keep.join(format!("{name}.png"))).unwrap();
    assert!(errors.is_empty(), "{errors:?}");
    for word in words {
        assert!(dom.contains(word), "{word} is not on the page");
    }
    assert_eq!(picture.width(), 1280);
    // The page, its text, and the curves of limiter and loudness.
    for (name, colour, least) in [
        ("window", LIGHT.window, 0.4),
        ("text", LIGHT.text, 0.002),
        ("red", LIGHT.red, 0.0002),
        ("ochre", LIGHT.ochre, 0.0002),
    ] {
        let found = share(&picture, colour);
        assert!(found >= least, "{name}: {found} of the picture");
    }
}

#[test]
fn the_report_of_a_song_opens_without_messages() {
    let place = place(12.0);
    let said = run(lintel().args(["finish", "-q", "--target", "-16", "--artist", "four"]).arg(&place.mix));
    assert_eq!(said.status.code(), Some(0), "{}", text(&said.stderr));
    let page = place.dir.path().join("slow water (master).html");
    check(&page, &["the whole song", "in and out", "search log", "settings", "sha256", "<svg"]);
}

#[test]
fn the_report_of_a_release_opens_without_messages() {
    let place = place(8.0);
    let out = place.dir.path().join("out");
    let said = run(lintel().args(["release", "-q", "--target", "-18", "-o"]).arg(&out).arg(&place.mix));
    assert_eq!(said.status.code(), Some(0), "{}", text(&said.stderr));
    check(&out.join("release.html"), &["1 song", "the whole song", "settings", "<svg"]);
}

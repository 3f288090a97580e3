//! File dialogs of the system, each on a thread of its own, so that the window stays alive: a [`FileChoice`] in;
//! paths, none for a cancel, or why there is no dialog, out.

use lintel::editor::files::FileChoice;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, TryRecvError, channel};
use std::time::{Duration, Instant};

/// No person cancels a dialog within this time: where there is no desktop portal, none came up (own choice).
const NO_DIALOG: Duration = Duration::from_millis(400);
/// Endings of songs.
const SONGS: [&str; 7] = ["wav", "aif", "aiff", "aifc", "flac", "rf64", "bwf"];
/// What is said then.
const NO_DIALOG_LINE: &str =
    "no file dialog came up (is a desktop portal running?): drop a file on the window, or type its path";

/// A dialog that is open, or was asked for.
pub struct Dialog {
    choice: FileChoice,
    result: Receiver<Result<Vec<PathBuf>, String>>,
}

impl Dialog {
    /// Shows a dialog; `ctx` is repainted at its end.
    pub fn show(choice: FileChoice, ctx: &egui::Context) -> Self {
        let (sender, result) = channel();
        let (asked, ctx) = (choice.clone(), ctx.clone());
        let run = {
            let sender = sender.clone();
            move || {
                let start = Instant::now();
                let chosen = ask(&asked);
                let none_came = chosen.is_empty() && start.elapsed() < NO_DIALOG;
                let result = if none_came { Err(NO_DIALOG_LINE.to_owned()) } else { Ok(chosen) };
                // The window may have closed.
                let _ = sender.send(result);
                ctx.request_repaint();
            }
        };
        if let Err(err) = std::thread::Builder::new().name("lintel dialog".into()).spawn(run) {
            let _ = sender.send(Err(format!("the system refused a thread for the file dialog: {err}")));
        }
        Self { choice, result }
    }

    /// Its result, once it has ended.
    pub fn ended(&self) -> Option<(FileChoice, Result<Vec<PathBuf>, String>)> {
        match self.result.try_recv() {
            Ok(result) => Some((self.choice.clone(), result)),
            Err(TryRecvError::Empty) => None,
            Err(TryRecvError::Disconnected) => Some((self.choice.clone(), Err(NO_DIALOG_LINE.to_owned()))),
        }
    }
}

fn ask(choice: &FileChoice) -> Vec<PathBuf> {
    let dialog = rfd::FileDialog::new();
    let one = |path: Option<PathBuf>| path.into_iter().collect();
    match choice {
        FileChoice::Song => dialog
            .set_title("Open a song, several songs of a record, or its plan")
            .add_filter("songs and plans", &[&SONGS[..], &["toml"]].concat())
            .pick_files()
            .unwrap_or_default(),
        FileChoice::More => dialog
            .set_title("Add songs to the record")
            .add_filter("songs", &SONGS)
            .pick_files()
            .unwrap_or_default(),
        FileChoice::Reference => one(dialog
            .set_title("Choose a reference")
            .add_filter("sound files", &["wav", "aif", "aiff", "flac", "mp3", "m4a", "mp4", "aac", "ogg"])
            .pick_file()),
        FileChoice::Master(now) => one(save(dialog.set_title("Write the master to"), now)),
        FileChoice::Plan(now) => one(save(dialog.set_title("Write the plan to"), now)),
    }
}

/// Where a file is to be written that is called `now` so far.
fn save(dialog: rfd::FileDialog, now: &Path) -> Option<PathBuf> {
    let dialog = dialog.set_file_name(now.file_name().unwrap_or_default().to_string_lossy());
    match now.parent().filter(|folder| folder.is_dir()) {
        Some(folder) => dialog.set_directory(folder).save_file(),
        None => dialog.save_file(),
    }
}

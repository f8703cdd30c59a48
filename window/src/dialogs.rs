//! The operating system's dialogs for choosing files. A dialog is opened by the window's thread; another
//! thread waits for its result.

use std::path::{Path, PathBuf};

use rfd::{AsyncFileDialog, FileHandle};

use super::work::Work;

/// File name extensions of recordings.
const RECORDINGS: [&str; 10] = ["avi", "mp4", "mov", "mkv", "ts", "AVI", "MP4", "MOV", "MKV", "TS"];

/// The chosen paths; empty if the dialog was closed without a choice.
pub(super) type Choice = Work<Vec<PathBuf>>;

/// Asks the pilot for the clips of a flight.
pub(super) fn clips(ctx: &egui::Context) -> Choice {
    let dialog = AsyncFileDialog::new()
        .set_title("The recording of one flight")
        .add_filter("Recordings", &RECORDINGS)
        .add_filter("All files", &["*"])
        .pick_files();
    Work::start(ctx, move |_| {
        let chosen = pollster::block_on(dialog).unwrap_or_default();
        Ok::<_, String>(chosen.iter().map(|file| file.path().to_owned()).collect())
    })
}

/// Asks the pilot for an existing camera setup file.
pub(super) fn setup_file(ctx: &egui::Context) -> Choice {
    let dialog = AsyncFileDialog::new()
        .set_title("A camera setup")
        .add_filter("Camera setups", &["toml"])
        .add_filter("All files", &["*"])
        .pick_file();
    Work::start(ctx, move |_| Ok::<_, String>(one(pollster::block_on(dialog))))
}

/// Asks the pilot for a folder. The dialog has the title `title` and starts in the folder `from`; `None` leaves
/// the start to the operating system.
pub(super) fn folder(ctx: &egui::Context, title: &str, from: Option<&Path>) -> Choice {
    let mut dialog = AsyncFileDialog::new().set_title(title);
    if let Some(from) = from {
        dialog = dialog.set_directory(from);
    }
    let dialog = dialog.pick_folder();
    Work::start(ctx, move |_| Ok::<_, String>(one(pollster::block_on(dialog))))
}

fn one(chosen: Option<FileHandle>) -> Vec<PathBuf> {
    chosen.iter().map(|file| file.path().to_owned()).collect()
}

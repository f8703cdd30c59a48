//! Saves a printable page, and opens it in the default program for HTML files.

use std::path::{Path, PathBuf};

use egui::{TextEdit, Ui};

use super::{Shared, wording};
use pairspeed::files::{Existing, write_whole};

/// The file in which the page is saved, and the page saved last.
#[derive(Debug, Default)]
pub(super) struct PageFile {
    /// The path as the pilot types it; empty for the default.
    path: String,
    saved: Option<PathBuf>,
}

impl PageFile {
    /// Shows the path of the page and saves the page when the pilot presses the button. `usual` is the default
    /// path, and `page` makes the page as HTML. An existing file is kept: the new file gets a number in its name.
    pub fn show(&mut self, ui: &mut Ui, shared: &mut Shared, usual: &Path, page: impl FnOnce() -> String) {
        ui.horizontal_wrapped(|ui| {
            let label = ui.label("Page to print");
            let field = TextEdit::singleline(&mut self.path).desired_width(300.0);
            ui.add(field.hint_text(wording::shown(usual))).labelled_by(label.id);
            if ui.button("Save the page").clicked() {
                let typed = self.path.trim();
                let path = free(if typed.is_empty() { usual } else { Path::new(typed) });
                match write_whole(&path, page().as_bytes(), Existing::Keep) {
                    Ok(()) => {
                        shared.done(format!("saved {}", path.display()));
                        self.saved = Some(path);
                    }
                    Err(error) => {
                        shared.wrong(format!("cannot write {}: {error}; choose another file", path.display()))
                    }
                }
            }
            if let Some(saved) = &self.saved
                && ui.button("Open it to print").on_hover_text(wording::shown(saved)).clicked()
            {
                open(saved, shared);
            }
        });
    }
}

/// Opens a file or folder with the default program for it.
pub(super) fn open(path: &Path, shared: &mut Shared) {
    if let Err(error) = open::that_detached(path) {
        shared.wrong(format!("the system cannot open {} ({error}): open it by hand", path.display()));
    }
}

/// The path itself, or, if that file exists, the path with the first free number in its name, such as
/// `card-2.html`. A path without an extension gets `.html`.
pub(super) fn free(path: &Path) -> PathBuf {
    let stem = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    let extension =
        path.extension().map_or("html".into(), |extension| extension.to_string_lossy().into_owned());
    let numbered = (2..10_000).map(|number| path.with_file_name(format!("{stem}-{number}.{extension}")));
    let plain = path.with_extension(&extension);
    std::iter::once(plain.clone()).chain(numbered).find(|path| !path.exists()).unwrap_or(plain)
}

/// Default path of a page with the given name: in the result folder, otherwise beside the recording,
/// otherwise in the current folder.
pub(super) fn usual_place(shared: &Shared, name: &str) -> PathBuf {
    let results = shared.finished.as_ref().map(|finished| finished.folder.join(name));
    results.or_else(|| shared.clip().map(|clip| clip.with_file_name(name))).unwrap_or_else(|| name.into())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn an_existing_page_is_kept_and_the_next_gets_a_number() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("card.html");
        assert_eq!(free(&path), path);
        std::fs::write(&path, "mine").unwrap();
        assert_eq!(free(&path), folder.path().join("card-2.html"));
        assert_eq!(free(&folder.path().join("plain")), folder.path().join("plain.html"));
    }
}

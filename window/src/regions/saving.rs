//! Saves the regions, and accepts a camera setup that was found.

use std::path::Path;

use super::{DRAFT, RegionsScreen, reads, show_line};
use crate::{Page, Shared, progress, theme};
use pairspeed::files::Existing;
use pairspeed::new_camera::NewCameraError;
use pairspeed::setup::SetupError;

impl RegionsScreen {
    /// Saves the setup, with the glyphs and labels that were found with it; returns whether that succeeded. `replace`
    /// allows overwriting a file that is not the setup in use.
    pub(super) fn save(&mut self, shared: &mut Shared, replace: bool) -> bool {
        let (Some(loaded), Some(clip)) = (self.setup(shared), shared.clip().map(Path::to_owned)) else {
            return false;
        };
        let own = shared.setup.as_ref().is_some_and(|current| current.path == loaded.path);
        let existing = if own || replace { Existing::Replace } else { Existing::Keep };
        let saved = match &mut shared.found {
            Some(found) => found.save(loaded.clone(), existing),
            None => loaded.setup.save(&loaded.path, existing).map_err(NewCameraError::from),
        };
        match saved {
            Ok(()) => {}
            Err(NewCameraError::Setup(SetupError::Exists { path })) => {
                self.in_the_way = true;
                shared.wrong(format!("{} exists already: name another file, or replace it", path.display()));
                return false;
            }
            Err(error) => {
                shared.wrong(error);
                return false;
            }
        }
        self.editor.mark_saved();
        self.edited = None;
        shared.store.forget(&clip, DRAFT);
        let words = format!("saved as {}", loaded.path.display());
        match shared.store.remember(&loaded) {
            Ok(()) => shared.done(words),
            Err(error) => {
                shared.done(format!("{words}; this setup will not be found for other recordings: {error}"))
            }
        }
        shared.set_setup(Some(loaded));
        true
    }

    /// Accepts the setup that was found: learns from the answers if necessary, saves the setup, and reads the flight
    /// with it.
    pub(super) fn agree(&mut self, ctx: &egui::Context, shared: &mut Shared) {
        if self.asking.has_answers() && self.learning.is_none() {
            self.learn(ctx, shared);
        }
        if self.learning.is_some() {
            self.agreed = true;
            return;
        }
        let Some(setup) = self.setup(shared) else { return };
        if let Err(error) = setup.require_speed() {
            return shared.wrong(format!(
                "{error}; select the box of the speed, and choose the channel \"speed\" for it"
            ));
        }
        if self.save(shared, false) {
            shared.read_flight();
        }
    }

    pub(super) fn show_saving(&mut self, ui: &mut egui::Ui, shared: &mut Shared) {
        ui.add_space(4.0);
        if show_line(ui, "Setup file", &mut self.file) {
            self.in_the_way = false;
        }
        ui.horizontal_wrapped(|ui| {
            let unsaved = self.editor.is_unsaved() || shared.setup.is_none();
            let found = shared.found.is_some();
            if found {
                let words = "Accept and read the flight";
                let hint =
                    "Enter: saves the boxes and the images of the digits in the folder of the recording";
                let clicked = theme::main_button(ui, words).on_hover_text(hint).clicked();
                if clicked || progress::agrees(ui, self.canvas.id()) {
                    return self.agree(&ui.ctx().clone(), shared);
                }
            }
            let save = if unsaved && !found { theme::main_button(ui, "Save") } else { ui.button("Save") };
            if save.on_hover_text("Ctrl+S").clicked() {
                let _saved = self.save(shared, false);
            }
            if self.in_the_way && ui.button("Replace it").clicked() {
                let _saved = self.save(shared, true);
            }
            if unsaved {
                if !found {
                    ui.label("not saved yet");
                }
                return;
            }
            let unread = reads(self.reading.as_ref(), self.asked.as_ref()).are_unread();
            let (digits, read) = ("Next: digits", "Next: read");
            if (if unread { theme::main_button(ui, digits) } else { ui.button(digits) }).clicked() {
                shared.go_to = Some(Page::Digits);
            }
            if (if unread { ui.button(read) } else { theme::main_button(ui, read) }).clicked() {
                shared.go_to = Some(Page::Reading);
            }
        });
    }
}

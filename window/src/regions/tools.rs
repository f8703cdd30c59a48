//! The tools of the page: undo and redo, zoom, the slider for the time, and their keys.

use egui::{Button, Key, Modifiers, Slider, vec2};

use super::viewer::Wanted;
use super::{DRAFT, RegionsScreen, editor, marks_of};
use crate::{Shared, dialogs, theme};

/// Width of the button that proposes boxes, in points. It is fixed, so that nothing moves while the button shows the
/// progress (set by judgement).
const PROPOSE: f32 = 118.0;
/// Time by which Page Up and Page Down move through the recording, in seconds (set by judgement).
const PAGE_S: f64 = 5.0;

impl RegionsScreen {
    pub(super) fn show_tools(&mut self, ui: &mut egui::Ui, shared: &mut Shared) {
        ui.horizontal_wrapped(|ui| {
            self.show_propose(ui, shared);
            self.show_undo(ui, shared);
            ui.separator();
            if ui.button("Zoom in").on_hover_text("Turn the mouse wheel over the frame, or press +").clicked()
            {
                self.closer(1.5);
            }
            if ui
                .button("Zoom out")
                .on_hover_text("Turn the mouse wheel over the frame, or press -")
                .clicked()
            {
                self.closer(1.0 / 1.5);
            }
            if ui.button("Whole frame").on_hover_text("Press 0").clicked() {
                self.canvas.fit();
            }
            ui.separator();
            if ui.button("Another setup…").on_hover_text("Use the regions of a setup file").clicked() {
                self.choosing = Some(dialogs::setup_file(ui.ctx()));
            }
        });
    }

    /// Shows the button that starts a search for boxes; while the search runs, the button shows the progress and
    /// stops the search.
    fn show_propose(&mut self, ui: &mut egui::Ui, shared: &Shared) {
        let size = vec2(PROPOSE, 0.0);
        if let Some(proposing) = &self.proposing {
            let words = format!("Stop at {:.0} %", 100.0 * proposing.progress().share.unwrap_or(0.0));
            let escape = !ui.ctx().text_edit_focused()
                && ui.input_mut(|input| input.consume_key(Modifiers::NONE, Key::Escape));
            let stop = ui.add(Button::new(words).min_size(size)).on_hover_text("Stop the search (Escape)");
            if (stop.clicked() || escape) && proposing.cancel() {
                self.proposing = None;
            }
            return;
        }
        let button = Button::new("Propose boxes").min_size(size);
        if ui.add(button).on_hover_text("Searches the recording for numbers that change").clicked() {
            self.propose(ui.ctx(), shared);
        }
    }

    fn show_undo(&mut self, ui: &mut egui::Ui, shared: &mut Shared) {
        for (name, keys, words, take) in [
            ("Undo", "Ctrl+Z", self.editor.undo_words(), Self::undo as fn(&mut Self, &mut Shared)),
            ("Redo", "Ctrl+Y", self.editor.redo_words(), Self::redo),
        ] {
            let hint = words.as_ref().map_or(keys.to_owned(), |words| format!("{name}: {words} ({keys})"));
            if ui.add_enabled(words.is_some(), Button::new(name)).on_hover_text(hint).clicked() {
                take(self, shared);
            }
        }
    }

    fn undo(&mut self, shared: &mut Shared) {
        if let Some(words) = self.editor.undo() {
            shared.said(format!("Undone: {words}"));
        }
    }

    fn redo(&mut self, shared: &mut Shared) {
        if let Some(words) = self.editor.redo() {
            shared.said(format!("Redone: {words}"));
        }
    }

    fn closer(&mut self, factor: f32) {
        let selected = self.editor.selected().and_then(|number| self.editor.marks().regions.get(number));
        let rect = selected.map(|region| region.rect);
        self.canvas.zoom_by(factor);
        rect.into_iter().for_each(|rect| self.canvas.look_at(rect));
    }

    pub(super) fn show_kept(&mut self, ui: &mut egui::Ui, shared: &Shared) {
        let Some(kept) = self.kept.clone() else { return };
        ui.horizontal_wrapped(|ui| {
            ui.label(format!("{} boxes were marked but not saved in the last session.", kept.regions.len()));
            if ui.button("Restore them").clicked() {
                let marks = marks_of(&kept);
                self.editor.change(editor::RegionChange::Once, |now| *now = marks);
                self.editor.select(Some(0));
                self.kept = None;
            }
            if ui.button("Discard them").clicked() {
                self.kept = None;
                shared.clip().into_iter().for_each(|clip| shared.store.forget(clip, DRAFT));
            }
        });
    }

    pub(super) fn show_scrub(&mut self, ui: &mut egui::Ui, shared: &Shared) {
        ui.add_space(2.0);
        ui.horizontal(|ui| {
            for (name, hint, wanted) in [
                ("Previous", "Previous frame (comma key)", Wanted::Before(self.time_s)),
                ("Next", "Next frame (full stop key)", Wanted::After(self.time_s)),
            ] {
                if ui.button(name).on_hover_text(hint).clicked() {
                    self.playing = None;
                    self.want(wanted);
                }
            }
            self.show_play(ui, shared);
            let label =
                ui.label(format!("{} of {}", theme::clock(self.time_s), theme::clock(shared.length_s)));
            ui.spacing_mut().slider_width = (ui.available_width() - 12.0).max(80.0);
            let end_s = shared.length_s.max(0.01);
            let slider = Slider::new(&mut self.time_s, 0.0..=end_s).show_value(false).smart_aim(false);
            if ui
                .add(slider)
                .labelled_by(label.id)
                .on_hover_text("Page Up, Page Down: move by 5 seconds")
                .changed()
            {
                self.playing = None;
                self.want(Wanted::Near(self.time_s));
            }
        });
    }

    /// Handles the keys of the page. Ctrl+S works always, the others only while no text is being typed.
    pub(super) fn take_keys(&mut self, ui: &egui::Ui, shared: &mut Shared) {
        let pressed = |modifiers, key| ui.input_mut(|input| input.consume_key(modifiers, key));
        if pressed(Modifiers::COMMAND, Key::S) {
            let _saved = self.save(shared, false);
        }
        if ui.ctx().text_edit_focused() {
            return;
        }
        if pressed(Modifiers::COMMAND | Modifiers::SHIFT, Key::Z) || pressed(Modifiers::COMMAND, Key::Y) {
            self.redo(shared);
        }
        if pressed(Modifiers::COMMAND, Key::Z) {
            self.undo(shared);
        }
        for (key, wanted) in [
            (Key::Comma, Wanted::Before(self.time_s)),
            (Key::Period, Wanted::After(self.time_s)),
            (Key::PageUp, Wanted::Near((self.time_s - PAGE_S).max(0.0))),
            (Key::PageDown, Wanted::Near((self.time_s + PAGE_S).min(shared.length_s))),
        ] {
            if pressed(Modifiers::NONE, key) {
                self.playing = None;
                self.want(wanted);
            }
        }
        if pressed(Modifiers::NONE, Key::Plus) || pressed(Modifiers::NONE, Key::Equals) {
            self.closer(1.5);
        }
        if pressed(Modifiers::NONE, Key::Minus) {
            self.closer(1.0 / 1.5);
        }
        if pressed(Modifiers::NONE, Key::Num0) {
            self.canvas.fit();
        }
    }
}

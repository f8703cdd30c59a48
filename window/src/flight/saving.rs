//! The row above the plots: undo and redo, the interval shown, and saving of results.

use std::path::Path;

use egui::{Button, RichText, Ui};

use super::action::LegAction;
use super::keys::KEYS;
use super::leg_editor::LegEditor;
use super::timeline::zoomed;
use super::view_model::ViewModel;
use crate::reading::output_problem;
use crate::shared::Shared;
use crate::theme;
use crate::wording;
use crate::work::Work;
use pairspeed::files::Existing;
use pairspeed::flight::Flight;
use pairspeed::leg_edits::LegEdit;
use pairspeed::output::ResultFile;
use pairspeed::output::folder::{ResultFolder, write_one};

/// The result files that can be saved separately, each with the label and the tooltip of its button.
const FILES: [(ResultFile, &str, &str); 4] = [
    (ResultFile::Series, "Series", "Save series.csv: every frame's readings"),
    (ResultFile::Legs, "Legs", "Save legs.csv: the legs as edited"),
    (ResultFile::Pairs, "Pairs", "Save pairs.csv: the airspeed of every pair"),
    (ResultFile::Report, "Report", "Save report.html: to read and to print"),
];

/// The message after saving, and the edits that the result files contain; `None` if only one file was saved.
type Written = (String, Option<Vec<LegEdit>>);

/// Saves results in the background.
#[derive(Default)]
pub(super) struct Saving {
    work: Option<Work<Written>>,
}

impl Saving {
    /// Whether a file is being saved.
    pub fn is_busy(&self) -> bool {
        self.work.is_some()
    }

    /// Saves one result file.
    pub fn one(&mut self, ctx: &egui::Context, file: ResultFile, leg_editor: &LegEditor, shared: &Shared) {
        self.start(ctx, leg_editor, shared, move |folder, flight| {
            let path = write_one(folder, file, flight).map_err(|error| output_problem(&error))?;
            Ok((format!("saved {}", path.display()), None))
        });
    }

    /// Saves all result files.
    pub fn all(&mut self, ctx: &egui::Context, leg_editor: &LegEditor, shared: &Shared) {
        let edits = leg_editor.edits().edits().to_vec();
        self.start(ctx, leg_editor, shared, move |folder, flight| {
            let prepared = ResultFolder::prepare(folder, Existing::Replace);
            prepared.and_then(|prepared| prepared.write(flight)).map_err(|error| output_problem(&error))?;
            Ok((format!("saved all results in {}", folder.display()), Some(edits)))
        });
    }

    fn start(
        &mut self,
        ctx: &egui::Context,
        leg_editor: &LegEditor,
        shared: &Shared,
        write: impl FnOnce(&Path, &Flight) -> Result<Written, String> + Send + 'static,
    ) {
        let Some(finished) = &shared.finished else { return };
        let (folder, flight) = (leg_editor.folder().clone(), finished.flight.clone());
        self.work = Some(Work::start(ctx, move |_| write(&folder, &flight)));
    }

    /// Shows whether saving has succeeded, once it has finished.
    pub fn take_results(&mut self, leg_editor: &mut LegEditor, shared: &mut Shared) {
        if let Some((words, edits)) = shared.take_result(&mut self.work) {
            if let Some(edits) = edits {
                leg_editor.results_written(edits);
            }
            shared.done(words);
        }
    }
}

/// Shows the row of buttons.
pub(super) fn bar(ui: &mut Ui, view_model: &ViewModel<'_>, saving: &Saving, actions: &mut Vec<LegAction>) {
    ui.horizontal_wrapped(|ui| {
        take_back(ui, view_model, actions);
        ui.separator();
        stretch(ui, view_model, actions);
        ui.separator();
        ui.label("Save");
        // Results can be saved only if they are those that are shown.
        let ready = !saving.is_busy() && view_model.leg_editor.is_settled();
        for (file, words, hint) in FILES {
            if ui.add_enabled(ready, Button::new(words)).on_hover_text(hint).clicked() {
                actions.push(LegAction::Save(file));
            }
        }
        if ui.add_enabled(ready, Button::new("All")).on_hover_text("Save all results again").clicked() {
            actions.push(LegAction::SaveAll);
        }
        if ui
            .button("Open the folder")
            .on_hover_text(wording::shown(view_model.leg_editor.folder()))
            .clicked()
        {
            actions.push(LegAction::OpenFolder);
        }
        ui.menu_button("Keys", show_keys);
        if saving.is_busy() || !view_model.leg_editor.is_settled() {
            ui.spinner();
        } else if view_model.leg_editor.results_outdated() {
            let words = RichText::new("The saved results do not contain your last edits");
            ui.label(words.color(theme::colours(ui).unsure)).on_hover_text(
                "Your edits are kept, but the result files do not contain them yet: press \u{201c}All\u{201d} to save them again.",
            );
        }
    });
}

fn take_back(ui: &mut Ui, view_model: &ViewModel<'_>, actions: &mut Vec<LegAction>) {
    let edits = view_model.leg_editor.edits();
    for (name, edit, action) in
        [("Undo", edits.edits().last(), LegAction::Undo), ("Redo", edits.next_redo(), LegAction::Redo)]
    {
        let hint = edit.map_or_else(|| "Nothing to do".to_owned(), |edit| format!("{name}: {edit}"));
        if ui.add_enabled(edit.is_some(), Button::new(name)).on_hover_text(hint).clicked() {
            actions.push(action);
        }
    }
}

fn stretch(ui: &mut Ui, view_model: &ViewModel<'_>, actions: &mut Vec<LegAction>) {
    if ui.button("Whole flight").on_hover_text("Show the whole flight (0)").clicked() {
        actions.push(LegAction::View(0.0, f64::MAX));
    }
    let leg = view_model.chosen_leg().map(|(_, leg)| *leg);
    let hint = "Show the selected leg and its surroundings";
    if ui.add_enabled(leg.is_some(), Button::new("This leg")).on_hover_text(hint).clicked()
        && let Some(leg) = leg
    {
        let around_s = (leg.end_s - leg.start_s).max(4.0) * 0.6;
        actions.push(LegAction::View(leg.start_s - around_s, leg.end_s + around_s));
    }
    let middle_s = f64::midpoint(view_model.view_s.0, view_model.view_s.1);
    for (words, name, factor) in [("+", "Show less time", 1.5), ("-", "Show more time", 1.0 / 1.5)] {
        let response = ui.button(words);
        response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Button, true, name));
        if response.on_hover_text(format!("{name} ({words})")).clicked() {
            actions.push(zoomed(view_model, factor, middle_s));
        }
    }
}

fn show_keys(ui: &mut Ui) {
    egui::Grid::new("keys").spacing([16.0, 4.0]).show(ui, |ui| {
        for (keys, what) in KEYS {
            ui.strong(keys);
            ui.label(what);
            ui.end_row();
        }
    });
}

//! The step that puts flights beside each other: what did a change to the aircraft bring?

use std::path::PathBuf;
use std::time::SystemTime;

use egui::{Checkbox, ComboBox, Grid, RichText, ScrollArea, TextEdit, Ui};

use super::page_file::{PageFile, usual_place};
use super::work::{Outcome, take_outcome};
use super::{Screen, Shared, dialogs, look, page};
use crate::output::comparison::{reading, summary, table};
use crate::output::{ComparisonStyle, comparison_html};
use crate::propulsion::{CompareOptions, Comparison, FlownFlight, compare};
use crate::quantity;
use crate::units::Unit;

/// Units of speed offered.
pub(super) const SPEEDS: [Unit; 4] =
    [Unit::KilometresPerHour, Unit::MilesPerHour, Unit::MetresPerSecond, Unit::Knots];

/// What this step holds.
#[derive(Default)]
pub struct CompareScreen {
    results: Vec<PathBuf>,
    /// The folder as the pilot is writing it.
    folder: String,
    told: Told,
    choosing: Option<dialogs::Choice>,
    page: PageFile,
    made: Option<Made>,
}

/// What is told of the comparison.
#[derive(Debug, Clone, Default, PartialEq)]
struct Told {
    unit: Option<Unit>,
    /// The difference to be able to show, as written; empty: 1 of the unit.
    wanted: String,
    as_flown: bool,
    /// Volts that speeds are taken to, as written; empty: the mean of the two.
    voltage: String,
}

/// The folders compared, when each was written last, and what was told.
type Asked = (Vec<(PathBuf, Option<SystemTime>)>, Told);

/// What was compared, and what came of it.
struct Made {
    of: Asked,
    outcome: Result<(Vec<Comparison>, ComparisonStyle), String>,
}

impl Screen for CompareScreen {
    fn attend(&mut self, _ctx: &egui::Context, shared: &mut Shared) {
        match take_outcome(&mut self.choosing) {
            Some(Outcome::Done(folders)) => folders.into_iter().for_each(|folder| self.take(folder)),
            Some(Outcome::Failed(message)) => shared.wrong(message),
            None => {}
        }
    }

    fn show(&mut self, ui: &mut Ui, shared: &mut Shared) {
        page(ui, |ui| {
            ui.label(
                "Choose the results of the flight before the change first, then those of one or more flights after it.",
            );
            self.choose(ui, shared);
            if self.results.len() < 2 {
                return;
            }
            ui.separator();
            self.tell(ui);
            self.make();
            match self.made.as_ref().map(|made| &made.outcome) {
                Some(Ok((comparisons, style))) => {
                    let usual = usual_place(shared, "comparison.html");
                    self.page.show(ui, shared, &usual, || comparison_html(comparisons, style));
                    comparisons.iter().for_each(|comparison| show(ui, comparison, style));
                }
                Some(Err(message)) => {
                    ui.colored_label(look::colours(ui).wrong, message);
                }
                None => {}
            }
        });
    }
}

impl CompareScreen {
    fn choose(&mut self, ui: &mut Ui, shared: &Shared) {
        let mut moved = None;
        Grid::new("results to compare").spacing([12.0, 6.0]).show(ui, |ui| {
            for (place, folder) in self.results.iter().enumerate() {
                ui.label(if place == 0 { "before".to_owned() } else { format!("after {place}") });
                ui.label(folder.display().to_string());
                ui.horizontal(|ui| {
                    if ui.add_enabled(place > 0, egui::Button::new("Up")).clicked() {
                        moved = Some((place, Some(place - 1)));
                    }
                    if ui.button("Remove").clicked() {
                        moved = Some((place, None));
                    }
                });
                ui.end_row();
            }
        });
        match moved {
            Some((place, Some(to))) => self.results.swap(place, to),
            Some((place, None)) => drop(self.results.remove(place)),
            None => {}
        }
        self.add(ui, shared);
    }

    fn add(&mut self, ui: &mut Ui, shared: &Shared) {
        ui.horizontal_wrapped(|ui| {
            let label = ui.label("Folder of results");
            let field = TextEdit::singleline(&mut self.folder).desired_width(320.0);
            let response = ui.add(field).labelled_by(label.id);
            let entered = response.lost_focus() && ui.input(|input| input.key_pressed(egui::Key::Enter));
            let written = !self.folder.trim().is_empty();
            let add = ui.add_enabled(written, egui::Button::new("Add")).clicked();
            if (add || entered) && written {
                let folder = std::mem::take(&mut self.folder);
                self.take(folder.trim().into());
            }
            if ui.button("Choose…").on_hover_text("Choose a folder of results").clicked() {
                let beside = self.results.last().and_then(|folder| folder.parent());
                self.choosing = Some(dialogs::folder(ui.ctx(), "A folder of results", beside));
            }
            let this = shared.finished.as_ref().map(|finished| finished.folder.clone());
            if let Some(this) = this.filter(|this| !self.results.contains(this))
                && ui.button("Add this flight").on_hover_text(this.display().to_string()).clicked()
            {
                self.take(this);
            }
        });
    }

    /// Adds a folder of results, once.
    fn take(&mut self, folder: PathBuf) {
        if !self.results.contains(&folder) {
            self.results.push(folder);
        }
    }

    fn tell(&mut self, ui: &mut Ui) {
        ui.horizontal_wrapped(|ui| {
            unit_choice(ui, &mut self.told.unit);
            let label = ui.label("Able to show a difference of");
            let field = TextEdit::singleline(&mut self.told.wanted).desired_width(80.0).hint_text("1");
            ui.add(field).labelled_by(label.id);
            ui.add(Checkbox::new(&mut self.told.as_flown, "Speeds as flown, whatever the voltage"));
            if !self.told.as_flown {
                let label = ui.label("Taken to");
                let field = TextEdit::singleline(&mut self.told.voltage).desired_width(110.0);
                ui.add(field.hint_text("mean of both")).labelled_by(label.id);
                ui.label("V");
            }
        });
    }

    /// Compares anew where something else is told, or a flight was saved anew.
    fn make(&mut self) {
        let written = |folder: &PathBuf| {
            let found = std::fs::metadata(folder.join("summary.json")).or_else(|_| std::fs::metadata(folder));
            found.and_then(|found| found.modified()).ok()
        };
        let folders = self.results.iter().map(|folder| (folder.clone(), written(folder)));
        let of = (folders.collect(), self.told.clone());
        if self.made.as_ref().is_none_or(|made| made.of != of) {
            let outcome = compared(&self.results, &self.told);
            self.made = Some(Made { of, outcome });
        }
    }
}

/// A choice of the unit of speeds; `None`: that of the flight.
pub(super) fn unit_choice(ui: &mut Ui, unit: &mut Option<Unit>) {
    let label = ui.label("Speeds in");
    let shown = unit.map_or("the flight's unit", Unit::symbol);
    let choice = ComboBox::from_id_salt("unit of speeds").selected_text(shown);
    let response = choice.show_ui(ui, |ui| {
        ui.selectable_value(unit, None, "the flight's unit");
        for speed in SPEEDS {
            ui.selectable_value(unit, Some(speed), speed.symbol());
        }
    });
    response.response.labelled_by(label.id);
}

fn compared(results: &[PathBuf], told: &Told) -> Result<(Vec<Comparison>, ComparisonStyle), String> {
    let flights = FlownFlight::load_all(results).map_err(|error| error.to_string())?;
    let unit = told.unit.or(flights.first().map(|flight| flight.speed_unit));
    let unit = unit.unwrap_or(Unit::KilometresPerHour);
    let written = |text: &str| Some(text.trim().to_owned()).filter(|text| !text.is_empty());
    let wanted_mps = match written(&told.wanted) {
        Some(text) => quantity::parse(&text, unit).map_err(|error| error.to_string())?,
        None => unit.si_per_unit(),
    };
    let reference_v = match written(&told.voltage).filter(|_| !told.as_flown) {
        Some(text) => Some(quantity::parse(&text, Unit::Volts).map_err(|error| error.to_string())?),
        None => None,
    };
    if wanted_mps <= 0.0 || reference_v.is_some_and(|volts| volts <= 0.0) {
        return Err("A difference to show and a voltage must be above 0.".to_owned());
    }
    let options = CompareOptions { match_voltage: !told.as_flown, reference_v, wanted_mps };
    Ok((compare(&flights, &options), ComparisonStyle { unit, wanted_mps }))
}

fn show(ui: &mut Ui, comparison: &Comparison, style: &ComparisonStyle) {
    ui.separator();
    ui.label(RichText::new(format!("{} against {}", comparison.later, comparison.first)).strong().size(17.0));
    ui.label(RichText::new(summary(comparison, style)).strong());
    if !comparison.steps.is_empty() {
        ui.label(format!("Speeds in {}", style.unit.symbol()));
        ScrollArea::horizontal().id_salt(("comparison", &comparison.later)).show(ui, |ui| {
            Grid::new(("comparison of", &comparison.later)).striped(true).spacing([16.0, 5.0]).show(
                ui,
                |ui| {
                    for (row, cells) in table(comparison, style).iter().enumerate() {
                        let stands_out = row
                            .checked_sub(1)
                            .and_then(|step| comparison.steps.get(step))
                            .is_some_and(|step| step.verdict.is_shown());
                        for (column, cell) in cells.iter().enumerate() {
                            let text = RichText::new(cell);
                            let strong = row == 0 || (stands_out && column + 1 == cells.len());
                            ui.label(if strong { text.strong() } else { text });
                        }
                        ui.end_row();
                    }
                },
            );
        });
    }
    for note in comparison.notes.iter().cloned().chain(reading(comparison)) {
        ui.label(note);
    }
}

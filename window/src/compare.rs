//! The page that compares flights: it shows the effect of a change to the aircraft.

use std::path::{Path, PathBuf};
use std::time::SystemTime;

use egui::{Checkbox, ComboBox, Grid, RichText, ScrollArea, TextEdit, Ui};

use super::page_file::{PageFile, usual_place};
use super::{Screen, Shared, dialogs, page, theme, wording};
use pairspeed::compare::{CompareOptions, Comparison, compare};
use pairspeed::model::quantity;
use pairspeed::model::units::Unit;
use pairspeed::output::comparison::{reading, summary, table};
use pairspeed::output::{ComparisonStyle, comparison_html};
use pairspeed::summary::{FlownFlight, load_flights};
use pairspeed::visible;

/// Units of speed that can be chosen.
pub(super) const SPEEDS: [Unit; 4] =
    [Unit::KilometresPerHour, Unit::MilesPerHour, Unit::MetresPerSecond, Unit::Knots];

/// State of the page that compares flights.
#[derive(Default)]
pub struct CompareScreen {
    results: Vec<Flown>,
    /// Path of the result folder as the pilot types it.
    folder: String,
    form: ComparisonForm,
    choosing: Option<dialogs::Choice>,
    page: PageFile,
    made: Option<Made>,
}

/// A flight to compare.
#[derive(Debug, Clone, PartialEq)]
struct Flown {
    folder: PathBuf,
    /// Air density of the flight in kg/m^3, as typed; empty if the density in the results is to be used.
    density: String,
}

/// Entries for the comparison.
#[derive(Debug, Clone, Default, PartialEq)]
struct ComparisonForm {
    unit: Option<Unit>,
    /// The difference of airspeeds that the comparison should be able to detect, as typed; empty for a difference of
    /// 1 in the unit of the speeds.
    wanted: String,
    as_flown: bool,
    /// Pack voltage to which speeds are corrected, as typed; empty for the mean of the voltages of the two flights.
    voltage: String,
}

/// A requested comparison: the flights, each with the time at which its results were last written, and the entries.
type CompareRequest = (Vec<(Flown, Option<SystemTime>)>, ComparisonForm);

/// The last comparison and its result.
struct Made {
    of: CompareRequest,
    outcome: Result<Compared, String>,
}

/// The result of comparing flights.
struct Compared {
    comparisons: Vec<Comparison>,
    style: ComparisonStyle,
    /// Air densities of the compared flights in kg/m^3; `None` if unknown.
    densities_kg_m3: Vec<Option<f64>>,
}

impl Screen for CompareScreen {
    fn take_results(&mut self, _ctx: &egui::Context, shared: &mut Shared) {
        let folders = shared.take_result(&mut self.choosing).unwrap_or_default();
        folders.into_iter().for_each(|folder| self.take(folder));
    }

    fn show(&mut self, ui: &mut Ui, shared: &mut Shared) {
        page(ui, |ui| {
            ui.label(
                "First choose the results of the flight before the change, then those of one or more flights after it.",
            );
            self.choose(ui, shared);
            if self.results.len() < 2 {
                return;
            }
            ui.separator();
            self.show_entries(ui);
            self.make();
            match self.made.as_ref().map(|made| &made.outcome) {
                Some(Ok(Compared { comparisons, style, .. })) => {
                    let usual = usual_place(shared, "comparison.html");
                    self.page.show(ui, shared, &usual, || comparison_html(comparisons, style));
                    comparisons.iter().for_each(|comparison| show(ui, comparison, style));
                }
                Some(Err(message)) => {
                    ui.colored_label(theme::colours(ui).wrong, visible::line(message));
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
            for (index, Flown { folder, .. }) in self.results.iter().enumerate() {
                ui.label(name(index));
                ui.label(visible::line(&self.called(folder))).on_hover_text(wording::shown(folder));
                ui.horizontal(|ui| {
                    if ui.add_enabled(index > 0, egui::Button::new("Up")).clicked() {
                        moved = Some((index, Some(index - 1)));
                    }
                    if ui.button("Remove").clicked() {
                        moved = Some((index, None));
                    }
                });
                ui.end_row();
            }
        });
        match moved {
            Some((index, Some(to))) => self.results.swap(index, to),
            Some((index, None)) => drop(self.results.remove(index)),
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
            if ui.button("Choose…").on_hover_text("Choose a result folder").clicked() {
                let beside = self.results.last().and_then(|flown| flown.folder.parent());
                self.choosing = Some(dialogs::folder(ui.ctx(), "A folder of results", beside));
            }
            let this = shared.finished.as_ref().map(|finished| finished.folder.clone());
            if let Some(this) = this.filter(|this| !self.holds(this))
                && ui.button("Add this flight").on_hover_text(wording::shown(&this)).clicked()
            {
                self.take(this);
            }
        });
    }

    /// Adds a result folder, unless it is in the list already.
    fn take(&mut self, folder: PathBuf) {
        if !self.holds(&folder) {
            self.results.push(Flown { folder, density: String::new() });
        }
    }

    /// The name of a folder, or its path if another folder in the list has the same name.
    fn called(&self, folder: &Path) -> String {
        let alike =
            self.results.iter().filter(|flown| flown.folder.file_name() == folder.file_name()).count();
        let name = folder.file_name().filter(|_| alike == 1);
        name.unwrap_or(folder.as_os_str()).to_string_lossy().into_owned()
    }

    fn holds(&self, folder: &Path) -> bool {
        self.results.iter().any(|flown| flown.folder == folder)
    }

    fn show_entries(&mut self, ui: &mut Ui) {
        ui.horizontal_wrapped(|ui| {
            unit_choice(ui, &mut self.form.unit);
            let label = ui.label("Difference to detect");
            let field = TextEdit::singleline(&mut self.form.wanted).desired_width(80.0).hint_text("1");
            ui.add(field).labelled_by(label.id);
            ui.add(Checkbox::new(
                &mut self.form.as_flown,
                "Compare speeds as flown, without voltage correction",
            ));
            if !self.form.as_flown {
                let label = ui.label("Corrected to");
                let field = TextEdit::singleline(&mut self.form.voltage).desired_width(110.0);
                ui.add(field.hint_text("mean of both")).labelled_by(label.id);
                ui.label("V");
            }
        });
        self.show_densities(ui);
    }

    fn show_densities(&mut self, ui: &mut Ui) {
        let compared = self.made.as_ref().and_then(|made| made.outcome.as_ref().ok());
        let known = |index: usize| *compared?.densities_kg_m3.get(index)?;
        ui.horizontal_wrapped(|ui| {
            let density = ui.label("Air density in kg/m^3").id;
            for (index, flown) in self.results.iter_mut().enumerate() {
                let flight = ui.label(name(index)).id;
                let hint = known(index).map_or("not known".to_owned(), |density| format!("{density:.3}"));
                let field = TextEdit::singleline(&mut flown.density).desired_width(90.0).hint_text(hint);
                ui.add(field).labelled_by(density).labelled_by(flight).on_hover_text(
                    "Air density in kg/m3, such as 1.19; if empty, the density stored in the results is used, if there is one",
                );
            }
        });
    }

    /// Makes the comparison again if an entry has changed, or if the results of a flight were saved again.
    fn make(&mut self) {
        let written = |folder: &Path| {
            let found = std::fs::metadata(folder.join("summary.json")).or_else(|_| std::fs::metadata(folder));
            found.and_then(|found| found.modified()).ok()
        };
        let flights = self.results.iter().map(|flown| (flown.clone(), written(&flown.folder)));
        let of = (flights.collect(), self.form.clone());
        if self.made.as_ref().is_none_or(|made| made.of != of) {
            let outcome = compared(&self.results, &self.form);
            self.made = Some(Made { of, outcome });
        }
    }
}

/// Shows the choice of the unit of speeds; `None` stands for the unit of the flight's own results.
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

fn compared(results: &[Flown], form: &ComparisonForm) -> Result<Compared, String> {
    let folders: Vec<PathBuf> = results.iter().map(|flown| flown.folder.clone()).collect();
    let mut flights = load_flights(&folders).map_err(|error| error.to_string())?;
    for (index, (flight, flown)) in flights.iter_mut().zip(results).enumerate() {
        set_density(flight, &flown.density)
            .map_err(|error| format!("Air density, {}: {error}", name(index)))?;
    }
    let unit = form.unit.or(flights.first().map(|flight| flight.speed_unit));
    let unit = unit.unwrap_or(Unit::KilometresPerHour);
    let written = |text: &str| Some(text.trim().to_owned()).filter(|text| !text.is_empty());
    let wanted_mps = match written(&form.wanted) {
        Some(text) => quantity::parse(&text, unit).map_err(|error| error.to_string())?,
        None => unit.si_per_unit(),
    };
    let reference_v = match written(&form.voltage).filter(|_| !form.as_flown) {
        Some(text) => Some(quantity::parse(&text, Unit::Volts).map_err(|error| error.to_string())?),
        None => None,
    };
    if wanted_mps <= 0.0 || reference_v.is_some_and(|volts| volts <= 0.0) {
        return Err("The difference to detect and the voltage to correct to must be above 0.".to_owned());
    }
    let options = CompareOptions { match_voltage: !form.as_flown, reference_v, wanted_mps };
    Ok(Compared {
        comparisons: compare(&flights, &options),
        style: ComparisonStyle { unit, wanted_mps },
        densities_kg_m3: flights.iter().map(|flight| flight.density_kg_m3).collect(),
    })
}

/// The name of a flight on this page; `index` is its position in the list, from 0.
fn name(index: usize) -> String {
    if index == 0 { "before".to_owned() } else { format!("after {index}") }
}

/// Sets the air density of a flight from the typed text `written`, in kg/m^3; an empty text leaves the density
/// unchanged. Returns a message if the text is not a plausible density.
fn set_density(flight: &mut FlownFlight, written: &str) -> Result<(), String> {
    let number = written.trim().trim_end_matches("kg/m^3").trim_end();
    if number.is_empty() {
        return Ok(());
    }
    let density = number
        .replace(',', ".")
        .parse()
        .map_err(|_| format!("{number} is not a number; write it like 1.19"))?;
    flight.set_density(density).map_err(|error| error.to_string())
}

fn show(ui: &mut Ui, comparison: &Comparison, style: &ComparisonStyle) {
    ui.separator();
    let heading = format!("{} against {}", comparison.later, comparison.first);
    ui.label(RichText::new(visible::line(&heading)).strong().size(17.0));
    ui.label(RichText::new(visible::line(&summary(comparison, style))).strong());
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
                            .is_some_and(|step| step.verdict.is_significant());
                        for (column, cell) in cells.iter().enumerate() {
                            let text = RichText::new(visible::line(cell));
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
        ui.label(visible::line(&note));
    }
}

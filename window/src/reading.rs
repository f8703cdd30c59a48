//! The page that reads the flight: every frame is read in the background, then the results are written.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use egui::{ComboBox, RichText, TextEdit};

use super::air::AirFields;
use super::work::{JobProgress, Reporter, Work, in_words};
use super::{Finished, Page, Screen, Shared, dialogs, page, page_file, theme, wording};
use pairspeed::advice::Advised as _;
use pairspeed::confinement::Confinement;
use pairspeed::files::{Existing, file_name};
use pairspeed::flight::FlightRecord;
use pairspeed::model::units::{Quantity, Unit};
use pairspeed::output::folder::{OutputError, ResultFolder, usual_folder};
use pairspeed::output::{ResultFile, table};
use pairspeed::setup::LoadedSetup;
use pairspeed::{ReadOptions, read_record, visible, work_out};

/// Interval at which the remaining time is updated while the flight is read (set by judgement).
const TICK: Duration = Duration::from_millis(200);

/// State of the Reading page.
#[derive(Default)]
pub struct ReadingScreen {
    begun: u64,
    /// Throttle steps, as typed.
    throttle: String,
    air: AirFields,
    folder: String,
    /// Names of the result files that already exist in the folder, if the pilot has to confirm replacing them.
    in_the_way: Vec<&'static str>,
    choosing: Option<dialogs::Choice>,
    reading: Option<Work<Finished>>,
    /// The results as a table; `None` before a recording is read.
    table: Option<String>,
}

impl ReadingScreen {
    fn follow(&mut self, shared: &Shared) {
        if self.begun == shared.recording_number {
            return;
        }
        if let Some(reading) = self.reading.take() {
            // If files are already being written, this has no effect and they are completed.
            let _too_late = reading.cancel();
        }
        *self = Self { begun: shared.recording_number, ..Self::default() };
        self.folder = usual_folder(&shared.clips).display().to_string();
    }

    fn start(&mut self, ctx: &egui::Context, shared: &mut Shared, existing: Existing) {
        let Some(setup) = shared.setup.clone() else { return };
        let mut options = shared.options.clone();
        match throttle_steps(&self.throttle) {
            Ok(steps) => options.legs.throttle_steps = steps,
            Err(message) => return shared.wrong(message),
        }
        if let Err(message) = self.air.apply_to(&setup.setup, &mut options) {
            return shared.wrong(message);
        }
        if let Err(error) = setup.require_speed() {
            return shared.wrong(error);
        }
        let out = PathBuf::from(self.folder.trim());
        // The folder is prepared before the long reading, so that a read-only folder is reported at once.
        let folder = match ResultFolder::prepare(&out, existing) {
            Ok(folder) => folder,
            Err(OutputError::ResultsExist { files, .. }) => {
                self.in_the_way = files;
                return;
            }
            Err(error) => return shared.wrong(output_problem(&error)),
        };
        self.in_the_way.clear();
        self.table = None;
        shared.notice = None;
        let clips = shared.clips.clone();
        let rights = Confinement::default().reading(&clips).reading(setup.input_files()).writing(&out);
        let job = move |reporter: &mut Reporter| read(&clips, &setup, &options, folder, out, reporter);
        self.reading = Some(Work::start_confined(ctx, rights, job));
    }

    fn show_conditions(&mut self, ui: &mut egui::Ui, shared: &mut Shared) {
        egui::Grid::new("conditions").num_columns(2).show(ui, |ui| {
            let label = ui.label("Results go to");
            ui.horizontal(|ui| {
                let width = (ui.available_width() - 110.0).clamp(160.0, 520.0);
                if ui
                    .add(TextEdit::singleline(&mut self.folder).desired_width(width))
                    .labelled_by(label.id)
                    .changed()
                {
                    self.in_the_way.clear();
                }
                if ui.button("Choose…").on_hover_text("Choose the folder for the results").clicked() {
                    let from = Path::new(self.folder.trim()).parent();
                    self.choosing = Some(dialogs::folder(ui.ctx(), "Folder for the results", from));
                }
            });
            ui.end_row();
            let label = ui.label("Throttle steps");
            let field = TextEdit::singleline(&mut self.throttle).desired_width(200.0);
            ui.add(field.hint_text("such as 50, 60, 80, 100")).labelled_by(label.id);
            ui.end_row();
            ui.allocate_space(egui::Vec2::ZERO);
            // In a row of its own, since its lines would otherwise overlap the next row.
            ui.vertical(|ui| {
                ui.weak("in per cent, in the order flown; only needed if the overlay shows no throttle")
            });
            ui.end_row();
            ui.label("Units of the results");
            ui.horizontal(|ui| {
                let units = &mut shared.options.units;
                show_unit(ui, "speeds", Quantity::Speed, &mut units.speed);
                show_unit(ui, "heights", Quantity::Length, &mut units.length);
            });
            ui.end_row();
        });
        self.air.show(ui, shared.setup.as_ref().map(|setup| &setup.setup));
    }

    fn show_start(&mut self, ui: &mut egui::Ui, shared: &mut Shared) {
        if self.in_the_way.is_empty() {
            if theme::main_button(ui, "Read the flight").clicked() {
                self.start(ui.ctx(), shared, Existing::Keep);
            }
            return;
        }
        let colour = theme::colours(ui).unsure;
        let files = self.in_the_way.join(", ");
        ui.label(
            RichText::new(format!(
                "This folder already contains results ({files}). They are replaced only if you confirm."
            ))
            .color(colour),
        );
        ui.horizontal_wrapped(|ui| {
            if ui.button("Read and replace them").clicked() {
                self.start(ui.ctx(), shared, Existing::Replace);
            }
            if ui.button("Leave them").clicked() {
                self.in_the_way.clear();
            }
        });
    }

    fn show_progress(&mut self, ui: &mut egui::Ui) {
        let Some(reading) = &self.reading else { return };
        let progress = reading.progress();
        let words = progress_words(&progress);
        let share = Some(progress.share.unwrap_or(0.0));
        if super::progress::show(ui, share, &words, "Stop reading; nothing is written") && reading.cancel() {
            self.reading = None;
        }
        ui.ctx().request_repaint_after(TICK);
    }

    fn show_answer(&mut self, ui: &mut egui::Ui, shared: &mut Shared) {
        let (Some(table), Some(finished)) = (&self.table, &shared.finished) else { return };
        ui.add_space(6.0);
        let report = finished.folder.join(ResultFile::Report.name());
        let (mut go, mut open) = (false, false);
        ui.horizontal_wrapped(|ui| {
            open = theme::main_button(ui, "Open the report").on_hover_text(wording::shown(&report)).clicked();
            go = ui.button("Next: see the legs").clicked();
        });
        egui::ScrollArea::horizontal().id_salt("table").show(ui, |ui| {
            ui.add(
                egui::Label::new(RichText::new(visible::lines(table)).monospace())
                    .wrap_mode(egui::TextWrapMode::Extend),
            );
        });
        ui.label(format!("Results: {}", wording::shown(&finished.folder)));
        if open {
            page_file::open(&report, shared);
        }
        if go {
            shared.go_to = Some(Page::Legs);
        }
    }
}

impl Screen for ReadingScreen {
    fn take_results(&mut self, ctx: &egui::Context, shared: &mut Shared) {
        self.follow(shared);
        if std::mem::take(&mut shared.read_at_once) && self.reading.is_none() {
            self.start(ctx, shared, Existing::Keep);
        }
        if let Some(folder) = shared.take_result(&mut self.choosing).as_deref().and_then(<[_]>::first) {
            self.folder = folder.display().to_string();
            self.in_the_way.clear();
        }
        if let Some(finished) = shared.take_result(&mut self.reading) {
            self.table = Some(table(&finished.flight));
            shared
                .done(format!("the flight has been read; its results are in {}", finished.folder.display()));
            shared.set_finished(Some(finished));
        }
    }

    fn show(&mut self, ui: &mut egui::Ui, shared: &mut Shared) {
        if shared.setup.is_none() {
            shared.show_empty(ui, "Open a recording and mark its regions first; then it can be read.");
            return;
        }
        page(ui, |ui| {
            let reads = self.reading.is_some();
            show_what(ui, shared);
            ui.add_enabled_ui(!reads, |ui| self.show_conditions(ui, shared));
            ui.add_space(6.0);
            if reads {
                self.show_progress(ui);
            } else {
                self.show_start(ui, shared);
                self.show_answer(ui, shared);
            }
        });
    }
}

/// Shows which recording and regions will be read.
fn show_what(ui: &mut egui::Ui, shared: &Shared) {
    let clips: Vec<String> = shared.clips.iter().map(|clip| file_name(clip)).collect();
    let Some(setup) = &shared.setup else { return };
    let channels: Vec<&str> = setup.setup.regions.iter().map(|region| region.channel.name()).collect();
    let words = format!(
        "Every frame of {} will be read, for these channels: {} (regions from {}).",
        clips.join(", "),
        channels.join(", "),
        file_name(&setup.path)
    );
    ui.label(RichText::new(visible::line(&words)).strong());
    ui.add_space(4.0);
}

fn show_unit(ui: &mut egui::Ui, what: &str, quantity: Quantity, unit: &mut Option<Unit>) {
    let label = ui.label(what).id;
    let name = |unit: Option<Unit>| unit.map_or("as shown", Unit::symbol);
    let combo = ComboBox::from_id_salt(what).width(90.0).selected_text(name(*unit));
    let shown = combo.show_ui(ui, |ui| {
        let fitting = Unit::all().filter(|unit| unit.quantity() == quantity).map(Some);
        for choice in std::iter::once(None).chain(fitting) {
            ui.selectable_value(unit, choice, name(choice));
        }
    });
    shown.response.labelled_by(label);
}

/// Reads the flight, and writes the results unless the pilot has cancelled in the meantime.
fn read(
    clips: &[PathBuf],
    setup: &LoadedSetup,
    options: &ReadOptions,
    folder: ResultFolder,
    out: PathBuf,
    reporter: &mut Reporter,
) -> Result<Finished, String> {
    let record = read_record(clips, setup, options.min_confidence, reporter);
    let record = record.map_err(|error| error.to_string())?;
    let flight = work_out(record.clone(), options).map_err(|error| error.to_string())?;
    if !reporter.commit() {
        return Err("cancelled: nothing was written".to_owned());
    }
    folder.write(&flight).map_err(|error| output_problem(&error))?;
    // The series is already in the units of the results, so that an edit of the legs need not convert it
    // again.
    let record = FlightRecord { series: Arc::clone(&flight.series), ..record };
    Ok(Finished { flight, record: Arc::new(record), options: options.clone(), folder: out })
}

/// The reason why results cannot be written. Its advice names pages and fields of the window, not options of the
/// command line.
pub(super) fn output_problem(error: &OutputError) -> String {
    match error.advice() {
        Some(next) => format!("{error}; {}", wording::advice(next)),
        None => error.to_string(),
    }
}

fn progress_words(progress: &JobProgress) -> String {
    match (progress.frames, progress.left) {
        (0, _) => "Calibrating: finding the position of each text, measuring the noise".to_owned(),
        (frames, Some(left)) => format!("{frames} frames read, {} left", in_words(left)),
        (frames, None) => format!("{frames} frames read"),
    }
}

/// Parses throttle steps from 0 to 100 per cent, separated by commas, semicolons or spaces; `None` for an empty text.
/// The error is a message for the pilot.
fn throttle_steps(text: &str) -> Result<Option<Vec<f64>>, String> {
    let parts = text.split([',', ' ', ';']).map(str::trim).filter(|part| !part.is_empty());
    let steps: Vec<f64> = parts
        .map(|part| {
            let percent: Option<f64> = part.trim_end_matches('%').parse().ok();
            percent.filter(|percent| (0.0..=100.0).contains(percent)).ok_or_else(|| {
                format!(
                    "throttle steps: \"{part}\" is not a number from 0 to 100; write them like 50, 60, 80, 100"
                )
            })
        })
        .collect::<Result<_, _>>()?;
    Ok((!steps.is_empty()).then_some(steps))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn throttle_steps_are_read_as_typed() {
        assert_eq!(throttle_steps(" "), Ok(None));
        assert_eq!(
            throttle_steps("50, 60 %,80;100"),
            Err("throttle steps: \"%\" is not a number from 0 to 100; write them like 50, 60, 80, 100"
                .to_owned())
        );
        assert_eq!(throttle_steps("50, 60%,80;100"), Ok(Some(vec![50.0, 60.0, 80.0, 100.0])));
        assert!(throttle_steps("50, 140").is_err());
    }
}

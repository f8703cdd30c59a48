//! What the steps share.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use egui::RichText;

use super::store::Store;
use super::work::{Outcome, Work, take_outcome};
use super::{Step, theme};
use pairspeed::ReadOptions;
use pairspeed::files::file_name;
use pairspeed::flight::{Flight, FlightRecord};
use pairspeed::footage::ClipInfo;
use pairspeed::setup::LoadedSetup;

/// A flight that was read, and where its results are.
#[derive(Debug)]
pub struct Finished {
    /// The findings.
    pub flight: Flight,
    /// What was read, for working it out again with other legs.
    pub record: Arc<FlightRecord>,
    /// The conditions given for the reading.
    pub options: ReadOptions,
    /// The folder of the results.
    pub folder: PathBuf,
}

/// A line for the pilot at the foot of the window.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Notice {
    /// Something went well.
    Done(String),
    /// Something went wrong: what, where, and what to do next.
    Wrong(String),
}

/// What the steps share: the recording, its setup, and what was read.
#[derive(Debug, Default)]
pub struct Shared {
    /// The clips of the flight in the order recorded; empty before one is opened.
    pub clips: Vec<PathBuf>,
    /// What the first clip is.
    pub info: Option<ClipInfo>,
    /// Time of the last frame of the first clip, in seconds.
    pub length_s: f64,
    /// The camera setup as it was loaded or saved.
    pub setup: Option<LoadedSetup>,
    /// Grows whenever `setup` is replaced, or the glyphs it is read with.
    pub setup_number: u64,
    /// Grows with every recording opened, so that a step notices a new one.
    pub recording_number: u64,
    /// The conditions given for the reading.
    pub options: ReadOptions,
    /// The flight read last.
    pub finished: Option<Finished>,
    /// Grows whenever `finished` is replaced.
    pub finished_number: u64,
    /// The step to go to next.
    pub go_to: Option<Step>,
    /// The line at the foot.
    pub notice: Option<Notice>,
    /// What is kept between two sittings.
    pub store: Store,
}

impl Shared {
    pub(super) fn new(store: Store) -> Self {
        Self { store, ..Self::default() }
    }

    /// The first clip.
    #[must_use]
    pub fn clip(&self) -> Option<&Path> {
        self.clips.first().map(PathBuf::as_path)
    }

    /// Takes another recording: what belonged to the former one goes.
    pub(super) fn take_recording(&mut self, clips: Vec<PathBuf>, info: ClipInfo, length_s: f64) {
        (self.clips, self.info, self.length_s) = (clips, Some(info), length_s);
        self.recording_number += 1;
        self.finished = None;
        self.finished_number += 1;
        self.set_setup(None);
    }

    /// Takes a setup, or none.
    pub fn set_setup(&mut self, setup: Option<LoadedSetup>) {
        self.setup = setup;
        self.setup_number += 1;
    }

    /// Takes the findings of a flight.
    pub fn set_finished(&mut self, finished: Option<Finished>) {
        self.finished = finished;
        self.finished_number += 1;
    }

    /// Tells that something went well.
    pub fn done(&mut self, words: impl Into<String>) {
        self.notice = Some(Notice::Done(words.into()));
    }

    /// The result of a job that has just ended, if any; a failure is shown as a notice.
    pub fn take_result<T: Send + 'static>(&mut self, job: &mut Option<Work<T>>) -> Option<T> {
        match take_outcome(job)? {
            Outcome::Done(result) => Some(result),
            Outcome::Failed(message) => {
                self.wrong(message);
                None
            }
        }
    }

    /// Tells that something went wrong.
    pub fn wrong(&mut self, words: impl ToString) {
        self.notice = Some(Notice::Wrong(words.to_string()));
    }

    /// The foot of the window: the notice, else what is open.
    pub(super) fn show_foot(&mut self, ui: &mut egui::Ui) {
        let mut close = false;
        ui.horizontal_wrapped(|ui| match &self.notice {
            Some(notice) => {
                let (mark, words, colour) = match notice {
                    Notice::Done(words) => ("Done:", words, theme::colours(ui).sure),
                    Notice::Wrong(words) => ("Not done:", words, theme::colours(ui).wrong),
                };
                close = ui.button("Close").on_hover_text("Close this message").clicked();
                ui.label(RichText::new(mark).color(colour).strong());
                ui.label(words);
            }
            None => {
                ui.label(self.summary());
            }
        });
        if close {
            self.notice = None;
        }
    }

    /// What a step shows that has nothing to work on yet.
    pub(super) fn show_empty(&mut self, ui: &mut egui::Ui, words: &str) {
        ui.add_space(24.0);
        ui.vertical_centered(|ui| {
            ui.label(words);
            let (name, step) = if self.info.is_some() {
                ("Mark the regions", Step::Regions)
            } else {
                ("Open a recording", Step::Recording)
            };
            if theme::main_button(ui, name).clicked() {
                self.go_to = Some(step);
            }
        });
    }

    fn summary(&self) -> String {
        let Some(clip) = self.clip() else { return "No recording is open.".to_owned() };
        let more = match self.clips.len() {
            1 => String::new(),
            clips => format!(" and {} more", clips - 1),
        };
        let setup = self.setup.as_ref().map_or("not marked yet".to_owned(), |setup| file_name(&setup.path));
        format!("Recording: {}{more}.  Regions: {setup}.", file_name(clip))
    }
}

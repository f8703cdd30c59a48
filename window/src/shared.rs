//! The state that all pages share.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use egui::RichText;

use super::found::FoundCamera;
use super::store::Store;
use super::work::{Outcome, Work, take_outcome};
use super::{Page, theme};
use pairspeed::ReadOptions;
use pairspeed::files::file_name;
use pairspeed::flight::{Flight, FlightRecord};
use pairspeed::footage::ClipInfo;
use pairspeed::setup::LoadedSetup;
use pairspeed::visible;

/// A flight that was read, and the folder of its results.
#[derive(Debug)]
pub struct Finished {
    /// The flight with its results.
    pub flight: Flight,
    /// The readings of the flight, to compute its results again if the pilot changes the legs.
    pub record: Arc<FlightRecord>,
    /// The options with which the flight was read.
    pub options: ReadOptions,
    /// Path of the result folder.
    pub folder: PathBuf,
}

/// A message for the pilot at the bottom of the window.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Notice {
    /// A message that something succeeded.
    Done(String),
    /// What the pilot has just done, such as undoing a change, as a whole sentence.
    Said(String),
    /// Something failed: the message says what, which file or box, and what to do next.
    Wrong(String),
}

/// The state that all pages share: the recording, its setup, and the flight that was read.
#[derive(Debug, Default)]
pub struct Shared {
    /// The clips of the flight in recording order; empty as long as none is opened.
    pub clips: Vec<PathBuf>,
    /// The properties of the first clip; `None` as long as no recording is open.
    pub info: Option<ClipInfo>,
    /// Time of the last frame of the first clip, in seconds.
    pub length_s: f64,
    /// The camera setup as it was loaded or saved last; `None` if there is none yet.
    pub setup: Option<LoadedSetup>,
    /// The camera setup that was found in the recording; `None` if none was found, or once it was saved or replaced.
    pub found: Option<FoundCamera>,
    /// Number that increases whenever `setup`, `found` or their glyphs are replaced.
    pub setup_number: u64,
    /// Number that increases with every recording that is opened, so that a page notices a new recording.
    pub recording_number: u64,
    /// The options that the pilot entered for reading.
    pub options: ReadOptions,
    /// The flight that was read last; `None` if none was read yet.
    pub finished: Option<Finished>,
    /// Number that increases whenever `finished` is replaced.
    pub finished_number: u64,
    /// Whether the flight is read as soon as the Reading page is shown.
    pub read_at_once: bool,
    /// The page to go to next; `None` to stay on the page.
    pub go_to: Option<Page>,
    /// The message at the bottom of the window; `None` if there is none.
    pub notice: Option<Notice>,
    /// The state that is kept between sessions.
    pub store: Store,
}

impl Shared {
    pub(super) fn new(store: Store) -> Self {
        Self { store, ..Self::default() }
    }

    /// Path of the first clip; `None` as long as no recording is open.
    #[must_use]
    pub fn clip(&self) -> Option<&Path> {
        self.clips.first().map(PathBuf::as_path)
    }

    /// Opens another recording; everything that belongs to the previous one is discarded.
    pub(super) fn take_recording(&mut self, clips: Vec<PathBuf>, info: ClipInfo, length_s: f64) {
        (self.clips, self.info, self.length_s) = (clips, Some(info), length_s);
        self.recording_number += 1;
        self.finished = None;
        self.finished_number += 1;
        self.set_setup(None);
    }

    /// Replaces the setup, or removes it, and discards a camera setup that was found.
    pub fn set_setup(&mut self, setup: Option<LoadedSetup>) {
        self.setup = setup;
        self.found = None;
        self.read_at_once = false;
        self.setup_number += 1;
    }

    /// Shows a camera setup that was found in the recording, for the pilot to accept.
    pub(super) fn set_found(&mut self, found: FoundCamera) {
        self.found = Some(found);
        self.setup_number += 1;
    }

    /// Goes to the Reading page and reads the flight there.
    pub(super) fn read_flight(&mut self) {
        self.read_at_once = true;
        self.go_to = Some(Page::Reading);
    }

    /// Replaces the flight that was read last, or removes it.
    pub fn set_finished(&mut self, finished: Option<Finished>) {
        self.finished = finished;
        self.finished_number += 1;
    }

    /// Shows a message that something succeeded.
    pub fn done(&mut self, words: impl Into<String>) {
        self.notice = Some(Notice::Done(words.into()));
    }

    /// Shows a message about what the pilot has just done, as a whole sentence.
    pub(super) fn said(&mut self, words: impl Into<String>) {
        self.notice = Some(Notice::Said(words.into()));
    }

    /// The result of a job that has just ended. `None` if there is no job, if it is still running, or if it has failed;
    /// a failure is shown as a message.
    pub fn take_result<T: Send + 'static>(&mut self, job: &mut Option<Work<T>>) -> Option<T> {
        match take_outcome(job)? {
            Outcome::Done(result) => Some(result),
            Outcome::Failed(message) => {
                self.wrong(message);
                None
            }
        }
    }

    /// Shows a message that something failed.
    pub fn wrong(&mut self, words: impl ToString) {
        self.notice = Some(Notice::Wrong(words.to_string()));
    }

    /// Shows the bottom line of the window: the message, otherwise which recording is open.
    pub(super) fn show_foot(&mut self, ui: &mut egui::Ui) {
        let mut close = false;
        let lines = |ui: &mut egui::Ui| match &self.notice {
            Some(notice) => {
                let (mark, words, colour) = match notice {
                    Notice::Done(words) => (Some("Done:"), words, theme::colours(ui).sure),
                    Notice::Said(words) => (None, words, theme::colours(ui).ink),
                    Notice::Wrong(words) => (Some("Not done:"), words, theme::colours(ui).wrong),
                };
                close = ui.button("Close").on_hover_text("Close this message").clicked();
                mark.into_iter().for_each(|mark| _ = ui.label(RichText::new(mark).color(colour).strong()));
                ui.label(&*visible::line(words));
            }
            None => {
                ui.label(&*visible::line(&self.summary()));
            }
        };
        ui.horizontal_wrapped(lines);
        if close {
            self.notice = None;
        }
    }

    /// Shows that a page has nothing to work on yet, with the reason in `words`.
    pub(super) fn show_empty(&mut self, ui: &mut egui::Ui, words: &str) {
        ui.add_space(24.0);
        ui.vertical_centered(|ui| {
            ui.label(words);
            let (name, page) = if self.info.is_some() {
                ("Mark the regions", Page::Regions)
            } else {
                ("Open a recording", Page::Recording)
            };
            if theme::main_button(ui, name).clicked() {
                self.go_to = Some(page);
            }
        });
    }

    fn summary(&self) -> String {
        let Some(clip) = self.clip() else { return "No recording is open.".to_owned() };
        let more = match self.clips.len() {
            1 => String::new(),
            clips => format!(" and {} more", clips - 1),
        };
        let setup = match (&self.setup, &self.found) {
            (Some(setup), _) => file_name(&setup.path),
            (None, Some(_)) => "found, not saved yet".to_owned(),
            (None, None) => "not marked yet".to_owned(),
        };
        format!("Recording: {}{more}.  Regions: {setup}.", file_name(clip))
    }
}

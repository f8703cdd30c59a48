//! The legs that the pilot edits. Every edit is saved at once, and the flight is computed again off the
//! window's thread.

use std::path::PathBuf;
use std::sync::Arc;

use crate::page_file::free;
use crate::shared::{Finished, Shared};
use crate::work::LatestWinsWorker;
use pairspeed::flight::{Flight, FlightRecord};
use pairspeed::leg_edits::{EDITS_FILE, EditsFileError, LegEdit, LegEditError, LegEdits};
use pairspeed::legs::{GivenLeg, LegOptions};
use pairspeed::{ReadOptions, work_out};

/// Name to which the file with earlier edits is renamed when the pilot discards them.
const PREVIOUS_FILE: &str = "legs.previous.toml";

/// A request to compute the flight again: number of the request, and the choice of legs.
type Request = (u64, LegOptions);

/// A computed flight, with the number of the request.
type Answer = (u64, Result<Flight, String>);

/// The edits of one flight, and their results.
pub(super) struct LegEditor {
    options: LegOptions,
    clips: Vec<PathBuf>,
    folder: PathBuf,
    edits: LegEdits,
    /// The edits including an edit that is being tried out, such as an end that is still being dragged; `None` if no
    /// edit is being tried out.
    trial: Option<LegEdits>,
    /// Edits of an earlier session, until the pilot accepts or discards them; `None` if there are none.
    offered: Option<LegEdits>,
    /// Whether the file of edits holds edits other than the current ones, so that the file must be renamed before a
    /// new one is written.
    file_has_other_edits: bool,
    /// The edits with which the result files were written.
    written: Vec<LegEdit>,
    unsaved: bool,
    worker: LatestWinsWorker<Request, Answer>,
    asked: u64,
    answered: u64,
}

impl LegEditor {
    /// Starts editing a flight that was just read. Also returns the reason why the edits stored with the results of
    /// the flight cannot be used; `None` if they can be used or if there are none.
    pub fn of(ctx: &egui::Context, finished: &Finished, shared: &Shared) -> (Self, Option<EditsFileError>) {
        let edits = LegEdits::of(&finished.flight);
        let file = finished.folder.join(EDITS_FILE);
        let kept = if file.exists() { Some(LegEdits::load(&file, &shared.clips)) } else { None };
        let (offered, wrong) = match kept {
            Some(Ok(kept)) => (Some(kept).filter(|kept| !kept.edits().is_empty()), None),
            Some(Err(error)) => (None, Some(error)),
            None => (None, None),
        };
        let (record, options) = (Arc::clone(&finished.record), finished.options.clone());
        let this = Self {
            options: options.legs.clone(),
            clips: shared.clips.clone(),
            folder: finished.folder.clone(),
            edits,
            trial: None,
            file_has_other_edits: offered.is_some() || wrong.is_some(),
            offered,
            written: Vec::new(),
            unsaved: false,
            worker: spawn_worker(ctx, record, options),
            asked: 0,
            answered: 0,
        };
        (this, wrong)
    }

    /// The legs after all edits, including an edit that is being tried out.
    pub fn legs(&self) -> &[GivenLeg] {
        self.current().legs()
    }

    /// The edits, including an edit that is being tried out.
    pub fn current(&self) -> &LegEdits {
        self.trial.as_ref().unwrap_or(&self.edits)
    }

    /// The edits, without an edit that is being tried out.
    pub fn edits(&self) -> &LegEdits {
        &self.edits
    }

    /// The edits of an earlier session that the pilot may accept; `None` if there are none.
    pub fn offered(&self) -> Option<&LegEdits> {
        self.offered.as_ref()
    }

    /// The result folder.
    pub fn folder(&self) -> &PathBuf {
        &self.folder
    }

    /// Whether the result files were written with other edits than the current ones.
    pub fn results_outdated(&self) -> bool {
        self.written != self.edits.edits()
    }

    /// Records `edits` as those that the result files, which were just written, include.
    pub fn results_written(&mut self, edits: Vec<LegEdit>) {
        self.written = edits;
    }

    /// Whether the flight shown was computed with the last edit.
    pub fn is_settled(&self) -> bool {
        self.asked == self.answered
    }

    /// Shows the effect of an edit without making it; an impossible edit changes nothing.
    pub fn try_out(&mut self, edit: LegEdit) {
        let mut trial = self.edits.clone();
        // While the mouse does not move, nothing changes and nothing is computed.
        if trial.make(edit).is_ok() && trial.legs() != self.legs() {
            self.trial = Some(trial);
            self.ask();
        }
    }

    /// Makes an edit and saves it.
    ///
    /// # Errors
    ///
    /// [`LegEditError`] says why the edit cannot be made.
    pub fn make(&mut self, edit: LegEdit, shared: &mut Shared) -> Result<(), LegEditError> {
        self.trial = None;
        let made = self.edits.make(edit);
        if made.is_ok() {
            self.set_other_edits_aside(shared);
            self.save(shared);
        }
        self.ask();
        made
    }

    /// Undoes the last edit.
    pub fn undo(&mut self, shared: &mut Shared) {
        self.trial = None;
        if let Some(edit) = self.edits.edits().last() {
            shared.said(format!("Undone: {edit}"));
        }
        self.edits.undo();
        self.save(shared);
        self.ask();
    }

    /// Makes the edit again that was undone last.
    pub fn redo(&mut self, shared: &mut Shared) {
        self.trial = None;
        if let Some(edit) = self.edits.next_redo() {
            shared.said(format!("Redone: {edit}"));
        }
        self.edits.redo();
        self.save(shared);
        self.ask();
    }

    /// Accepts the edits of an earlier session.
    pub fn accept_offer(&mut self) {
        if let Some(offered) = self.offered.take() {
            self.file_has_other_edits = false;
            self.edits = offered;
            self.ask();
        }
    }

    /// Starts from the legs found; the edits of the earlier session are kept under another file name.
    pub fn discard_offer(&mut self, shared: &mut Shared) {
        self.set_other_edits_aside(shared);
    }

    /// Shows flights that were computed since the last call, or the reason why one cannot be computed.
    pub fn take_results(&mut self, shared: &mut Shared) {
        while let Some((number, worked_out)) = self.worker.answer() {
            self.answered = number;
            match (worked_out, &mut shared.finished) {
                (Ok(flight), Some(finished)) => finished.flight = flight,
                (Ok(_), None) => {}
                (Err(message), _) => shared.wrong(message),
            }
        }
    }

    /// Saves the edits that could not be saved before.
    pub fn save_unsaved(&mut self) {
        if self.unsaved {
            self.unsaved = self.edits.save(&self.folder.join(EDITS_FILE), &self.clips).is_err();
        }
    }

    fn ask(&mut self) {
        self.asked += 1;
        self.worker.submit((self.asked, self.current().applied_to(&self.options)));
    }

    fn save(&mut self, shared: &mut Shared) {
        let saved = self.edits.save(&self.folder.join(EDITS_FILE), &self.clips);
        self.unsaved = saved.is_err();
        if let Err(error) = saved {
            shared.wrong(format!(
                "{error}. Your edits are kept in the window; they will be saved together with your next edit."
            ));
        }
    }

    fn set_other_edits_aside(&mut self, shared: &mut Shared) {
        self.offered = None;
        if !std::mem::take(&mut self.file_has_other_edits) {
            return;
        }
        let aside = free(&self.folder.join(PREVIOUS_FILE));
        match std::fs::rename(self.folder.join(EDITS_FILE), &aside) {
            Ok(()) => shared.done(format!("the earlier edits are kept in the file {}", aside.display())),
            Err(error) => {
                shared
                    .wrong(format!("cannot move the earlier edits to the file {}: {error}", aside.display()));
            }
        }
    }
}

fn spawn_worker(
    ctx: &egui::Context,
    record: Arc<FlightRecord>,
    options: ReadOptions,
) -> LatestWinsWorker<Request, Answer> {
    LatestWinsWorker::spawn(ctx, move |(number, legs): Request, answer| {
        let options = ReadOptions { legs, ..options.clone() };
        let worked_out = work_out(FlightRecord::clone(&record), &options);
        answer((number, worked_out.map_err(|error| error.to_string())));
    })
}

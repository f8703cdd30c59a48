//! The legs that the pilot works on: every edit is kept at once and worked out off the window's thread.

use std::path::PathBuf;
use std::sync::Arc;

use crate::page_file::free;
use crate::shared::{Finished, Shared};
use crate::work::LatestWinsWorker;
use pairspeed::flight::{Flight, FlightRecord};
use pairspeed::leg_edits::{EDITS_FILE, EditsFileError, LegEdit, LegEditError, LegEdits};
use pairspeed::legs::{GivenLeg, LegOptions};
use pairspeed::{ReadOptions, work_out};

/// Name that a former list of edits is moved to when the pilot starts anew.
const FORMER_FILE: &str = "legs.former.toml";

/// A flight to work out: its number, and the legs to work it out with.
type Request = (u64, LegOptions);

/// A flight worked out, with the number of its errand.
type Answer = (u64, Result<Flight, String>);

/// The edits of one flight and what comes of them.
pub(super) struct LegEditor {
    options: LegOptions,
    clips: Vec<PathBuf>,
    folder: PathBuf,
    edits: LegEdits,
    /// The edits with one more that the pilot has not let go of yet.
    trial: Option<LegEdits>,
    /// Edits kept on an earlier day, until the pilot takes or leaves them.
    offered: Option<LegEdits>,
    /// The file of edits holds something else than these edits: it is moved aside before it is written.
    others: bool,
    /// The edits that the files of results hold.
    written: Vec<LegEdit>,
    unsaved: bool,
    worker: LatestWinsWorker<Request, Answer>,
    asked: u64,
    answered: u64,
}

impl LegEditor {
    /// Puts a flight just read on the bench. The second is what is wrong with edits kept among its results.
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
            others: offered.is_some() || wrong.is_some(),
            offered,
            written: Vec::new(),
            unsaved: false,
            worker: spawn_worker(ctx, record, options),
            asked: 0,
            answered: 0,
        };
        (this, wrong)
    }

    /// The legs as they stand, an edit that is being tried out included.
    pub fn legs(&self) -> &[GivenLeg] {
        self.current().legs()
    }

    /// The edits, one that is being tried out included.
    pub fn current(&self) -> &LegEdits {
        self.trial.as_ref().unwrap_or(&self.edits)
    }

    /// The edits made and kept.
    pub fn edits(&self) -> &LegEdits {
        &self.edits
    }

    /// The edits kept on an earlier day that the pilot may take up again.
    pub fn offered(&self) -> Option<&LegEdits> {
        self.offered.as_ref()
    }

    /// The folder of the results.
    pub fn folder(&self) -> &PathBuf {
        &self.folder
    }

    /// Whether the files of results are those of other edits.
    pub fn results_lag(&self) -> bool {
        self.written != self.edits.edits()
    }

    /// The files of results now hold the edits as they are.
    pub fn results_written(&mut self, edits: Vec<LegEdit>) {
        self.written = edits;
    }

    /// Whether the flight shown is that of the last edit.
    pub fn is_settled(&self) -> bool {
        self.asked == self.answered
    }

    /// Shows what an edit would do without making it; one that cannot be made changes nothing.
    pub fn try_out(&mut self, edit: LegEdit) {
        let mut trial = self.edits.clone();
        // A mouse held still asks for nothing new.
        if trial.make(edit).is_ok() && trial.legs() != self.legs() {
            self.trial = Some(trial);
            self.ask();
        }
    }

    /// Makes an edit and keeps it.
    ///
    /// # Errors
    /// [`LegEditError`] says why it cannot be made.
    pub fn make(&mut self, edit: LegEdit, shared: &mut Shared) -> Result<(), LegEditError> {
        self.trial = None;
        let made = self.edits.make(edit);
        if made.is_ok() {
            self.set_others_aside(shared);
            self.save(shared);
        }
        self.ask();
        made
    }

    /// Takes the last edit back.
    pub fn undo(&mut self, shared: &mut Shared) {
        self.trial = None;
        self.edits.undo();
        self.save(shared);
        self.ask();
    }

    /// Makes the edit taken back last again.
    pub fn redo(&mut self, shared: &mut Shared) {
        self.trial = None;
        self.edits.redo();
        self.save(shared);
        self.ask();
    }

    /// Takes up the edits kept on an earlier day.
    pub fn take_offer(&mut self) {
        if let Some(offered) = self.offered.take() {
            self.others = false;
            self.edits = offered;
            self.ask();
        }
    }

    /// Starts from the legs found; the edits of the earlier day stay under another name.
    pub fn leave_offer(&mut self, shared: &mut Shared) {
        self.set_others_aside(shared);
    }

    /// Takes what was worked out meanwhile.
    pub fn attend(&mut self, shared: &mut Shared) {
        while let Some((number, worked_out)) = self.worker.answer() {
            self.answered = number;
            match (worked_out, &mut shared.finished) {
                (Ok(flight), Some(finished)) => finished.flight = flight,
                (Ok(_), None) => {}
                (Err(message), _) => shared.wrong(message),
            }
        }
    }

    /// Keeps what could not be kept before.
    pub fn keep(&mut self) {
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
            shared.wrong(format!("{error}. Your edits are still here and are tried again at the next one."));
        }
    }

    fn set_others_aside(&mut self, shared: &mut Shared) {
        self.offered = None;
        if !std::mem::take(&mut self.others) {
            return;
        }
        let aside = free(&self.folder.join(FORMER_FILE));
        match std::fs::rename(self.folder.join(EDITS_FILE), &aside) {
            Ok(()) => shared.done(format!("the earlier edits are kept as {}", aside.display())),
            Err(error) => {
                shared.wrong(format!("cannot move the earlier edits to {}: {error}", aside.display()));
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

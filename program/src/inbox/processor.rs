//! Decides what is done with each recording, and writes it down.

use std::collections::{BTreeMap, BTreeSet};
use std::io;
use std::path::{Path, PathBuf};
use std::time::Duration;

use pairspeed::output::folder::{holds_results, usual_name};

use super::arrivals::Arrivals;
use super::journal::{Identity, Journal, JournalEntry, JournalError, State};
use super::listing::{Listing, Stamp};

/// Time until something that failed for a reason outside the recording is tried again. Set by judgement.
const RETRY: Duration = Duration::from_secs(60);
/// Number of attempts to read a recording that each ended with the end of the program. Set by judgement: one such end may be
/// a cut of power.
const MAX_ATTEMPTS: u32 = 3;

/// The result of reading one recording. Each but the first has its reason.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ReadingOutcome {
    /// It was read. The text says what came of it.
    Read(String),
    /// It cannot be read, and will not be readable later.
    Unreadable(String),
    /// None of the setups fits it. It is tried again when there is another setup.
    NoSetup(String),
    /// Reading failed for a reason outside the recording. It is tried again later.
    Interrupted(String),
}

/// Reads recordings.
pub trait RecordingReader {
    /// Reads `recording` with one of `setups`, and writes its results to the folder `results`. `replace` tells whether results
    /// there, of a shorter copy of the recording, are to be replaced.
    fn read(&mut self, recording: &Path, results: &Path, setups: &[PathBuf], replace: bool)
    -> ReadingOutcome;
}

/// The folders of an inbox.
#[derive(Debug, Clone)]
pub struct InboxFolders {
    /// The folder that is watched.
    pub inbox: PathBuf,
    /// The folder for the results and the journal; `None` if results are put beside their recordings.
    pub results: Option<PathBuf>,
}

/// Reads each recording of an inbox once.
pub struct InboxProcessor {
    folders: InboxFolders,
    /// Time without a change after which a recording counts as complete.
    settle: Duration,
    arrivals: Arrivals,
    /// The journal; `None` while the folder is not there.
    journal: Option<Journal>,
    /// Device and number of the folder in the last listing; `None` before the first.
    folder: Option<Option<(u64, u64)>>,
    setups: Vec<(PathBuf, Stamp)>,
    without_setup: BTreeSet<PathBuf>,
    /// What was said last about each file that is tried again and again.
    said: BTreeMap<PathBuf, String>,
}

/// What is to be done with a recording.
enum RecordingPlan {
    /// Nothing.
    Leave,
    /// Write this down, and say this.
    Settle(JournalEntry, &'static str),
    /// Read it. The entry is the one to be written first.
    Read {
        entry: JournalEntry,
        /// The entry of a shorter copy of the recording, whose results are replaced; `None` if there is none.
        shorter: Option<JournalEntry>,
    },
}

impl InboxProcessor {
    /// A processor for the folders, which must exist.
    ///
    /// # Errors
    ///
    /// [`JournalError`] if the journal cannot be read, or if another run uses it.
    pub fn open(folders: InboxFolders, settle: Duration) -> Result<Self, JournalError> {
        let mut processor = Self {
            folders,
            settle,
            arrivals: Arrivals::default(),
            journal: None,
            folder: None,
            setups: Vec::new(),
            without_setup: BTreeSet::new(),
            said: BTreeMap::new(),
        };
        processor.open_journal()?;
        Ok(processor)
    }

    fn open_journal(&mut self) -> Result<(), JournalError> {
        let folder = self.folders.results.as_ref().unwrap_or(&self.folders.inbox);
        self.journal = Some(Journal::open(folder, &self.folders.inbox)?);
        Ok(())
    }

    /// Whether every recording that is there was tried.
    pub fn is_idle(&self) -> bool {
        self.journal.is_some() && self.arrivals.are_tried()
    }

    /// Takes note of the folder as it is at `now`, and reads the recordings that are due. `say` receives what happened, one line
    /// each.
    pub fn step(
        &mut self,
        now: Duration,
        listing: io::Result<Listing>,
        reader: &mut dyn RecordingReader,
        say: &mut dyn FnMut(String),
    ) {
        let listing = match listing {
            Ok(listing) => listing,
            Err(error) => return self.lose_folder(&error, say),
        };
        let before = self.folder.replace(listing.folder);
        if before.is_some_and(|before| before != listing.folder) {
            // Another card is mounted here, or the card was taken out: it has a journal of its own.
            self.forget_folder();
        }
        if self.journal.is_none()
            && let Err(error) = self.open_journal()
        {
            let inbox = self.folders.inbox.clone();
            return self.say_once(&inbox, error.to_string(), say);
        }
        for gone in self.arrivals.note(now, self.settle, &listing.recordings) {
            say(format!("{}: removed before it was read; it is read when it is there again", gone.display()));
        }
        if self.setups != listing.setups {
            self.setups = listing.setups;
            for path in std::mem::take(&mut self.without_setup) {
                self.arrivals.set_tried(&path, Some(now));
            }
        }
        for path in self.arrivals.due(now) {
            self.handle(&path, now, reader, say);
        }
    }

    /// The folder cannot be listed: the card is gone, or the network.
    fn lose_folder(&mut self, error: &io::Error, say: &mut dyn FnMut(String)) {
        let inbox = self.folders.inbox.clone();
        self.say_once(&inbox, format!("cannot be listed ({error}); waiting for it"), say);
        self.forget_folder();
    }

    fn forget_folder(&mut self) {
        self.journal = None;
        self.arrivals = Arrivals::default();
        self.setups.clear();
        self.without_setup.clear();
    }

    /// Reads one recording if the journal does not say otherwise.
    fn handle(
        &mut self,
        path: &Path,
        now: Duration,
        reader: &mut dyn RecordingReader,
        say: &mut dyn FnMut(String),
    ) {
        let identity = match Identity::of(path) {
            Ok(identity) => identity,
            Err(error) => return self.try_later(path, now, format!("cannot be read now ({error})"), say),
        };
        let (entry, shorter) = match self.plan(path, identity) {
            RecordingPlan::Leave => return self.settle(path),
            RecordingPlan::Settle(entry, said) => {
                say(format!("{}: {said}", path.display()));
                return self.write(path, now, entry, say);
            }
            RecordingPlan::Read { entry, shorter } => (entry, shorter),
        };
        let results = self.results_of(path, entry.folder);
        if let Some(Err(error)) =
            self.journal.as_mut().map(|journal| journal.write(path, shorter.as_ref(), entry.clone()))
        {
            return self.try_later(
                path,
                now,
                format!("not read, as the journal cannot be written: {error}"),
                say,
            );
        }
        let setups: Vec<PathBuf> = self.setups.iter().map(|(path, _)| path.clone()).collect();
        let mut outcome = reader.read(path, &results, &setups, shorter.is_some());
        if !matches!(outcome, ReadingOutcome::Read(_)) && !path.exists() {
            outcome = ReadingOutcome::Interrupted("removed while it was read".to_owned());
        }
        match outcome {
            ReadingOutcome::Read(said) => {
                say(format!("{}: {said}; results in {}", path.display(), results.display()));
                self.write(path, now, JournalEntry { state: State::Read, ..entry }, say);
            }
            ReadingOutcome::Unreadable(reason) => {
                say(format!("{}: not read: {reason}", path.display()));
                self.write(path, now, JournalEntry { state: State::Unreadable(reason), ..entry }, say);
            }
            ReadingOutcome::NoSetup(reason) => {
                self.take_back(path, entry);
                self.arrivals.set_tried(path, None);
                self.without_setup.insert(path.to_owned());
                self.say_once(path, format!("not read: {reason}"), say);
            }
            ReadingOutcome::Interrupted(reason) => {
                self.take_back(path, entry);
                self.try_later(path, now, format!("not read: {reason}; it is tried again"), say);
            }
        }
    }

    fn plan(&self, path: &Path, identity: Identity) -> RecordingPlan {
        let entries = self.journal.as_ref().map_or(&[][..], |journal| journal.entries(path));
        let has_results = |folder: u32| holds_results(&self.results_of(path, folder));
        if let Some(known) = entries.iter().find(|entry| entry.identity == identity) {
            let with = |state| JournalEntry { state, ..known.clone() };
            return match known.state {
                State::Read | State::HadResults | State::Unreadable(_) => RecordingPlan::Leave,
                State::Begun(1..) if has_results(known.folder) => {
                    RecordingPlan::Settle(with(State::Read), "was read before the restart")
                }
                State::Begun(MAX_ATTEMPTS..) => {
                    let reason = format!("the program ended {MAX_ATTEMPTS} times while reading it");
                    RecordingPlan::Settle(
                        with(State::Unreadable(reason)),
                        "not read: the program ended each time",
                    )
                }
                State::Begun(attempts) => {
                    RecordingPlan::Read { entry: with(State::Begun(attempts + 1)), shorter: None }
                }
            };
        }
        let entry = |folder| JournalEntry { identity, state: State::Begun(1), folder };
        let shorter = entries.iter().find(|entry| entry.identity.is_part_of(identity));
        if let Some(shorter) = shorter.filter(|shorter| shorter.state != State::HadResults) {
            return RecordingPlan::Read { entry: entry(shorter.folder), shorter: Some(shorter.clone()) };
        }
        if entries.is_empty() && has_results(1) {
            let entry = JournalEntry { state: State::HadResults, ..entry(1) };
            return RecordingPlan::Settle(entry, "has results already; it is not read again");
        }
        let free = (1..).find(|number| !has_results(*number)).unwrap_or(u32::MAX);
        RecordingPlan::Read { entry: entry(free), shorter: None }
    }

    /// The folder for the results of a recording.
    fn results_of(&self, path: &Path, number: u32) -> PathBuf {
        let mut name = usual_name(path);
        if number > 1 {
            name.push(format!("-{number}"));
        }
        let InboxFolders { inbox, results } = &self.folders;
        let inside = path.strip_prefix(inbox).unwrap_or(path);
        results
            .as_ref()
            .map_or_else(|| path.with_file_name(&name), |results| results.join(inside.with_file_name(&name)))
    }

    /// Writes an entry down; the recording is then dealt with.
    fn write(&mut self, path: &Path, now: Duration, entry: JournalEntry, say: &mut dyn FnMut(String)) {
        match self.journal.as_mut().map(|journal| journal.write(path, None, entry)) {
            Some(Err(error)) => {
                self.try_later(path, now, format!("the journal cannot be written: {error}"), say)
            }
            Some(Ok(())) | None => self.settle(path),
        }
    }

    /// Writes down that an attempt does not count, as it did not end the program.
    fn take_back(&mut self, path: &Path, entry: JournalEntry) {
        let entry = JournalEntry { state: State::Begun(0), ..entry };
        // If this fails, the attempt counts after a restart, which is the only harm.
        let _counts = self.journal.as_mut().map(|journal| journal.write(path, None, entry));
    }

    fn settle(&mut self, path: &Path) {
        self.arrivals.set_tried(path, None);
        self.said.remove(path);
    }

    fn try_later(&mut self, path: &Path, now: Duration, reason: String, say: &mut dyn FnMut(String)) {
        self.arrivals.set_tried(path, Some(now + RETRY));
        self.say_once(path, reason, say);
    }

    /// Says something on a file, unless it was said last time.
    fn say_once(&mut self, path: &Path, what: String, say: &mut dyn FnMut(String)) {
        let line = format!("{}: {what}", path.display());
        if self.said.get(path) != Some(&line) {
            say(line.clone());
            self.said.insert(path.to_owned(), line);
        }
    }
}

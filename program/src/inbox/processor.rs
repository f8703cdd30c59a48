//! Decides what to do with each recording, and records it in the journal.

use std::collections::{BTreeMap, BTreeSet};
use std::io;
use std::path::{Path, PathBuf};
use std::time::Duration;

use pairspeed::output::folder::{holds_results, recover_results, usual_name};
use serde::{Deserialize, Serialize};

use super::arrivals::Arrivals;
use super::journal::{Identity, Journal, JournalEntry, JournalError, State};
use super::listing::{Listing, Stamp};

/// Time between attempts after a failure whose cause lies outside the recording. Set by judgement.
const RETRY: Duration = Duration::from_secs(60);
/// Maximum number of attempts to read one recording during which the program ended unexpectedly. Set by judgement:
/// one of them may have ended with a power failure.
const MAX_ATTEMPTS: u32 = 3;

/// The result of reading one recording. Every failure has its reason as text.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub enum ReadingOutcome {
    /// The recording was read. The text summarises the result.
    Read(String),
    /// The recording cannot be read now or later.
    Unreadable(String),
    /// None of the setups fits the recording. Another attempt is made when the setups in the folder change.
    NoSetup(String),
    /// Reading failed for a reason outside the recording. Another attempt is made later.
    Interrupted(String),
    /// The process that read the recording ended without an outcome. A limited number of attempts is made later.
    Crashed(String),
}

/// Reads recordings.
pub trait RecordingReader {
    /// Reads `recording` with one of `setups`, and writes its results to the folder `results`. With `replace`, existing
    /// results of a shorter copy of the recording are replaced.
    fn read(&mut self, recording: &Path, results: &Path, setups: &[PathBuf], replace: bool)
    -> ReadingOutcome;
}

/// The folders of an inbox.
#[derive(Debug, Clone)]
pub struct InboxFolders {
    /// The folder that is watched.
    pub inbox: PathBuf,
    /// The folder for the results and the journal; `None` if results are written beside their recordings.
    pub results: Option<PathBuf>,
}

/// Reads each recording of an inbox once.
pub struct InboxProcessor {
    folders: InboxFolders,
    /// Time without a change after which a recording is considered complete.
    quiet_time: Duration,
    arrivals: Arrivals,
    /// The journal; `None` while the folder does not exist.
    journal: Option<Journal>,
    /// Device and inode number of the folder in the last listing; `None` before the first listing, `Some(None)` if the
    /// system states no numbers.
    folder: Option<Option<(u64, u64)>>,
    setups: Vec<(PathBuf, Stamp)>,
    without_setup: BTreeSet<PathBuf>,
    /// The last message about each file that is tried repeatedly.
    said: BTreeMap<PathBuf, String>,
}

/// What to do with a recording.
enum RecordingPlan {
    /// Do nothing, because the recording is done.
    Leave,
    /// Write the entry to the journal, and print the message.
    SetDone(JournalEntry, &'static str),
    /// Read the recording, after the entry was written to the journal.
    Read {
        entry: JournalEntry,
        /// The entry of a shorter copy of the recording, whose results are replaced; `None` if there is none.
        shorter: Option<JournalEntry>,
    },
}

impl InboxProcessor {
    /// Creates a processor for the folders, which must exist. A recording that has not changed for the time
    /// `quiet_time` is considered complete.
    ///
    /// # Errors
    ///
    /// [`JournalError`] if the journal cannot be read, or if another run uses it.
    pub fn open(folders: InboxFolders, quiet_time: Duration) -> Result<Self, JournalError> {
        let mut processor = Self {
            folders,
            quiet_time,
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

    /// Whether an attempt was made to read every recording in the folder.
    pub fn is_idle(&self) -> bool {
        self.journal.is_some() && self.arrivals.are_tried()
    }

    /// Processes a listing of the folder made at the time `now`, since the start of the inbox, and reads the
    /// recordings whose time to be read has come. `say` receives messages of one line each.
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
            // Another card was mounted here, or the card was removed. Each card has its own journal.
            self.forget_folder();
        }
        if self.journal.is_none()
            && let Err(error) = self.open_journal()
        {
            let inbox = self.folders.inbox.clone();
            return self.say_once(&inbox, error.to_string(), say);
        }
        for gone in self.arrivals.note(now, self.quiet_time, &listing.recordings) {
            say(format!(
                "{}: the recording was removed before it was read; it will be read when it is back",
                gone.display()
            ));
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

    /// Handles a folder that cannot be listed, because the card or the network drive is gone.
    fn lose_folder(&mut self, error: &io::Error, say: &mut dyn FnMut(String)) {
        let inbox = self.folders.inbox.clone();
        self.say_once(
            &inbox,
            format!("the folder cannot be listed ({error}); this is tried again until it succeeds"),
            say,
        );
        self.forget_folder();
    }

    fn forget_folder(&mut self) {
        self.journal = None;
        self.arrivals = Arrivals::default();
        self.setups.clear();
        self.without_setup.clear();
    }

    /// Reads one recording unless the journal shows that it is done.
    fn handle(
        &mut self,
        path: &Path,
        now: Duration,
        reader: &mut dyn RecordingReader,
        say: &mut dyn FnMut(String),
    ) {
        let identity = match Identity::of(path) {
            Ok(identity) => identity,
            Err(error) => {
                let reason = format!("the recording cannot be read now ({error}); another attempt follows");
                return self.try_later(path, now, reason, say);
            }
        };
        let (entry, shorter) = match self.plan(path, identity) {
            RecordingPlan::Leave => return self.set_done(path),
            RecordingPlan::SetDone(entry, said) => {
                say(format!("{}: {said}", path.display()));
                if entry.state == State::Read {
                    // The run that wrote the results was killed, perhaps while it removed its temporary folder.
                    recover_results(&self.results_of(path, entry.folder));
                }
                return self.write(path, now, entry, say);
            }
            RecordingPlan::Read { entry, shorter } => (entry, shorter),
        };
        let results = self.results_of(path, entry.folder);
        if let Some(Err(error)) =
            self.journal.as_mut().map(|journal| journal.write(path, shorter.as_ref(), entry.clone()))
        {
            let reason = format!(
                "not read: the list of the recordings already read from the inbox cannot be written: {error}; free some disk space, or allow writing there"
            );
            return self.try_later(path, now, reason, say);
        }
        let setups: Vec<PathBuf> = self.setups.iter().map(|(path, _)| path.clone()).collect();
        let mut outcome = reader.read(path, &results, &setups, shorter.is_some());
        if !matches!(outcome, ReadingOutcome::Read(_)) && !path.exists() {
            outcome =
                ReadingOutcome::Interrupted("the recording was removed while it was being read".to_owned());
        }
        self.record(outcome, path, entry, now, say);
    }

    /// Records the outcome of reading the recording `path` in the journal.
    fn record(
        &mut self,
        outcome: ReadingOutcome,
        path: &Path,
        entry: JournalEntry,
        now: Duration,
        say: &mut dyn FnMut(String),
    ) {
        match outcome {
            ReadingOutcome::Read(said) => {
                let results = self.results_of(path, entry.folder);
                say(format!("{}: {said}; results in {}", path.display(), results.display()));
                self.write(path, now, JournalEntry { state: State::Read, ..entry }, say);
            }
            ReadingOutcome::Unreadable(reason) => {
                say(format!("{}: not read: {reason}", path.display()));
                self.write(path, now, JournalEntry { state: State::Unreadable(reason), ..entry }, say);
            }
            ReadingOutcome::NoSetup(reason) => {
                self.reset_attempts(path, entry);
                self.arrivals.set_tried(path, None);
                self.without_setup.insert(path.to_owned());
                self.say_once(path, format!("not read: {reason}"), say);
            }
            ReadingOutcome::Interrupted(reason) => {
                self.reset_attempts(path, entry);
                self.try_later(path, now, format!("not read: {reason}; another attempt follows"), say);
            }
            ReadingOutcome::Crashed(reason) => {
                self.try_later(path, now, format!("not read: {reason}; another attempt follows"), say);
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
                State::Begun(1..) if has_results(known.folder) => RecordingPlan::SetDone(
                    with(State::Read),
                    "the recording was already read before the program was restarted; it is not read again",
                ),
                State::Begun(MAX_ATTEMPTS..) => {
                    let reason = format!(
                        "the program ended unexpectedly {MAX_ATTEMPTS} times while reading the recording"
                    );
                    RecordingPlan::SetDone(
                        with(State::Unreadable(reason)),
                        "not read: the program ended unexpectedly at each attempt; the recording is not tried again",
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
            return RecordingPlan::SetDone(entry, "the recording has results already and is not read again");
        }
        let free = (1..).find(|number| !has_results(*number)).unwrap_or(u32::MAX);
        RecordingPlan::Read { entry: entry(free), shorter: None }
    }

    /// Path of the result folder of the recording `path`; `number` is the number of the folder in the journal,
    /// from 1.
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

    /// Writes an entry to the journal. The recording is then done; if the entry cannot be written, another attempt
    /// is made later.
    fn write(&mut self, path: &Path, now: Duration, entry: JournalEntry, say: &mut dyn FnMut(String)) {
        match self.journal.as_mut().map(|journal| journal.write(path, None, entry)) {
            Some(Err(error)) => self.try_later(
                path,
                now,
                format!("the list of the recordings already read from the inbox cannot be written: {error}; writing it will be tried again"),
                say,
            ),
            Some(Ok(())) | None => self.set_done(path),
        }
    }

    /// Sets the number of unfinished attempts in the journal to 0, because the program did not end unexpectedly.
    fn reset_attempts(&mut self, path: &Path, entry: JournalEntry) {
        let entry = JournalEntry { state: State::Begun(0), ..entry };
        // If this fails, the attempt still counts after a restart, which does no other harm.
        let _counts = self.journal.as_mut().map(|journal| journal.write(path, None, entry));
    }

    fn set_done(&mut self, path: &Path) {
        self.arrivals.set_tried(path, None);
        self.said.remove(path);
    }

    fn try_later(&mut self, path: &Path, now: Duration, reason: String, say: &mut dyn FnMut(String)) {
        self.arrivals.set_tried(path, Some(now + RETRY));
        self.say_once(path, reason, say);
    }

    /// Prints a message about a file, unless the last message about it was the same.
    fn say_once(&mut self, path: &Path, what: String, say: &mut dyn FnMut(String)) {
        let line = format!("{}: {what}", path.display());
        if self.said.get(path) != Some(&line) {
            say(line.clone());
            self.said.insert(path.to_owned(), line);
        }
    }
}

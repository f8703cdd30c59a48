//! `inbox`: watches a folder and reads each recording that appears there.

use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError};
use std::time::{Duration, Instant};

use clap::Args;
use notify::{RecommendedWatcher, RecursiveMode, Watcher as _};
use pairspeed::files::{Existing, WriteRules, file_name};
use pairspeed::footage::{Clip, FootageError};
use pairspeed::known_camera::fits;
use pairspeed::output::folder::{OutputError, ResultFolder};
use pairspeed::readings::{PrepareError, Silent};
use pairspeed::setup::{LoadedSetup, usual_setup};
use pairspeed::{ReadError, ReadOptions};

use super::Failure;
use super::flight::flight_with_commands;
use crate::inbox::{InboxFolders, InboxProcessor, Listing, ReadingOutcome, RecordingReader};
use crate::quoting::quoted;
use crate::wording;

/// Maximum time between two scans of the folder. Events of the file system only make the next scan earlier: network
/// drives send none, and events end when a card is taken out. Set by judgement.
const MAX_SCAN_INTERVAL: Duration = Duration::from_secs(2);
/// Minimum time between two scans, so that many events do not cause as many scans. Set by judgement.
const MIN_SCAN_INTERVAL: Duration = Duration::from_millis(200);

/// Watch a folder or a mounted card, and read each recording that appears there with the setup that fits
///
/// A recording is read once, when it has stopped growing; its results are written beside it. A hidden journal in the
/// folder records what was done, so that after a restart nothing is missed or read twice. A recording that cannot be
/// read is reported with the reason, and does not stop the inbox. Press Ctrl-C to end it.
#[derive(Debug, Args)]
pub struct InboxArguments {
    /// The folder to watch, with the folders in it
    #[arg(value_name = "DIR")]
    folder: PathBuf,
    /// Setup files to choose from, besides those in the folder
    #[arg(long, value_name = "FILE")]
    setup: Vec<PathBuf>,
    /// Folder for the results and the journal, for example if the card is write-protected. Default: beside each
    /// recording
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Seconds without a change after which a recording counts as complete
    #[arg(long, value_name = "SECONDS", default_value_t = 10, value_parser = clap::value_parser!(u16).range(1..=3600))]
    wait: u16,
    /// End after one attempt to read every recording in the folder
    #[arg(long)]
    once: bool,
}

pub fn run(arguments: &InboxArguments) -> Result<(), Failure> {
    let folder = &arguments.folder;
    if !folder.is_dir() {
        return Err(Failure::Misuse(format!("{}: there is no such folder", folder.display())));
    }
    let mut reader = SetupReader { given: load_all(&arguments.setup)? };
    if let Some(out) = &arguments.out {
        let failure = |error| Failure::Misuse(format!("cannot create the folder {}: {error}", out.display()));
        std::fs::create_dir_all(out).map_err(failure)?;
    }
    let folders = InboxFolders { inbox: folder.clone(), results: arguments.out.clone() };
    let settle = Duration::from_secs(arguments.wait.into());
    let mut processor = InboxProcessor::open(folders, settle).map_err(Failure::misuse)?;
    let mut watch = Watch::of(folder);
    let start = Instant::now();
    loop {
        processor.step(start.elapsed(), Listing::of(folder), &mut reader, &mut |line| print_line!("{line}"));
        if arguments.once && processor.is_idle() {
            return Ok(());
        }
        if watch.wait().is_break() {
            watch = Watch::of(folder);
        }
    }
}

/// Loads the setups that were given.
fn load_all(files: &[PathBuf]) -> Result<Vec<LoadedSetup>, Failure> {
    files.iter().map(|file| LoadedSetup::load(file).map_err(Failure::advised)).collect()
}

/// Events of the file system on a folder. Without them, the folder is still scanned at regular intervals.
struct Watch {
    events: Receiver<notify::Result<notify::Event>>,
    /// The watcher, which sends events until it is dropped; `None` if the system has no events.
    watcher: Option<RecommendedWatcher>,
}

impl Watch {
    fn of(folder: &Path) -> Self {
        let (sender, events) = mpsc::channel();
        let watcher = notify::recommended_watcher(sender).ok().and_then(|mut watcher| {
            watcher.watch(folder, RecursiveMode::Recursive).is_ok().then_some(watcher)
        });
        Self { events, watcher }
    }

    /// Waits until it is time for the next scan. Breaks if the watch has ended or failed.
    fn wait(&self) -> ControlFlow<()> {
        std::thread::sleep(MIN_SCAN_INTERVAL);
        if self.watcher.is_none() {
            std::thread::sleep(MAX_SCAN_INTERVAL);
            return ControlFlow::Break(());
        }
        let mut next = self.events.recv_timeout(MAX_SCAN_INTERVAL);
        loop {
            match next {
                Ok(Ok(_)) => {}
                Ok(Err(_)) | Err(RecvTimeoutError::Disconnected) => return ControlFlow::Break(()),
                Err(RecvTimeoutError::Timeout) => return ControlFlow::Continue(()),
            }
            next = self.events.recv_timeout(Duration::ZERO);
        }
    }
}

/// Reads recordings with the first setup that fits.
struct SetupReader {
    /// The setups given on the command line.
    given: Vec<LoadedSetup>,
}

impl RecordingReader for SetupReader {
    fn read(
        &mut self,
        recording: &Path,
        results: &Path,
        setups: &[PathBuf],
        replace: bool,
    ) -> ReadingOutcome {
        let setup = match self.setup_for(recording, setups) {
            Ok(Some(setup)) => setup,
            Ok(None) => return ReadingOutcome::NoSetup(no_setup(recording)),
            Err(error) => return of_read_error(&error.into()),
        };
        let existing = if replace { Existing::Replace } else { Existing::Keep };
        let rules = WriteRules::from(existing).with_inputs([recording]).with_inputs(setup.input_files());
        let folder = match ResultFolder::prepare(results, rules) {
            Ok(folder) => folder,
            Err(error) => return ReadingOutcome::Interrupted(error.to_string()),
        };
        let clips = [recording.to_owned()];
        let flight = match flight_with_commands(&clips, &setup, &ReadOptions::default(), &mut Silent) {
            Ok(flight) => flight,
            Err(error) => return of_read_error(&error),
        };
        match folder.write(&flight) {
            Ok(_) => ReadingOutcome::Read(format!(
                "read with {}, {}",
                file_name(&setup.path),
                steps(flight.steps.len())
            )),
            Err(error @ OutputError::Render { .. }) => ReadingOutcome::Unreadable(error.to_string()),
            Err(error) => ReadingOutcome::Interrupted(error.to_string()),
        }
    }
}

impl SetupReader {
    /// The setup that is named after the recording; otherwise the first that fits, of the given ones and then of those
    /// in the inbox.
    fn setup_for(&self, recording: &Path, setups: &[PathBuf]) -> Result<Option<LoadedSetup>, FootageError> {
        let mut clip = Clip::open(recording)?;
        let own = usual_setup(recording);
        let mut files: Vec<&PathBuf> = setups.iter().collect();
        files.sort_by_key(|file| **file != own);
        let loaded = files.into_iter().filter_map(|file| LoadedSetup::load(file).ok());
        Ok(self.given.iter().cloned().chain(loaded).find(|setup| fits(&mut clip, setup)))
    }
}

fn no_setup(recording: &Path) -> String {
    format!(
        "no setup fits; find its readouts with `pairspeed read {}`, or put a setup file into its folder",
        quoted(recording)
    )
}

fn steps(count: usize) -> String {
    match count {
        0 => "no airspeed found (the report says why)".to_owned(),
        1 => "1 throttle step".to_owned(),
        _ => format!("{count} throttle steps"),
    }
}

/// The outcome for a recording that cannot be read: errors of the disk or card may be temporary.
fn of_read_error(error: &ReadError) -> ReadingOutcome {
    let said = wording::message(error);
    match error {
        ReadError::Footage(footage) | ReadError::Prepare(PrepareError::Footage(footage)) => match footage {
            FootageError::ReadFailed { .. }
            | FootageError::CannotOpen { .. }
            | FootageError::NoSuchFile { .. } => ReadingOutcome::Interrupted(said),
            _ => ReadingOutcome::Unreadable(said),
        },
        _ => ReadingOutcome::Unreadable(said),
    }
}

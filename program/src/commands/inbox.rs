//! `inbox`: watches a folder and reads each recording that appears there.

use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError};
use std::time::{Duration, Instant};

use clap::Args;
use notify::{RecommendedWatcher, RecursiveMode, Watcher as _};
use pairspeed::confinement::Confinement;
use pairspeed::setup::LoadedSetup;

use super::Failure;
use super::reading_process::ProcessReader;
use crate::inbox::{InboxFolders, InboxProcessor, Listing};

/// Maximum time that is waited for an event of the file system, after [`MIN_SCAN_INTERVAL`], before the folder is
/// scanned again. Events only make the next scan earlier: network drives send none, and events end when a card is
/// taken out. Set by judgement.
const MAX_SCAN_INTERVAL: Duration = Duration::from_secs(2);
/// Minimum time between two scans of the folder, so that many events in a short time cause only a few scans. Set by
/// judgement.
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
        return Err(Failure::Misuse(format!(
            "{}: there is no such folder; create it, or name the folder of your recordings",
            folder.display()
        )));
    }
    check_setups(&arguments.setup)?;
    if let Err(error) = Confinement::check_available() {
        say_line!("pairspeed: {error}");
    }
    let mut reader = ProcessReader { given: arguments.setup.clone() };
    if let Some(out) = &arguments.out {
        let failure = |error| {
            Failure::Misuse(format!(
                "cannot create the folder {}: {error}; name another folder with --out",
                out.display()
            ))
        };
        std::fs::create_dir_all(out).map_err(failure)?;
    }
    let folders = InboxFolders { inbox: folder.clone(), results: arguments.out.clone() };
    let quiet_time = Duration::from_secs(arguments.wait.into());
    let mut processor = InboxProcessor::open(folders, quiet_time).map_err(Failure::misuse)?;
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

/// Checks that the setups that were given can be loaded.
fn check_setups(files: &[PathBuf]) -> Result<(), Failure> {
    files.iter().try_for_each(|file| LoadedSetup::load(file).map(drop).map_err(Failure::advised))
}

/// Receives the events of the file system for a folder. Without events, the folder is still scanned at regular
/// intervals.
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

    /// Waits until it is time for the next scan. Returns `Break` if the watch of the folder has ended or failed.
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

//! Tests of the inbox with a clock, a reader and a folder of their own.
#![allow(clippy::unwrap_used)]

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use pairspeed::output::folder::{holds_results, usual_folder};
use tempfile::TempDir;

use super::*;

/// Time without a change after which a recording counts as complete.
const SETTLE: Duration = Duration::from_secs(10);
/// Bytes of a recording: more than are compared at either end.
const LENGTH: usize = 200_000;

/// A reader that writes an empty result, or fails in the way that the name of the recording states.
#[derive(Default)]
struct FakeReader {
    /// Number of times that each recording was read.
    read: BTreeMap<PathBuf, usize>,
    /// Whether the program ends at the next reading, before the outcome is known.
    dies: bool,
}

impl RecordingReader for FakeReader {
    fn read(
        &mut self,
        recording: &Path,
        results: &Path,
        setups: &[PathBuf],
        replace: bool,
    ) -> ReadingOutcome {
        *self.read.entry(recording.to_owned()).or_default() += 1;
        if self.dies {
            std::panic::resume_unwind(Box::new("killed"));
        }
        let name = recording.file_name().unwrap().to_string_lossy().into_owned();
        match &name {
            name if name.starts_with("broken") => return ReadingOutcome::Unreadable("it is broken".into()),
            name if name.starts_with("shy") && setups.is_empty() => {
                return ReadingOutcome::NoSetup("no setup".into());
            }
            name if name.starts_with("flaky") && self.read[recording] < 3 => {
                return ReadingOutcome::Interrupted("the disk is full".into());
            }
            name if name.starts_with("crashing") => return ReadingOutcome::Crashed("it crashed".into()),
            name if name.starts_with("gone") => {
                fs::remove_file(recording).unwrap();
                return ReadingOutcome::Unreadable("input/output error".into());
            }
            _ => {}
        }
        assert!(replace || !holds_results(results), "{name}: results are not replaced");
        fs::create_dir_all(results).unwrap();
        fs::write(results.join("summary.json"), fs::metadata(recording).unwrap().len().to_string()).unwrap();
        ReadingOutcome::Read("read".into())
    }
}

/// An inbox in a temporary folder, with its clock and messages.
struct Stage {
    folder: TempDir,
    processor: Option<InboxProcessor>,
    reader: FakeReader,
    now: Duration,
    said: Vec<String>,
}

impl Stage {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let reader = FakeReader::default();
        let mut stage = Self { folder, processor: None, reader, now: Duration::ZERO, said: Vec::new() };
        stage.restart();
        stage
    }

    fn folders(&self) -> InboxFolders {
        InboxFolders { inbox: self.folder.path().to_owned(), results: None }
    }

    /// Ends the inbox and starts it again.
    fn restart(&mut self) {
        self.processor = None;
        self.now = Duration::ZERO;
        self.processor = Some(InboxProcessor::open(self.folders(), SETTLE).unwrap());
    }

    fn write(&self, name: &str, seed: u8, length: usize) -> PathBuf {
        let path = self.folder.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        let bytes: Vec<u8> = (0..length).map(|at| (at * 7 + at / 256) as u8 ^ seed).collect();
        fs::write(&path, bytes).unwrap();
        path
    }

    /// Lists the folder now, and again when its files count as complete.
    fn scan(&mut self) {
        for _ in 0..2 {
            let listing = Listing::of(self.folder.path());
            let (processor, said) = (self.processor.as_mut().unwrap(), &mut self.said);
            processor.step(self.now, listing, &mut self.reader, &mut |line| said.push(line));
            self.now += SETTLE;
        }
    }

    fn times_read(&self, path: &Path) -> usize {
        self.reader.read.get(path).copied().unwrap_or(0)
    }

    fn said_of(&self, path: &Path) -> Vec<&str> {
        let start = format!("{}: ", path.display());
        self.said.iter().filter_map(|line| line.strip_prefix(&start)).collect()
    }
}

#[test]
fn a_recording_is_read_once_it_has_stopped_growing() {
    let mut stage = Stage::new();
    let scan_at = |stage: &mut Stage, seconds: u64| {
        stage.now = Duration::from_secs(seconds);
        let listing = Listing::of(stage.folder.path());
        stage.processor.as_mut().unwrap().step(stage.now, listing, &mut stage.reader, &mut |_| {});
    };
    let path = stage.write("DCIM/a.avi", 1, LENGTH / 2);
    scan_at(&mut stage, 0);
    scan_at(&mut stage, 9);
    stage.write("DCIM/a.avi", 1, LENGTH);
    scan_at(&mut stage, 10);
    scan_at(&mut stage, 19);
    assert_eq!(stage.times_read(&path), 0, "it grew at 10 s");
    assert!(!stage.processor.as_ref().unwrap().is_idle());
    scan_at(&mut stage, 20);
    scan_at(&mut stage, 40);
    assert_eq!(stage.times_read(&path), 1);
    assert!(stage.processor.as_ref().unwrap().is_idle() && holds_results(&usual_folder(&[path])));
}

#[test]
fn after_a_restart_nothing_is_repeated_or_missed() {
    let mut stage = Stage::new();
    let (good, broken) = (stage.write("a.avi", 1, LENGTH), stage.write("broken.mp4", 2, LENGTH));
    stage.scan();
    let late = stage.write("late.avi", 3, 100);
    for _ in 0..3 {
        stage.restart();
        stage.scan();
    }
    assert_eq!([&good, &broken, &late].map(|path| stage.times_read(path)), [1, 1, 1]);
    assert_eq!(stage.said_of(&broken), ["not read: it is broken"]);
    stage.write("broken.mp4", 9, LENGTH);
    stage.scan();
    assert_eq!(stage.times_read(&broken), 2, "another recording has the name now");
}

#[test]
fn after_a_kill_a_recording_is_read_again_unless_its_results_were_complete() {
    let mut stage = Stage::new();
    let path = stage.write("a.avi", 1, LENGTH);
    let killed = |stage: &mut Stage| {
        stage.reader.dies = true;
        let outcome = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| stage.scan()));
        stage.reader.dies = false;
        assert!(outcome.is_err());
        stage.restart();
    };
    killed(&mut stage);
    let results = usual_folder(std::slice::from_ref(&path));
    fs::create_dir(&results).unwrap();
    fs::write(results.join("summary.json"), "").unwrap();
    let unfinished = results.join(".pairspeed-new.part");
    fs::create_dir(&unfinished).unwrap();
    fs::write(unfinished.join("summary.json"), "").unwrap();
    stage.scan();
    assert_eq!(stage.times_read(&path), 1, "its results were complete");
    assert!(!unfinished.exists(), "the temporary folder of the killed run is removed");
    let deadly = stage.write("deadly.avi", 2, LENGTH);
    for _ in 0..3 {
        killed(&mut stage);
    }
    stage.scan();
    assert_eq!(stage.times_read(&deadly), 3);
    assert_eq!(
        stage.said_of(&deadly),
        ["not read: the program ended unexpectedly at each attempt; the recording is not tried again"]
    );
    let next = stage.write("next.avi", 3, LENGTH);
    killed(&mut stage);
    stage.scan();
    assert_eq!(stage.times_read(&next), 2);
}

#[test]
fn a_recording_at_which_its_process_crashes_is_tried_three_times_and_others_are_read() {
    let mut stage = Stage::new();
    let (crashing, good) = (stage.write("crashing.avi", 1, LENGTH), stage.write("good.avi", 2, LENGTH));
    for _ in 0..30 {
        stage.scan();
    }
    assert_eq!((stage.times_read(&crashing), stage.times_read(&good)), (3, 1));
    let said = stage.said_of(&crashing);
    assert_eq!(
        said,
        [
            "not read: it crashed; another attempt follows",
            "not read: the program ended unexpectedly at each attempt; the recording is not tried again"
        ]
    );
}

#[test]
fn a_half_copied_recording_is_read_again_when_it_is_complete() {
    let mut stage = Stage::new();
    let path = stage.write("a.avi", 1, LENGTH / 2);
    stage.scan();
    stage.write("a.avi", 1, LENGTH);
    stage.scan();
    let results = usual_folder(std::slice::from_ref(&path));
    assert_eq!(fs::read_to_string(results.join("summary.json")).unwrap(), LENGTH.to_string());
    assert_eq!(stage.times_read(&path), 2);
}

#[test]
fn a_recording_with_a_reused_name_gets_its_own_results() {
    let mut stage = Stage::new();
    let path = stage.write("a.avi", 1, LENGTH);
    stage.scan();
    stage.write("a.avi", 2, LENGTH);
    stage.scan();
    stage.write("a.avi", 1, LENGTH);
    stage.scan();
    assert_eq!(stage.times_read(&path), 2, "the first recording is known");
    assert!(holds_results(&stage.folder.path().join("a-result-2")));
}

#[test]
fn existing_results_are_kept() {
    let mut stage = Stage::new();
    let path = stage.write("a.avi", 1, LENGTH);
    let results = usual_folder(std::slice::from_ref(&path));
    fs::create_dir(&results).unwrap();
    fs::write(results.join("legs.csv"), "mine").unwrap();
    stage.scan();
    assert_eq!((stage.times_read(&path), fs::read_dir(&results).unwrap().count()), (0, 1));
    assert_eq!(stage.said_of(&path), ["the recording has results already and is not read again"]);
}

#[test]
fn a_temporary_failure_is_retried_and_reported_once() {
    let mut stage = Stage::new();
    let (flaky, shy) = (stage.write("flaky.avi", 1, LENGTH), stage.write("shy.avi", 2, LENGTH));
    for _ in 0..12 {
        stage.scan();
    }
    assert_eq!((stage.times_read(&flaky), stage.times_read(&shy)), (3, 1));
    let said = stage.said_of(&flaky);
    assert_eq!(said.len(), 2, "{said:?}");
    assert!(
        said[0].contains("the disk is full; another attempt follows")
            && said[1].starts_with("read; results in")
    );
    assert_eq!(stage.said_of(&shy), ["not read: no setup"]);
    stage.write("nose.setup.toml", 0, 10);
    stage.scan();
    assert_eq!(stage.times_read(&shy), 2, "there is a setup now");
}

#[test]
fn a_removed_recording_is_read_when_it_is_back() {
    let mut stage = Stage::new();
    let gone = stage.write("gone.avi", 1, LENGTH);
    stage.scan();
    assert_eq!(
        stage.said_of(&gone),
        ["not read: the recording was removed while it was being read; another attempt follows"]
    );
    let early = stage.write("a.avi", 2, LENGTH);
    let listing = Listing::of(stage.folder.path());
    stage.processor.as_mut().unwrap().step(stage.now, listing, &mut stage.reader, &mut |_| {});
    fs::remove_file(&early).unwrap();
    stage.scan();
    assert_eq!(
        stage.said_of(&early),
        ["the recording was removed before it was read; it will be read when it is back"]
    );
    stage.write("a.avi", 2, LENGTH);
    stage.scan();
    assert_eq!(stage.times_read(&early), 1);
}

#[test]
fn two_cards_have_separate_journals() {
    let mut stage = Stage::new();
    let path = stage.write("a.avi", 1, LENGTH);
    stage.scan();
    let (inside, away) = (stage.folder.path().to_owned(), tempfile::tempdir().unwrap());
    let (first, second) = (away.path().join("first"), away.path().join("second"));
    fs::rename(&inside, &first).unwrap();
    stage.scan();
    stage.scan();
    let said = stage.said_of(&inside);
    assert!(said.len() == 1 && said[0].contains("this is tried again until it succeeds"), "{said:?}");
    fs::create_dir(&inside).unwrap();
    stage.write("a.avi", 5, LENGTH);
    stage.scan();
    assert_eq!(stage.times_read(&path), 2, "the other card's recording");
    fs::rename(&inside, &second).unwrap();
    fs::rename(&first, &inside).unwrap();
    stage.scan();
    stage.scan();
    assert_eq!(stage.times_read(&path), 2, "the first card is known");
}

#[test]
fn one_inbox_at_a_time_works_on_a_folder_and_a_foreign_journal_stays() {
    let stage = Stage::new();
    let busy = InboxProcessor::open(stage.folders(), SETTLE).map(drop).unwrap_err().to_string();
    assert!(busy.contains("another run of this program"), "{busy}");
    let other = tempfile::tempdir().unwrap();
    let journal = other.path().join(".pairspeed-inbox.json");
    for text in ["not a journal", "{\"format\": 99, \"recordings\": {}}", "[]"] {
        fs::write(&journal, text).unwrap();
        let folders = InboxFolders { inbox: other.path().to_owned(), results: None };
        let foreign = InboxProcessor::open(folders, SETTLE).map(drop).unwrap_err().to_string();
        assert!(foreign.contains("move the file away"), "{foreign}");
        assert_eq!(fs::read_to_string(&journal).unwrap(), text);
    }
}

#[test]
fn only_recordings_are_listed_and_results_and_hidden_folders_are_left_out() {
    let stage = Stage::new();
    for name in
        ["a.avi", "b.MP4", "c.txt", ".d.avi", ".trash/e.avi", "x-result/f.avi", "sub/g.ts", "n.setup.toml"]
    {
        stage.write(name, 0, 10);
    }
    let listing = Listing::of(stage.folder.path()).unwrap();
    let names = |files: &[(PathBuf, listing::Stamp)]| -> Vec<String> {
        files
            .iter()
            .map(|(path, _)| path.strip_prefix(stage.folder.path()).unwrap().display().to_string())
            .collect()
    };
    assert_eq!(names(&listing.recordings), ["a.avi", "b.MP4", "sub/g.ts"]);
    assert_eq!(names(&listing.setups), ["n.setup.toml"]);
}

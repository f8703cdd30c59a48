//! Tests `inbox` with the program itself: each recording that arrives in a folder is read once, even if the program is
//! killed.
#![allow(clippy::unwrap_used)]

#[cfg(target_os = "linux")]
mod running;

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

/// Seconds of the demonstration clip in each small recording.
const LENGTH_S: usize = 5;
/// Number of different small recordings; the demonstration clip has 152 seconds.
const DIFFERENT: usize = 28;
/// Time after which a test that waits for messages fails.
const DEADLINE: Duration = Duration::from_secs(300);

fn demo(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../demo-clips").join(name)
}

fn ffmpeg(arguments: &[&str], clip: &Path) {
    let mut command = Command::new("ffmpeg");
    command.args(["-nostdin", "-v", "error", "-y"]).args(arguments).arg(clip);
    assert!(command.status().unwrap().success(), "the ffmpeg package is needed for this test");
}

/// A small recording: a part of the demonstration clip.
fn small_recording(number: usize, path: &Path) {
    let start = (12 + LENGTH_S * (number % DIFFERENT)).to_string();
    let length = LENGTH_S.to_string();
    let whole = demo("salt-flat.avi");
    ffmpeg(&["-ss", &start, "-t", &length, "-i", whole.to_str().unwrap(), "-c", "copy"], path);
}

/// Starts the inbox; its messages are appended to the file `log`.
fn start(folder: &Path, log: &Path, once: bool) -> Child {
    let log = fs::OpenOptions::new().create(true).append(true).open(log).unwrap();
    let mut command = Command::new(env!("CARGO_BIN_EXE_pairspeed"));
    command.arg("inbox").arg(folder).args(["--wait", "1"]).args(once.then_some("--once"));
    command.stdin(Stdio::null()).stdout(log).stderr(Stdio::inherit()).spawn().unwrap()
}

/// The messages about each recording, by its path.
fn said(log: &Path) -> BTreeMap<PathBuf, Vec<String>> {
    let mut said: BTreeMap<PathBuf, Vec<String>> = BTreeMap::new();
    for line in fs::read_to_string(log).unwrap().lines() {
        let (path, what) = line.split_once(": ").unwrap();
        said.entry(path.into()).or_default().push(what.to_owned());
    }
    said
}

/// Number of messages in a log.
fn number_of_lines(log: &Path) -> usize {
    fs::read_to_string(log).unwrap().lines().count()
}

/// The results beside a recording.
fn results_of(recording: &Path) -> PathBuf {
    pairspeed::output::folder::usual_folder(&[recording.to_owned()])
}

#[test]
fn recordings_in_a_folder_are_read_once_and_unreadable_files_are_named() {
    let folder = tempfile::tempdir().unwrap();
    let (card, log) = (folder.path().join("card"), folder.path().join("log"));
    fs::create_dir_all(card.join("DCIM")).unwrap();
    fs::copy(demo("salt-flat.setup.toml"), card.join("wing.setup.toml")).unwrap();
    let (good, text) = (card.join("DCIM/a.avi"), card.join("b.avi"));
    small_recording(3, &good);
    fs::write(&text, "no recording").unwrap();
    for _ in 0..2 {
        assert!(start(&card, &log, true).wait().unwrap().success());
    }
    let said = said(&log);
    assert_eq!(said.len(), 2, "{said:?}");
    let line = &said[&good];
    assert!(line.len() == 1 && line[0].starts_with("read with wing.setup.toml"), "{line:?}");
    assert!(line[0].ends_with(&format!("results in {}", results_of(&good).display())), "{line:?}");
    assert!(results_of(&good).join("report.html").exists());
    assert!(said[&text].len() == 1 && said[&text][0].contains("not a video"), "{said:?}");
}

/// Whether a child of a process runs without the right to gain privileges, as confined processes do.
#[cfg(target_os = "linux")]
fn has_confined_child(process: u32) -> bool {
    let children = fs::read_to_string(format!("/proc/{process}/task/{process}/children")).unwrap_or_default();
    let status = |child: &str| fs::read_to_string(format!("/proc/{child}/status")).unwrap_or_default();
    children.split_whitespace().any(|child| status(child).contains("NoNewPrivs:\t1"))
}

#[cfg(target_os = "linux")]
#[test]
fn a_recording_is_read_in_a_confined_process_which_ends_with_the_inbox() {
    if !running::can_confine() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let (card, log) = (folder.path().join("card"), folder.path().join("log"));
    fs::create_dir(&card).unwrap();
    fs::copy(demo("salt-flat.setup.toml"), card.join("wing.setup.toml")).unwrap();
    let recording = card.join("a.avi");
    fs::copy(demo("salt-flat.avi"), &recording).unwrap();
    let mut inbox = start(&card, &log, false);
    while !has_confined_child(inbox.id()) {
        assert!(inbox.try_wait().unwrap().is_none() && !results_of(&recording).join("summary.json").exists());
        sleep(Duration::from_millis(5));
    }
    inbox.kill().unwrap();
    inbox.wait().unwrap();
    // The next run finds nobody who writes the results, and reads the recording.
    assert!(start(&card, &log, true).wait().unwrap().success());
    let said = said(&log);
    assert!(said[&recording].len() == 1 && said[&recording][0].starts_with("read with"), "{said:?}");
}

/// A recording of the soak test with its expected outcome.
struct Arriving {
    path: PathBuf,
    bytes: Vec<u8>,
    kind: Kind,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Sound,
    /// Cut off in the middle; the part that is there is read.
    Cut,
    /// With random bytes in the middle.
    Punched,
    Empty,
    Noise,
    /// The first half comes seconds before the rest.
    HalfCopied,
    /// It is removed at once, and comes back later.
    Removed,
    /// Of another size, so that no setup fits.
    OtherCamera,
}

const KINDS: [Kind; 10] = [
    Kind::Sound,
    Kind::Cut,
    Kind::Sound,
    Kind::Punched,
    Kind::Empty,
    Kind::Sound,
    Kind::Noise,
    Kind::HalfCopied,
    Kind::Removed,
    Kind::OtherCamera,
];

impl Arriving {
    fn new(number: usize, card: &Path, sources: &[Vec<u8>], other: &[u8]) -> Self {
        let kind = KINDS[number % KINDS.len()];
        let mut bytes = sources[number % sources.len()].clone();
        // A comment at the end, outside of the video, makes the recordings differ.
        bytes.extend_from_slice(format!("JUNK\x04\0\0\0{number:04}").as_bytes());
        let middle = bytes.len() / 2;
        match kind {
            Kind::Cut => bytes.truncate(bytes.len() * 7 / 10),
            Kind::Punched => {
                bytes[middle..middle + 4000].iter_mut().enumerate().for_each(|(at, byte)| {
                    *byte = (at * at * 31 + at * 7 + number) as u8;
                });
            }
            Kind::Empty => bytes.clear(),
            Kind::Noise => {
                bytes = (0..50_000_usize).map(|at| (at * at * 31 + at * 7 + number) as u8).collect()
            }
            Kind::OtherCamera => bytes = [other, &number.to_le_bytes()].concat(),
            Kind::Sound | Kind::HalfCopied | Kind::Removed => {}
        }
        Self { path: card.join(format!("DCIM/{number:03}.avi")), bytes, kind }
    }

    fn arrive(&self) {
        match self.kind {
            Kind::HalfCopied => fs::write(&self.path, &self.bytes[..self.bytes.len() / 2]).unwrap(),
            Kind::Removed => {
                fs::write(&self.path, &self.bytes).unwrap();
                sleep(Duration::from_millis(300));
                fs::remove_file(&self.path).unwrap();
            }
            _ => fs::write(&self.path, &self.bytes).unwrap(),
        }
    }

    /// Checks the final messages and results, and returns how many messages about it were repeated: a message is
    /// written before the journal, so a kill between the two repeats it after the restart.
    fn check(&self, lines: &[String]) -> usize {
        let read = lines.iter().filter(|line| line.contains("results in")).count();
        let refused = lines.iter().filter(|line| line.starts_with("not read")).count();
        let has_results = results_of(&self.path).join("summary.json").exists();
        let context = format!("{}, {:?}: {lines:?}", self.path.display(), self.kind);
        match self.kind {
            Kind::Sound | Kind::Cut | Kind::Punched | Kind::Removed => {
                // Killed after the results were written, it says so after the restart.
                let known =
                    lines.iter().filter(|line| line.contains("before the program was restarted")).count();
                assert!(read <= 1 && known <= 1 && read + known > 0, "{context}");
                assert!(refused == 0 && has_results, "{context}");
                read + known - 1
            }
            Kind::HalfCopied => {
                assert!((1..=2).contains(&read) && has_results, "{context}");
                0
            }
            Kind::Empty | Kind::Noise => {
                assert!(read == 0 && (1..=2).contains(&refused) && !has_results, "{context}");
                refused - 1
            }
            // Each run checks again whether a setup fits: four that are killed, and two until the end.
            Kind::OtherCamera => {
                assert!(read == 0 && (1..=6).contains(&refused) && !has_results, "{context}");
                assert!(lines.iter().all(|line| line.contains("no setup fits")), "{context}");
                0
            }
        }
    }
}

mod slow {
    use super::*;

    #[test]
    #[ignore = "slow: two hundred recordings are read"]
    fn two_hundred_recordings_with_faults_are_read_once_over_restarts_and_a_kill() {
        let folder = tempfile::tempdir().unwrap();
        let (card, log) = (folder.path().join("card"), folder.path().join("log"));
        fs::create_dir_all(card.join("DCIM")).unwrap();
        fs::copy(demo("salt-flat.setup.toml"), card.join("wing.setup.toml")).unwrap();
        let source = folder.path().join("source.avi");
        let sources: Vec<Vec<u8>> = (0..DIFFERENT)
            .map(|number| {
                small_recording(number, &source);
                fs::read(&source).unwrap()
            })
            .collect();
        ffmpeg(&["-f", "lavfi", "-i", "testsrc2=s=160x90:r=10:d=2", "-c:v", "mjpeg"], &source);
        let other = fs::read(&source).unwrap();
        let all: Vec<Arriving> =
            (0..200).map(|number| Arriving::new(number, &card, &sources, &other)).collect();

        // Fifty arrive in each of four runs, each of which is killed after this many messages about them.
        let messages_until_kill = [1, 6, 2, 3];
        for (part, messages) in all.chunks(50).zip(messages_until_kill) {
            let mut inbox = start(&card, &log, false);
            let messages_before = number_of_lines(&log);
            for arriving in part {
                arriving.arrive();
                sleep(Duration::from_millis(40));
            }
            let (expected, deadline) = (messages_before + messages, Instant::now() + DEADLINE);
            while number_of_lines(&log) < expected {
                assert!(inbox.try_wait().unwrap().is_none() && Instant::now() < deadline);
                sleep(Duration::from_millis(5));
            }
            // SIGKILL: the program cannot prepare for it.
            inbox.kill().unwrap();
            inbox.wait().unwrap();
        }
        for arriving in &all {
            fs::write(&arriving.path, &arriving.bytes).unwrap();
        }
        assert!(start(&card, &log, true).wait().unwrap().success());
        let before = fs::read_to_string(&log).unwrap();
        assert!(start(&card, &log, true).wait().unwrap().success());
        let again = fs::read_to_string(&log).unwrap();
        let repeated: Vec<&str> =
            again[before.len()..].lines().filter(|line| !line.contains("no setup fits")).collect();
        assert_eq!(repeated, [""; 0], "a further run has nothing to do");

        let said = said(&log);
        let repeated: usize = all
            .iter()
            .map(|arriving| arriving.check(said.get(&arriving.path).map_or(&[], Vec::as_slice)))
            .sum();
        assert!(repeated <= messages_until_kill.len(), "each kill repeats at most one message");
        let hidden: Vec<String> = fs::read_dir(card.join("DCIM"))
            .unwrap()
            .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
            .filter(|name| name.starts_with('.'))
            .collect();
        assert_eq!(hidden, [""; 0], "nothing is left of the kill");
    }
}

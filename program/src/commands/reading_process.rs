//! The process in which `inbox` reads one recording.
//!
//! This process is confined to the files of one recording. `inbox` itself is not confined, because it needs other
//! recordings and other cards later. A fault in a decoder ends only this process.

use std::io;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use clap::Args;
use pairspeed::confinement::Confinement;
use pairspeed::files::{Existing, WriteRules, file_name};
use pairspeed::footage::{Clip, FootageError};
use pairspeed::known_camera::fits;
use pairspeed::output::folder::{OutputError, ResultFolder};
use pairspeed::readings::{PrepareError, Silent};
use pairspeed::setup::{LoadedSetup, usual_setup};
use pairspeed::{ReadError, ReadOptions};

use super::Failure;
use super::flight::flight_with_commands;
use crate::inbox::{ReadingOutcome, RecordingReader};
use crate::quoting::quoted;
use crate::wording;

/// Name of the command. `inbox` starts it; pilots do not.
const COMMAND: &str = "read-arrived";

/// Read one recording for `inbox`, which waits for the outcome on standard output
///
/// It ends when its standard input is closed: then `inbox` is gone.
#[derive(Debug, Args)]
pub struct ReadArrivedArguments {
    /// The recording
    recording: PathBuf,
    /// Folder for the results
    #[arg(long, value_name = "DIR")]
    results: PathBuf,
    /// Setup files, of which the first that fits is used
    #[arg(long, value_name = "FILE")]
    setup: Vec<PathBuf>,
    /// Replace results of a shorter copy of the recording
    #[arg(long)]
    replace: bool,
}

/// Reads recordings, each in a process of its own.
pub struct ProcessReader {
    /// The setups given on the command line, which are tried first.
    pub given: Vec<PathBuf>,
}

impl RecordingReader for ProcessReader {
    fn read(
        &mut self,
        recording: &Path,
        results: &Path,
        setups: &[PathBuf],
        replace: bool,
    ) -> ReadingOutcome {
        let own = usual_setup(recording);
        let mut setups: Vec<&PathBuf> = setups.iter().collect();
        setups.sort_by_key(|file| **file != own);
        let run = || -> io::Result<Output> {
            let mut command = Command::new(std::env::current_exe()?);
            command.arg(COMMAND).arg("--results").arg(results);
            self.given.iter().chain(setups).for_each(|setup| _ = command.arg("--setup").arg(setup));
            command.args(replace.then_some("--replace")).arg("--").arg(recording);
            command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::null());
            let mut process = command.spawn()?;
            // The process ends when this is closed.
            let _life_line = process.stdin.take();
            process.wait_with_output()
        };
        match run() {
            Ok(output) => serde_json::from_slice(&output.stdout).unwrap_or_else(|_| {
                ReadingOutcome::Crashed(format!(
                    "the process that reads the recording ended unexpectedly ({})",
                    output.status
                ))
            }),
            Err(error) => ReadingOutcome::Interrupted(format!(
                "cannot start the process that reads the recording: {error}"
            )),
        }
    }
}

pub fn run(arguments: &ReadArrivedArguments) -> Result<(), Failure> {
    let setups: Vec<LoadedSetup> =
        arguments.setup.iter().filter_map(|file| LoadedSetup::load(file).ok()).collect();
    // `inbox` has said if this is not possible.
    let _unconfined = confinement(arguments, &setups).begin();
    std::thread::spawn(end_with_inbox);
    let outcome = read(arguments, setups);
    super::print_json(&serde_json::to_string(&outcome).map_err(Failure::failed)?);
    Ok(())
}

/// The files that the process may access while it reads the recording; all others are blocked.
fn confinement(arguments: &ReadArrivedArguments, setups: &[LoadedSetup]) -> Confinement {
    let ReadArrivedArguments { recording, results, .. } = arguments;
    let setups = setups.iter().flat_map(LoadedSetup::input_files);
    Confinement::default().reading([recording]).reading(setups).writing(results)
}

/// Waits for the end of standard input, and ends the process.
fn end_with_inbox() {
    // An error is an end as well.
    let _end = io::copy(&mut io::stdin().lock(), &mut io::sink());
    std::process::exit(1);
}

fn read(arguments: &ReadArrivedArguments, setups: Vec<LoadedSetup>) -> ReadingOutcome {
    let ReadArrivedArguments { recording, results, replace, .. } = arguments;
    let setup = match fitting(recording, setups) {
        Ok(Some(setup)) => setup,
        Ok(None) => return ReadingOutcome::NoSetup(no_setup(recording)),
        Err(error) => return outcome_of(&error.into()),
    };
    let existing = if *replace { Existing::Replace } else { Existing::Keep };
    let rules = WriteRules::from(existing).with_inputs([recording]).with_inputs(setup.input_files());
    let folder = match ResultFolder::prepare(results, rules) {
        Ok(folder) => folder,
        Err(error) => return ReadingOutcome::Interrupted(error.to_string()),
    };
    let clips = [recording.clone()];
    let flight = match flight_with_commands(&clips, &setup, &ReadOptions::default(), &mut Silent) {
        Ok(flight) => flight,
        Err(error) => return outcome_of(&error),
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

/// The first of `setups` that fits a recording; `None` if none fits.
fn fitting(recording: &Path, setups: Vec<LoadedSetup>) -> Result<Option<LoadedSetup>, FootageError> {
    let mut clip = Clip::open(recording)?;
    Ok(setups.into_iter().find(|setup| fits(&mut clip, setup)))
}

fn no_setup(recording: &Path) -> String {
    format!(
        "no setup fits this recording; find its readouts with `pairspeed read {}`, or put a setup file into the folder of the recording",
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
fn outcome_of(error: &ReadError) -> ReadingOutcome {
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

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn a_recording_is_read_without_the_right_to_open_other_files() {
        if let Err(reason) = Confinement::check_available() {
            eprintln!("not tested: {reason}");
            return;
        }
        let folder = tempfile::tempdir().unwrap();
        let recording = folder.path().join("a.avi");
        std::fs::write(&recording, "clip").unwrap();
        let results = folder.path().join("a-results");
        let arguments =
            ReadArrivedArguments { recording, results: results.clone(), setup: Vec::new(), replace: false };
        let outcomes = confinement(&arguments, &[]).run(|| {
            [
                std::fs::read(&arguments.recording).is_ok(),
                std::fs::create_dir(&results).is_ok(),
                std::fs::write(results.join("report.html"), "").is_ok(),
                std::fs::File::open("/etc/passwd").is_err(),
                std::fs::write(std::env::temp_dir().join("pairspeed-not-allowed"), "").is_err(),
            ]
        });
        assert_eq!(outcomes, [true; 5]);
    }
}

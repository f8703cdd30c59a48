//! `read --each`: each clip is a separate flight; several are read at the same time.

use std::collections::{BTreeMap, HashMap};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc;
use std::thread::{self, available_parallelism};

use pairspeed::ReadOptions;
use pairspeed::files::WriteRules;
use pairspeed::output::folder::{ResultFolder, usual_name};
use pairspeed::output::{advice, summary_json, table};
use pairspeed::readings::Silent;
use pairspeed::setup::LoadedSetup;
use serde_json::{Value, json};

use super::Failure;
use super::flight::flight_with_commands;
use crate::wording;

/// Settings that all flights share.
pub struct Common<'a> {
    pub setup: &'a LoadedSetup,
    pub options: &'a ReadOptions,
    pub rules: &'a WriteRules,
    pub json: bool,
}

/// A clip, and the folder for its results.
struct FlightJob<'a> {
    clip: &'a Path,
    folder: PathBuf,
}

/// Reads every clip as a separate flight, `jobs` clips at a time, and prints the results in the given order. A clip
/// that cannot be read does not stop the other clips; the exit code is that of the first failure.
pub fn read_each(
    clips: &[PathBuf],
    out: Option<&Path>,
    jobs: Option<usize>,
    common: &Common<'_>,
) -> Result<(), Failure> {
    let flights = flights(clips, out)?;
    let at_a_time = jobs.unwrap_or_else(|| available_parallelism().map_or(1, usize::from));
    let next = AtomicUsize::new(0);
    let (done, results) = mpsc::channel();
    let mut printed = Vec::with_capacity(flights.len());
    thread::scope(|scope| {
        for _ in 0..at_a_time.clamp(1, flights.len()) {
            let (next, flights, done) = (&next, &flights, done.clone());
            scope.spawn(move || {
                loop {
                    let number = next.fetch_add(1, Ordering::Relaxed);
                    let Some(job) = flights.get(number) else { return };
                    if done.send((number, job.read(common))).is_err() {
                        return;
                    }
                }
            });
        }
        drop(done);
        let mut early = BTreeMap::new();
        for (number, result) in results {
            early.insert(number, result);
            while let Some(result) = early.remove(&printed.len()) {
                if let Some(job) = flights.get(printed.len()).filter(|_| !common.json) {
                    job.print(&result);
                }
                printed.push(result);
            }
        }
    });
    if common.json {
        let list: Vec<Value> =
            flights.iter().zip(&printed).map(|(job, result)| job.in_json(result)).collect();
        super::print_json(&format!("{:#}", Value::from(list)));
    }
    conclusion(printed)
}

/// The clips, each with the folder for its results; returns an error if two clips have the same result folder.
fn flights<'a>(clips: &'a [PathBuf], out: Option<&Path>) -> Result<Vec<FlightJob<'a>>, Failure> {
    let mut taken: HashMap<PathBuf, &Path> = HashMap::new();
    clips
        .iter()
        .map(|clip| {
            let name = usual_name(clip);
            let folder = out.map_or_else(|| clip.with_file_name(&name), |out| out.join(&name));
            if let Some(other) = taken.insert(folder.clone(), clip) {
                return Err(Failure::Misuse(format!(
                    "{} and {} would both write into {}: rename one of them, or leave out --out if they are in different folders",
                    other.display(),
                    clip.display(),
                    folder.display()
                )));
            }
            Ok(FlightJob { clip, folder })
        })
        .collect()
}

/// The output of one flight: its table, or its summary as JSON.
type Printed = Result<Vec<u8>, Failure>;

impl FlightJob<'_> {
    fn read(&self, common: &Common<'_>) -> Printed {
        let folder = ResultFolder::prepare(&self.folder, common.rules)?;
        let flight =
            flight_with_commands(&[self.clip.to_owned()], common.setup, common.options, &mut Silent)?;
        folder.write(&flight)?;
        if common.json {
            return summary_json(&flight).map_err(Failure::failed);
        }
        let next = advice(&flight).into_iter().map(|next| format!("Next: {}.\n", wording::advice(next)));
        Ok((table(&flight) + &next.collect::<String>()).into_bytes())
    }

    fn print(&self, result: &Printed) {
        print_line!("{}", self.clip.display());
        match result {
            Ok(table) => {
                super::print_text(&String::from_utf8_lossy(table));
                print_line!("Results: {}", self.folder.join("report.html").display());
                print_line!();
            }
            Err(failure) => {
                print_line!("  not read");
                print_line!();
                say_line!("pairspeed: {}", failure.message());
            }
        }
    }

    fn in_json(&self, result: &Printed) -> Value {
        let (clip, folder) = (self.clip.display().to_string(), self.folder.display().to_string());
        let summary = |bytes: &Vec<u8>| serde_json::from_slice(bytes).unwrap_or(Value::Null);
        match result {
            Ok(bytes) => json!({ "clip": clip, "folder": folder, "summary": summary(bytes) }),
            Err(failure) => json!({ "clip": clip, "error": failure.message() }),
        }
    }
}

/// Success if all flights were read; otherwise a failure of the same kind as the first one, with the number of
/// failures as its message.
fn conclusion(printed: Vec<Printed>) -> Result<(), Failure> {
    let count = printed.len();
    let mut failures = printed.into_iter().filter_map(Result::err);
    let Some(first) = failures.next() else { return Ok(()) };
    let failed = 1 + failures.count();
    Err(first.with_message(format!("{failed} of {count} clips could not be read; see the messages above")))
}

//! `demo`: reads the clip that the program contains and compares the result with the truth.

use std::path::{Path, PathBuf};

use clap::Args;
use pairspeed::airspeed::StepResult;
use pairspeed::files::{Existing, MAX_SUMMARY_BYTES, read_bytes, write_error_in_words, write_whole};
use pairspeed::model::channel::Channel;
use pairspeed::model::units::Unit;
use pairspeed::output::folder::ResultFolder;
use pairspeed::output::summary_json;
use pairspeed::setup::LoadedSetup;
use pairspeed::{ReadOptions, flight::Flight};
use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::flight::flight_with_commands;
use super::progress::ReadingProgress;
use super::read::print_result;
use super::{Failure, existing_or};

/// The demonstration clip, which the program contains so that the demonstration works anywhere.
const CLIP: EmbeddedFile =
    EmbeddedFile { name: "salt-flat.mp4", bytes: include_bytes!("../../../demo-clips/salt-flat.mp4") };
/// The setup file of the camera that recorded the demonstration clip.
const SETUP: EmbeddedFile = EmbeddedFile {
    name: "salt-flat.setup.toml",
    bytes: include_bytes!("../../../demo-clips/salt-flat.setup.toml"),
};
/// The airspeeds that were simulated for the demonstration clip, as TOML.
const TRUTH: &str = include_str!("../../../demo-clips/salt-flat.truth.toml");

/// A file that the program contains.
struct EmbeddedFile {
    name: &'static str,
    bytes: &'static [u8],
}

impl EmbeddedFile {
    /// Writes the file into a folder and returns its path. An existing file of that name is not changed: it is an
    /// error if its content differs.
    fn write_to(&self, folder: &Path) -> Result<PathBuf, Failure> {
        let path = folder.join(self.name);
        let limit = self.bytes.len() as u64;
        if read_bytes(&path, limit).is_ok_and(|existing| existing == self.bytes) {
            return Ok(path);
        }
        write_whole(&path, self.bytes, Existing::Keep).map_err(|error| {
            let reason = write_error_in_words(error);
            Failure::Misuse(format!(
                "cannot write {}: {reason}; name another folder with --out",
                path.display()
            ))
        })?;
        Ok(path)
    }
}

#[derive(Debug, Args)]
pub struct DemoArguments {
    /// Folder for the clip, its setup and the results
    #[arg(long, value_name = "DIR", default_value = "pairspeed-demo")]
    out: PathBuf,
    /// Replace existing results; those of an earlier demonstration are always replaced
    #[arg(long)]
    force: bool,
    /// Print the result as JSON
    #[arg(long)]
    json: bool,
}

#[derive(Debug, Deserialize)]
struct Truth {
    #[serde(rename = "step", default)]
    steps: Vec<TrueStep>,
}

#[derive(Debug, Deserialize)]
struct TrueStep {
    throttle_percent: f64,
    flown_airspeed: f64,
}

/// True and measured airspeed of a throttle step, in the unit of the clip.
#[derive(Debug, Serialize)]
struct TruthComparison {
    throttle_percent: f64,
    flown_airspeed: f64,
    /// The measured airspeed; `None` if the step was not found.
    airspeed: Option<f64>,
    /// Measured minus true airspeed, in per cent of the true airspeed; `None` if the step was not found.
    off_percent: Option<f64>,
    /// Whether the true airspeed lies within the 95 % interval; `None` if the step was not found.
    inside_interval: Option<bool>,
}

impl TruthComparison {
    fn of(truth: &TrueStep, steps: &[StepResult]) -> Self {
        let TrueStep { throttle_percent, flown_airspeed } = *truth;
        let found = steps.iter().find(|step| step.throttle_percent == Some(throttle_percent));
        Self {
            throttle_percent,
            flown_airspeed,
            airspeed: found.map(|step| step.airspeed.value),
            off_percent: found.map(|step| 100.0 * (step.airspeed.value / flown_airspeed - 1.0)),
            inside_interval: found.map(|step| step.airspeed.holds(flown_airspeed)),
        }
    }

    fn in_words(&self) -> String {
        let throttle = self.throttle_percent;
        let (Some(airspeed), Some(off), Some(inside)) =
            (self.airspeed, self.off_percent, self.inside_interval)
        else {
            return format!("  {throttle:>3} %  no airspeed found");
        };
        format!(
            "  {throttle:>3} %  measured {airspeed:6.1}  true {:6.1}  error {off:+.2} %, truth {} the interval",
            self.flown_airspeed,
            if inside { "inside" } else { "outside" }
        )
    }
}

pub fn run(arguments: &DemoArguments) -> Result<(), Failure> {
    let truth: Truth = toml::from_str(TRUTH).map_err(Failure::failed)?;
    let replaced = arguments.force || holds_only(&arguments.out, &arguments.out.join(CLIP.name));
    let folder = ResultFolder::prepare(&arguments.out, existing_or(replaced, Existing::Keep))?;
    let clip = CLIP.write_to(&arguments.out)?;
    let setup = LoadedSetup::load(&SETUP.write_to(&arguments.out)?).map_err(Failure::advised)?;
    let flight = flight_with_commands(&[clip], &setup, &ReadOptions::default(), &mut ReadingProgress::new())?;
    folder.write(&flight)?;
    let compared: Vec<TruthComparison> =
        truth.steps.iter().map(|step| TruthComparison::of(step, &flight.steps)).collect();
    if arguments.json {
        super::print_json(&format!("{:#}", with_truth(&flight, &compared)?));
        return Ok(());
    }
    print_result(&flight, false)?;
    print_line!();
    let unit = flight.unit(&Channel::Speed).map_or("the unit of the overlay", Unit::symbol);
    print_line!(
        "Compared with the truth of this simulated flight, for each throttle step (speeds in {unit}):"
    );
    compared.iter().for_each(|step| print_line!("{}", step.in_words()));
    print_line!("Report: {}", arguments.out.join("report.html").display());
    print_line!("CSV:    {}", arguments.out.join("pairs.csv").display());
    Ok(())
}

/// Whether a folder contains the results of this one clip only.
fn holds_only(folder: &Path, clip: &Path) -> bool {
    let summary = read_bytes(&folder.join("summary.json"), MAX_SUMMARY_BYTES).ok();
    let summary: Option<Value> = summary.and_then(|bytes| serde_json::from_slice(&bytes).ok());
    let clips = summary.as_ref().and_then(|summary| summary["clips"].as_array());
    clips.is_some_and(|clips| matches!(&clips[..], [one] if one["file"] == clip.display().to_string()))
}

/// The summary as JSON, with `compared` as the additional entry `truth`.
fn with_truth(flight: &Flight, compared: &[TruthComparison]) -> Result<Value, Failure> {
    let bytes = summary_json(flight).map_err(Failure::failed)?;
    let mut summary: Value = serde_json::from_slice(&bytes).map_err(Failure::failed)?;
    summary["truth"] = serde_json::to_value(compared).map_err(Failure::failed)?;
    Ok(summary)
}

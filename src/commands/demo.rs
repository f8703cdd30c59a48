//! `demo`: reads a clip that comes with the program and prints the answer beside the truth.

use std::path::PathBuf;

use clap::Args;
use pairspeed::files::Existing;
use pairspeed::output::folder::ResultFolder;
use pairspeed::setup::LoadedSetup;
use pairspeed::{ReadOptions, read_flight};
use serde::Deserialize;

use super::Failure;
use super::progress::Bar;
use super::read::print_result;

#[derive(Debug, Args)]
pub struct DemoArguments {
    /// Folder of the demonstration clips
    #[arg(long, value_name = "DIR", default_value = "demo-clips")]
    clips: PathBuf,
    /// Folder for the results
    #[arg(long, value_name = "DIR", default_value = "target/demo")]
    out: PathBuf,
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

pub fn run(arguments: &DemoArguments) -> Result<(), Failure> {
    let beside = |ending: &str| arguments.clips.join(format!("salt-flat.{ending}"));
    let truth_file = beside("truth.toml");
    let text = std::fs::read_to_string(&truth_file).map_err(|error| {
        Failure::Misuse(format!(
            "{}: {error}; run this in the project's folder, or name the folder of the clips with --clips",
            truth_file.display()
        ))
    })?;
    let truth: Truth = toml::from_str(&text).map_err(Failure::misuse)?;
    let setup = LoadedSetup::load(&beside("setup.toml")).map_err(Failure::misuse)?;
    let folder = ResultFolder::prepare(&arguments.out, Existing::Replace).map_err(Failure::misuse)?;
    let flight = read_flight(&[beside("avi")], &setup, &ReadOptions::default(), &mut Bar::new())?;
    folder.write(&flight).map_err(Failure::failed)?;
    print_result(&flight, arguments.json)?;
    if arguments.json {
        return Ok(());
    }
    println!("\nBeside the truth of this simulated flight:");
    for step in &truth.steps {
        let found = flight.steps.iter().find(|one| one.throttle_percent == Some(step.throttle_percent));
        match found {
            Some(one) => {
                let inside = (one.airspeed_low..=one.airspeed_high).contains(&step.flown_airspeed);
                println!(
                    "  {:>3} %  read {:6.1}  truth {:6.1}  off by {:+.2} %, {} its interval",
                    step.throttle_percent,
                    one.airspeed,
                    step.flown_airspeed,
                    100.0 * (one.airspeed / step.flown_airspeed - 1.0),
                    if inside { "inside" } else { "outside" }
                );
            }
            None => println!("  {:>3} %  not found", step.throttle_percent),
        }
    }
    println!("Report: {}", arguments.out.join("report.html").display());
    println!("CSV:    {}", arguments.out.join("pairs.csv").display());
    Ok(())
}

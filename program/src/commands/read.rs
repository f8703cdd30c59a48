//! `read`: reads clips and computes airspeeds.

use std::path::{Path, PathBuf};

use clap::Args;
use pairspeed::ReadOptions;
use pairspeed::confinement::Confinement;
use pairspeed::files::{Existing, WriteRules};
use pairspeed::flight::Flight;
use pairspeed::known_camera::setups_beside;
use pairspeed::leg_edits::LegEdits;
use pairspeed::legs::{self, LegOptions};
use pairspeed::output::folder::{ResultFolder, usual_folder};
use pairspeed::output::{advice, summary_json, table};
use pairspeed::readings::DEFAULT_MIN_CONFIDENCE;
use pairspeed::setup::{Aircraft, LoadedSetup};

use super::camera;
use super::each::{Common, read_each};
use super::flight::flight_with_commands;
use super::given::FlightConditions;
use super::numbers::{percent, probability};
use super::progress::ReadingProgress;
use super::{Failure, begin, existing_or};
use crate::wording;

#[derive(Debug, Args)]
pub struct ReadArguments {
    /// The clips of one flight, in recording order; with --each, each clip is a flight
    #[arg(required = true, value_name = "CLIP")]
    clips: Vec<PathBuf>,
    /// Read each clip as a separate flight, with results in a folder named after the clip. A clip that fails
    /// does not stop the others; the exit code is that of the first failure
    #[arg(long, conflicts_with = "legs")]
    each: bool,
    /// With --each: number of flights read at the same time. Default: the number of cores
    #[arg(long, value_name = "NUMBER", requires = "each", value_parser = clap::value_parser!(u16).range(1..=64))]
    jobs: Option<u16>,
    /// The camera setup file. Default: the one beside the first clip that fits; if there is none, the overlay is
    /// found and deciphered, and a setup is saved beside the clip
    #[arg(long, value_name = "FILE")]
    setup: Option<PathBuf>,
    /// Without a setup: ask on the terminal about doubtful names, missing units and doubtful digits
    #[arg(long, conflicts_with = "setup")]
    ask: bool,
    /// Folder for the results (with --each, one folder per flight inside it). Default: beside the first
    /// clip (with --each, beside each clip), named after it
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Replace existing results
    #[arg(long)]
    force: bool,
    /// Throttle steps in the order flown, in per cent, if the overlay shows no throttle; overrides a
    /// throttle that it shows
    #[arg(long, value_name = "PERCENT,...", value_delimiter = ',', value_parser = percent, allow_negative_numbers = true)]
    throttle: Option<Vec<f64>>,
    /// Legs to use instead of those found: a CSV file (start_s,end_s,kind,throttle_percent), or the
    /// legs.toml of legs edited in the window
    #[arg(long, value_name = "FILE")]
    legs: Option<PathBuf>,
    /// Minimum confidence of a reading; readings below it are left blank
    #[arg(long, value_name = "0..1", default_value_t = DEFAULT_MIN_CONFIDENCE, value_parser = probability, allow_negative_numbers = true)]
    confidence: f32,
    /// Description of the aircraft (motor, cells, propeller): a TOML file with the table `aircraft`; overrides
    /// the table of that name in the setup file
    #[arg(long, value_name = "FILE")]
    aircraft: Option<PathBuf>,
    /// Print the result as JSON
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    conditions: FlightConditions,
}

pub fn run(arguments: &ReadArguments) -> Result<(), Failure> {
    let given = arguments.setup.as_deref().map(LoadedSetup::load).transpose().map_err(Failure::advised)?;
    let beside = match arguments.clips.first().filter(|_| given.is_none()) {
        Some(clip) => setups_beside(clip),
        None => Ok(Vec::new()),
    };
    let candidates = given.iter().chain(beside.iter().flatten());
    begin(confinement(arguments, candidates));
    let setup = match given {
        Some(setup) => setup,
        None => camera::setup_for(&arguments.clips, beside, arguments.ask)?,
    };
    setup.warnings().iter().for_each(|warning| say_line!("pairspeed: {warning}"));
    setup.require_speed().map_err(Failure::advised)?;
    let mut options = options(arguments)?;
    arguments.conditions.apply_to(&setup.setup, &mut options)?;
    let rules = rules(arguments, &setup);
    if arguments.each {
        let common = Common { setup: &setup, options: &options, rules: &rules, json: arguments.json };
        let jobs = arguments.jobs.map(usize::from);
        return read_each(&arguments.clips, arguments.out.as_deref(), jobs, &common);
    }
    let out = arguments.out.clone().unwrap_or_else(|| usual_folder(&arguments.clips));
    let folder = ResultFolder::prepare(&out, rules).map_err(Failure::advised)?;
    let flight = flight_with_commands(&arguments.clips, &setup, &options, &mut ReadingProgress::new())?;
    folder.write(&flight)?;
    print_result(&flight, arguments.json)?;
    if !arguments.json {
        print_line!("Results: {}", out.join("report.html").display());
    }
    Ok(())
}

/// The files that the command may access while it decodes recordings; all others are blocked. `setups` are the
/// setups of which it may use one.
fn confinement<'a>(arguments: &ReadArguments, setups: impl Iterator<Item = &'a LoadedSetup>) -> Confinement {
    let ReadArguments { clips, setup, legs, aircraft, out, each, .. } = arguments;
    let mut confinement = Confinement::default().reading(clips).reading(legs.iter().chain(aircraft));
    confinement = confinement.reading(setups.flat_map(LoadedSetup::input_files));
    if let Some(clip) = clips.first().filter(|_| setup.is_none()) {
        // A new setup is written beside the first clip.
        confinement = confinement.writing(clip);
    }
    match out {
        Some(out) if *each => confinement.writing(out).writing(&out.join("flight")),
        Some(out) => confinement.writing(out),
        None => clips.iter().fold(confinement, |all, clip| all.writing(clip)),
    }
}

/// The rules for writing the results: existing results are replaced only with `--force`, and files that the
/// command reads are never written to.
fn rules(arguments: &ReadArguments, setup: &LoadedSetup) -> WriteRules {
    WriteRules::from(existing_or(arguments.force, Existing::Keep))
        .with_inputs(&arguments.clips)
        .with_inputs(setup.input_files())
        .with_inputs(arguments.legs.iter().chain(&arguments.aircraft))
}

/// Prints the results table, or the summary as JSON.
pub fn print_result(flight: &Flight, json: bool) -> Result<(), Failure> {
    if json {
        let bytes = summary_json(flight).map_err(Failure::failed)?;
        super::print_json(&String::from_utf8_lossy(&bytes));
    } else {
        super::print_text(&table(flight));
        for next in advice(flight) {
            print_line!("Next: {}.", wording::advice(next));
        }
    }
    Ok(())
}

fn options(arguments: &ReadArguments) -> Result<ReadOptions, Failure> {
    let legs = match &arguments.legs {
        Some(file) => given_legs(file, &arguments.clips)?,
        None => LegOptions::default(),
    };
    if let (Some(file), Some(_)) = (&arguments.legs, &arguments.throttle)
        && legs.given.iter().flatten().any(|leg| leg.throttle_percent.is_some())
    {
        return Err(Failure::Misuse(format!(
            "--throttle: {} already has the throttle of its legs; leave --throttle out, or empty the column \
             throttle_percent",
            file.display()
        )));
    }
    let aircraft = arguments.aircraft.as_deref().map(Aircraft::load).transpose().map_err(Failure::misuse)?;
    let legs = LegOptions { throttle_steps: arguments.throttle.clone(), ..legs };
    Ok(ReadOptions { legs, min_confidence: arguments.confidence, aircraft, ..ReadOptions::default() })
}

/// Reads the legs of the flight `clips` from a file: legs edited in the window if the file is TOML, otherwise a
/// CSV list.
fn given_legs(file: &Path, clips: &[PathBuf]) -> Result<LegOptions, Failure> {
    if file.extension().is_some_and(|extension| extension.eq_ignore_ascii_case("toml")) {
        let edited = LegEdits::load(file, clips).map_err(Failure::misuse)?;
        return Ok(edited.applied_to(&LegOptions::default()));
    }
    let given = legs::read_file(file).map_err(Failure::misuse)?;
    Ok(LegOptions { given: Some(given), ..LegOptions::default() })
}

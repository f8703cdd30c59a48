//! `compare`: the effect of a change to the aircraft.

use std::path::PathBuf;

use clap::Args;
use pairspeed::compare::{CompareOptions, compare};
use pairspeed::output::{ComparisonStyle, comparison_html, comparison_json, comparison_text};
use pairspeed::summary::{FlownFlight, load_flights, summary_file};

use super::Failure;
use super::numbers::number;
use super::page::{CommandOutput, PageArguments};
use super::quantity::{named_speed_unit, quantity, speed_unit};

/// Compare flights: the effect of a change to the aircraft, step by step
///
/// Give the result folders that `read` wrote: first the flight before the change, then one or more
/// after it. Each throttle step that both flights have is compared, at the same pack voltage if the
/// overlay shows it and at the same air density if you give it. Every difference has its 95 % interval, and
/// the verdict accounts for the number of steps compared. Units may differ between
/// the flights.
#[derive(Debug, Args)]
#[command(verbatim_doc_comment)]
pub struct CompareArguments {
    /// Two or more result folders of `read`; all further flights are compared with the first
    #[arg(required = true, num_args = 2.., value_name = "RESULT")]
    results: Vec<PathBuf>,
    /// Unit of the speeds: mph, km/h, kn or m/s. Default: the unit given with --show, or that of the first
    /// flight
    #[arg(long, value_name = "UNIT")]
    units: Option<String>,
    /// Difference that you want to be able to detect, such as "2 km/h": the number of pairs needed is
    /// printed. Default: 1 in the unit of the speeds
    #[arg(long, value_name = "SPEED", allow_hyphen_values = true)]
    show: Option<String>,
    /// Pack voltage under load at which the speeds are compared, in volts. Default: the mean of both
    /// flights at each step
    #[arg(long, value_name = "VOLTS", conflicts_with = "as_flown", value_parser = number, allow_negative_numbers = true)]
    voltage: Option<f64>,
    /// Compare the speeds as flown, without a correction for the voltage
    #[arg(long)]
    as_flown: bool,
    /// Air density of each flight in kg/m^3, in the order of the folders, such as 1.19,1.14
    #[arg(long, value_name = "DENSITY,...", value_delimiter = ',', value_parser = number, allow_negative_numbers = true)]
    density: Option<Vec<f64>>,
    #[command(flatten)]
    page: PageArguments,
}

pub fn run(arguments: &CompareArguments) -> Result<(), Failure> {
    let mut flights = load_flights(&arguments.results).map_err(Failure::misuse)?;
    set_densities(&mut flights, arguments.density.as_deref())?;
    let first_unit = flights.first().map(|flight| flight.speed_unit);
    let given = speed_unit(arguments.units.as_deref())?;
    let unit = given.or_else(|| named_speed_unit([&arguments.show])).or(first_unit);
    let unit = unit.ok_or_else(|| Failure::Misuse("give at least two result folders".to_owned()))?;
    let wanted_mps = match &arguments.show {
        Some(text) => quantity("--show", text, unit)?,
        None => unit.si_per_unit(),
    };
    check_positive("--show", wanted_mps)?;
    if let Some(voltage) = arguments.voltage {
        check_positive("--voltage", voltage)?;
    }
    let options =
        CompareOptions { match_voltage: !arguments.as_flown, reference_v: arguments.voltage, wanted_mps };
    let comparisons = compare(&flights, &options);
    let style = ComparisonStyle { unit, wanted_mps };
    let inputs: Vec<PathBuf> = arguments.results.iter().map(|result| summary_file(result)).collect();
    arguments.page.give(
        &inputs,
        CommandOutput {
            page: || comparison_html(&comparisons, &style),
            json: || comparison_json(&comparisons, &style),
            text: || comparison_text(&comparisons, &style),
        },
    )
}

fn set_densities(flights: &mut [FlownFlight], given: Option<&[f64]>) -> Result<(), Failure> {
    let Some(given) = given else { return Ok(()) };
    if given.len() != flights.len() {
        return Err(Failure::Misuse(format!(
            "--density has {} for {} flights; give one value for each flight, in the order of the folders",
            if given.len() == 1 { "1 value".to_owned() } else { format!("{} values", given.len()) },
            flights.len()
        )));
    }
    for (flight, density) in flights.iter_mut().zip(given) {
        flight.set_density(*density).map_err(|error| Failure::Misuse(format!("--density {error}")))?;
    }
    Ok(())
}

fn check_positive(option: &str, value: f64) -> Result<(), Failure> {
    if value.is_finite() && value > 0.0 {
        return Ok(());
    }
    Err(Failure::Misuse(format!("{option} {value}: the value must be above 0")))
}

//! `legs.csv`: the results of each leg. The pilot can also give this file as the legs of the flight.

use crate::flight::Flight;
use crate::legs::Leg;
use crate::model::channel::Channel;

use super::numbers::{TIME_DECIMALS, fixed, fixed_or_empty, trimmed};
use super::words::{column, joined, kind_name};
use super::{RenderError, csv_bytes};

/// Writes a row for each leg:
/// `leg,start_s,end_s,kind,throttle_percent,median_<unit>,spread_<unit>,samples,uncertainty_<unit>,voltage_v,altitude_<unit>,satellites,flags`,
/// and `step` at the end if the throttle is unknown. Start and end are those of the steady middle, over which the
/// median is taken: if the pilot gives the file as legs, the same medians result. A column of unknown unit has no
/// suffix.
///
/// # Errors
///
/// [`RenderError::Csv`] if the CSV writer refuses a record.
pub fn legs_csv(flight: &Flight) -> Result<Vec<u8>, RenderError> {
    let numbered = flight.legs.iter().any(|leg| leg.throttle_percent.is_none() && leg.step.is_some());
    let rows = flight.legs.iter().zip(1usize..).map(|(leg, number)| row(leg, number, numbered));
    csv_bytes(std::iter::once(header(flight, numbered)).chain(rows))
}

fn header(flight: &Flight, numbered: bool) -> Vec<String> {
    let speed = flight.unit(&Channel::Speed);
    let mut cells = vec![
        "leg".to_owned(),
        "start_s".to_owned(),
        "end_s".to_owned(),
        "kind".to_owned(),
        "throttle_percent".to_owned(),
        column("median", speed),
        column("spread", speed),
        "samples".to_owned(),
        column("uncertainty", speed),
        "voltage_v".to_owned(),
        column("altitude", flight.unit(&Channel::Altitude)),
        "satellites".to_owned(),
        "flags".to_owned(),
    ];
    cells.extend(numbered.then(|| "step".to_owned()));
    cells
}

fn row(leg: &Leg, number: usize, numbered: bool) -> Vec<String> {
    let mut cells = vec![
        number.to_string(),
        fixed(leg.steady_start_s, TIME_DECIMALS),
        fixed(leg.steady_end_s, TIME_DECIMALS),
        kind_name(leg.kind).to_owned(),
        leg.throttle_percent.map_or_else(String::new, trimmed),
        fixed(leg.speed_median, 2),
        fixed(leg.speed_spread, 2),
        leg.samples.to_string(),
        fixed(leg.speed_uncertainty, 3),
        fixed_or_empty(leg.voltage_v, 2),
        fixed_or_empty(leg.altitude, 1),
        fixed_or_empty(leg.satellites, 1),
        joined(&leg.flags),
    ];
    cells.extend(numbered.then(|| leg.step.map_or_else(String::new, |step| step.to_string())));
    cells
}

//! `pairs.csv`: the airspeed of each pair of legs with its interval.

use crate::airspeed::Pair;
use crate::flight::Flight;
use crate::model::channel::Channel;

use super::numbers::{fixed, fixed_or_empty, trimmed};
use super::words::{column, joined};
use super::{RenderError, csv_bytes};

/// Writes a row for each pair:
/// `pair,throttle_percent,upwind_<unit>,downwind_<unit>,airspeed_<unit>,airspeed_low_<unit>,airspeed_high_<unit>,wind_<unit>,voltage_v,altitude_<unit>,flags`,
/// and `step` at the end if the throttle is unknown. Low and high are the ends of the 95 % interval. A column
/// of unknown unit has no suffix.
///
/// # Errors
///
/// [`RenderError::Csv`] if the CSV writer refuses a record.
pub fn pairs_csv(flight: &Flight) -> Result<Vec<u8>, RenderError> {
    let numbered = flight.pairs.iter().any(|pair| pair.throttle_percent.is_none());
    let rows = flight.pairs.iter().map(|pair| row(pair, numbered));
    csv_bytes(std::iter::once(header(flight, numbered)).chain(rows))
}

fn header(flight: &Flight, numbered: bool) -> Vec<String> {
    let speed = flight.unit(&Channel::Speed);
    let mut cells = vec!["pair".to_owned(), "throttle_percent".to_owned()];
    let speeds = ["upwind", "downwind", "airspeed", "airspeed_low", "airspeed_high", "wind"];
    cells.extend(speeds.map(|name| column(name, speed)));
    cells.push("voltage_v".to_owned());
    cells.push(column("altitude", flight.unit(&Channel::Altitude)));
    cells.push("flags".to_owned());
    cells.extend(numbered.then(|| "step".to_owned()));
    cells
}

fn row(pair: &Pair, numbered: bool) -> Vec<String> {
    let mut cells = vec![pair.pair.to_string(), pair.throttle_percent.map_or_else(String::new, trimmed)];
    let speeds =
        [pair.upwind, pair.downwind, pair.airspeed.value, pair.airspeed.low, pair.airspeed.high, pair.wind];
    cells.extend(speeds.map(|speed| fixed(speed, 2)));
    cells.push(fixed_or_empty(pair.voltage_v, 2));
    cells.push(fixed_or_empty(pair.altitude, 1));
    cells.push(joined(&pair.flags));
    cells.extend(numbered.then(|| pair.step.to_string()));
    cells
}

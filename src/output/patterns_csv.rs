//! `patterns.csv`: the airspeed of legs flown in three or more directions.

use crate::airspeed::Pattern;
use crate::airspeed::multileg::HeadingReference;
use crate::flight::Flight;
use crate::model::channel::Channel;

use super::numbers::{fixed, fixed_or_empty, trimmed};
use super::words::{column, joined};
use super::{RenderError, csv_bytes};

/// Writes a row for each pattern:
/// `pattern,throttle_percent,legs,heading_reference,airspeed_<unit>,airspeed_low_<unit>,airspeed_high_<unit>,wind_<unit>,wind_from_deg,voltage_v,altitude_<unit>,flags`.
/// `legs` holds the numbers of the legs, separated by spaces; `heading_reference` is `track` or `heading`, whichever the directions
/// of the legs are; low and high are the ends of the 95 % interval. Without patterns the file holds only its header.
///
/// # Errors
///
/// [`RenderError::Csv`] if the CSV writer refuses a record.
pub fn patterns_csv(flight: &Flight) -> Result<Vec<u8>, RenderError> {
    csv_bytes(std::iter::once(header(flight)).chain(flight.patterns.iter().map(row)))
}

fn header(flight: &Flight) -> Vec<String> {
    let speed = flight.unit(&Channel::Speed);
    let mut cells = ["pattern", "throttle_percent", "legs", "heading_reference"].map(str::to_owned).to_vec();
    cells.extend(["airspeed", "airspeed_low", "airspeed_high", "wind"].map(|name| column(name, speed)));
    cells.extend(["wind_from_deg", "voltage_v"].map(str::to_owned));
    cells.push(column("altitude", flight.unit(&Channel::Altitude)));
    cells.push("flags".to_owned());
    cells
}

fn row(pattern: &Pattern) -> Vec<String> {
    let legs: Vec<String> = pattern.legs.iter().map(|leg| leg.saturating_add(1).to_string()).collect();
    let heading_reference = match pattern.heading_reference {
        HeadingReference::Track => "track",
        HeadingReference::Heading => "heading",
    };
    let mut cells = vec![
        pattern.pattern.to_string(),
        pattern.throttle_percent.map_or_else(String::new, trimmed),
        legs.join(" "),
        heading_reference.to_owned(),
    ];
    let speeds = [pattern.airspeed.value, pattern.airspeed.low, pattern.airspeed.high, pattern.wind];
    cells.extend(speeds.map(|speed| fixed(speed, 2)));
    cells.push(fixed(pattern.wind_from_deg, 0));
    cells.push(fixed_or_empty(pattern.voltage_v, 2));
    cells.push(fixed_or_empty(pattern.altitude, 1));
    cells.push(joined(&pattern.flags));
    cells
}

//! What the altitude shown counts from.

use serde::{Deserialize, Serialize};

use crate::model::channel::Channel;
use crate::model::units::Unit;
use crate::series::Series;
use crate::stats::median;

/// Altitudes on the ground within this of zero are taken to count from the field, in metres.
const FIELD_ZERO_WITHIN_M: f64 = 15.0;

/// A receiver's altitude on the ground may lie this far from the told elevation, in metres.
const RECEIVER_WITHIN_M: f64 = 60.0;

/// Ground speeds below this mean that the aircraft stands, in m/s.
const STANDING_MPS: f64 = 1.5;

/// Standing updates needed to recognise the datum.
const LEAST_STANDING: usize = 5;

/// What the altitude shown counts from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Datum {
    /// Sea level.
    SeaLevel,
    /// The field.
    Field,
}

/// What the altitude counts from, and the altitude shown while the aircraft stood before take-off or after
/// landing, in metres: near zero it counts from the field, and otherwise, where it agrees with the told
/// elevation or none is told, from sea level. `None` where the altitude is not shown or the aircraft never
/// stood, and where what is shown agrees with neither.
#[must_use]
pub fn datum(series: &Series, field_elevation_m: Option<f64>) -> Option<(Datum, f64)> {
    let standing_m = standing_altitude_m(series)?;
    let agrees = |elevation_m: f64| (standing_m - elevation_m).abs() <= RECEIVER_WITHIN_M;
    let datum = match field_elevation_m {
        _ if standing_m.abs() <= FIELD_ZERO_WITHIN_M => Datum::Field,
        Some(elevation_m) if !agrees(elevation_m) => return None,
        _ => Datum::SeaLevel,
    };
    Some((datum, standing_m))
}

/// Median altitude over the moments in which the aircraft stood.
fn standing_altitude_m(series: &Series) -> Option<f64> {
    let readings = &series.readings;
    let speed = readings.channel(&Channel::Speed)?;
    let altitude = series.alive(&Channel::Altitude)?;
    let speed_si = speed.unit.map_or(1.0 / 3.6, Unit::si_per_unit);
    let altitude_si = altitude.unit.map_or(1.0, Unit::si_per_unit);
    let standing: Vec<f64> = speed
        .values
        .iter()
        .zip(&altitude.values)
        .filter(|(speed, altitude)| **speed * speed_si < STANDING_MPS && altitude.is_finite())
        .map(|(_, altitude)| altitude * altitude_si)
        .collect();
    (standing.len() >= LEAST_STANDING).then(|| median(&standing)).flatten()
}

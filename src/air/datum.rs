//! Recognises what the shown altitude is measured from: the field, or sea level.

use serde::{Deserialize, Serialize};

use crate::model::channel::Channel;
use crate::model::units::Unit;
use crate::series::Series;
use crate::stats::median;

/// Maximum distance from zero of the altitude shown on the ground, in metres, if altitudes are measured from the
/// field (set by judgement).
const FIELD_ZERO_WITHIN_M: f64 = 15.0;

/// Maximum difference between a receiver's altitude on the ground and the given elevation, in metres (set by
/// judgement).
const RECEIVER_WITHIN_M: f64 = 60.0;

/// Ground speed below which the aircraft stands still, in m/s (set by judgement).
const STANDING_MPS: f64 = 1.5;

/// Minimum number of overlay updates on the ground that are needed to recognise the zero of the altitude (set
/// by judgement).
const MIN_STANDING_UPDATES: usize = 5;

/// What the shown altitude is measured from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Datum {
    /// Sea level.
    SeaLevel,
    /// The field.
    Field,
}

/// The datum recognised from the altitude that the overlay shows on the ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RecognisedDatum {
    /// The datum.
    pub datum: Datum,
    /// Altitude shown before take-off or after landing, in metres.
    pub standing_m: f64,
}

/// Recognises what the altitude is measured from, by the altitude shown before take-off or after landing. If
/// that altitude is near zero, altitudes are measured from the field. Otherwise they are measured from sea
/// level, if the altitude on the ground agrees with the given elevation or if none is given. `None` if the
/// overlay shows no altitude, the aircraft never stood still, or the altitude agrees with neither.
#[must_use]
pub fn datum(series: &Series, field_elevation_m: Option<f64>) -> Option<RecognisedDatum> {
    let standing_m = standing_altitude_m(series)?;
    let agrees = |elevation_m: f64| (standing_m - elevation_m).abs() <= RECEIVER_WITHIN_M;
    let datum = match field_elevation_m {
        _ if standing_m.abs() <= FIELD_ZERO_WITHIN_M => Datum::Field,
        Some(elevation_m) if !agrees(elevation_m) => return None,
        _ => Datum::SeaLevel,
    };
    Some(RecognisedDatum { datum, standing_m })
}

/// Median altitude while the aircraft stood still, in metres; `None` if speed or altitude is not read, or if
/// the overlay was updated too rarely while the aircraft stood.
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
    (standing.len() >= MIN_STANDING_UPDATES).then(|| median(&standing)).flatten()
}

//! The airspeeds and the wind to expect in the planned flight.

use super::request::{PlanError, PlanRequest};
use crate::propulsion::{FlownStep, SpeedCurve};
use crate::stats::median;
use crate::summary::FlownFlight;

/// Exponent of the power law between airspeed and throttle if no earlier flight shows it (common practice, no
/// source).
pub(super) const ASSUMED_EXPONENT: f64 = 0.7;

/// The airspeed to expect at each step, in m/s: from the airspeed at full throttle if it is given, otherwise
/// from the curve through the earlier flight's steps, or from its only step. Adds what was assumed to
/// `assumptions`.
pub(super) fn airspeeds_mps(
    request: &PlanRequest,
    earlier: Option<&FlownFlight>,
    assumptions: &mut Vec<String>,
) -> Result<Vec<f64>, PlanError> {
    let throttles = &request.steps_percent;
    if let Some(full_mps) = request.full_throttle_mps {
        assumptions.push(format!(
            "It is assumed that airspeed is proportional to throttle to the power {ASSUMED_EXPONENT}."
        ));
        let airspeed = |throttle: &f64| full_mps * (throttle / 100.0).powf(ASSUMED_EXPONENT);
        return Ok(throttles.iter().map(airspeed).collect());
    }
    let points: Vec<_> =
        earlier.iter().flat_map(|flight| &flight.steps).filter_map(FlownStep::point).collect();
    if let Some(curve) = SpeedCurve::of(&points) {
        assumptions.push("Airspeeds come from the curve through the steps of the earlier flight.".to_owned());
        return Ok(throttles.iter().map(|throttle| curve.at(*throttle).airspeed_mps).collect());
    }
    let only = points.first().ok_or(PlanError::NoSpeed)?;
    assumptions.push(format!(
        "Airspeeds come from the only step of the earlier flight; it is assumed that they are proportional to throttle to the power {ASSUMED_EXPONENT}."
    ));
    let airspeed =
        |throttle: &f64| only.airspeed_mps * (throttle / only.throttle_percent).powf(ASSUMED_EXPONENT);
    Ok(throttles.iter().map(airspeed).collect())
}

/// The wind speed to expect, in m/s: as given, otherwise the median over the earlier flight's steps. Adds
/// what was assumed to `assumptions`.
pub(super) fn wind_mps(
    request: &PlanRequest,
    earlier: Option<&FlownFlight>,
    assumptions: &mut Vec<String>,
) -> Result<f64, PlanError> {
    if let Some(wind_mps) = request.wind_mps {
        return Ok(wind_mps);
    }
    let winds: Vec<f64> =
        earlier.iter().flat_map(|flight| &flight.steps).map(|step| step.wind_mps.abs()).collect();
    assumptions.push("The wind is that of the earlier flight.".to_owned());
    median(&winds).ok_or(PlanError::NoWind)
}

//! Calculates how long the legs of each throttle step take.

use super::request::{PlanError, PlanRequest, SETTLE_S};

/// Assumed interval between two updates of the displayed speed, in seconds: the same as for recordings whose update
/// rate cannot be observed (set by judgement).
pub(super) const UPDATE_S: f64 = 0.2;

/// Shortest steady part of a leg that is worth flying, in seconds (set by judgement).
const MIN_STEADY_S: f64 = 4.0;

/// Duration of a leg if no course length is given, in seconds (set by judgement).
const USUAL_LEG_S: f64 = 12.0;

/// Smallest ratio of airspeed to wind speed: below it the aircraft hardly advances upwind (set by judgement).
const MIN_AIRSPEED_PER_WIND: f64 = 1.1;

/// The legs of one throttle step.
pub(super) struct StepLegs {
    pub(super) throttle_percent: f64,
    pub(super) airspeed_mps: f64,
    pub(super) upwind_s: f64,
    pub(super) downwind_s: f64,
}

impl StepLegs {
    /// Durations of the steady parts, upwind and downwind, in seconds.
    pub(super) fn steady_s(&self) -> [f64; 2] {
        [self.upwind_s, self.downwind_s].map(|leg_s| (leg_s - SETTLE_S).max(UPDATE_S))
    }

    /// Whether the downwind leg is too short to be evaluated.
    pub(super) fn is_short(&self) -> bool {
        self.downwind_s - SETTLE_S < MIN_STEADY_S
    }
}

/// The legs of all steps at the airspeeds and the wind to expect, in m/s.
pub(super) fn step_legs(
    request: &PlanRequest,
    airspeeds_mps: &[f64],
    wind_mps: f64,
) -> Result<Vec<StepLegs>, PlanError> {
    let steps = request.steps_percent.iter().zip(airspeeds_mps);
    steps
        .map(|(&throttle_percent, &airspeed_mps)| {
            if airspeed_mps <= wind_mps * MIN_AIRSPEED_PER_WIND {
                return Err(PlanError::SlowerThanWind { throttle_percent });
            }
            let duration_s =
                |ground_mps: f64| request.course_m.map_or(USUAL_LEG_S, |course_m| course_m / ground_mps);
            Ok(StepLegs {
                throttle_percent,
                airspeed_mps,
                upwind_s: duration_s(airspeed_mps - wind_mps),
                downwind_s: duration_s(airspeed_mps + wind_mps),
            })
        })
        .collect()
}

/// Length in metres of the shortest course whose downwind leg is long enough at every step, rounded up to 10
/// m.
pub(super) fn needed_course_m(request: &PlanRequest, legs: &[StepLegs]) -> f64 {
    let shortest_s = legs.iter().map(|leg| leg.downwind_s).fold(f64::INFINITY, f64::min);
    let course_m = request.course_m.unwrap_or(0.0);
    10.0 * (course_m * (SETTLE_S + MIN_STEADY_S) / shortest_s / 10.0).ceil()
}

/// Returns an error if the downwind leg of the fastest step ends before the speed is steady.
pub(super) fn check_course(request: &PlanRequest, legs: &[StepLegs]) -> Result<(), PlanError> {
    let fastest = legs.iter().min_by(|one, other| one.downwind_s.total_cmp(&other.downwind_s));
    let Some((course_m, fastest)) = request.course_m.zip(fastest) else { return Ok(()) };
    if fastest.downwind_s > SETTLE_S {
        return Ok(());
    }
    Err(PlanError::NoSteadyFlight {
        course_m,
        throttle_percent: fastest.throttle_percent,
        leg_s: fastest.downwind_s,
        needed_m: needed_course_m(request, legs),
    })
}

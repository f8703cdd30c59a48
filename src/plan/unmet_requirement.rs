//! The reasons why a test card does not fulfil the request.

use super::PlannedStep;
use super::capacity::{Capacity, OVERHEAD_S, USABLE_SHARE};
use super::leg_times::{StepLegs, needed_course_m};
use super::request::PlanRequest;

/// A part of the request that the card does not fulfil.
#[derive(Debug, Clone, PartialEq)]
pub enum UnmetRequirement {
    /// One pass over all steps takes longer than the battery lasts.
    Time {
        /// Duration of a flight with one pass, launch and landing included, in seconds.
        needed_s: f64,
        /// The given flying time, in seconds.
        given_s: f64,
        /// Number of throttle steps for which the battery would last.
        steps_that_fit: usize,
    },
    /// One pass over all steps takes more energy than may be drawn from the battery.
    Energy {
        /// Energy of a flight with one pass, launch and landing included, in Wh.
        needed_wh: f64,
        /// Usable energy of the battery, in Wh.
        usable_wh: f64,
    },
    /// The course is too short for some steps.
    Course {
        /// Throttles, in per cent, of the steps for which the course is too short.
        steps_percent: Vec<f64>,
        /// Length of the shortest course that suits all steps, in metres.
        needed_m: f64,
    },
    /// No number of pairs gives the wanted interval in the expected wind.
    Interval {
        /// Expected half-width of the 95 % interval, in m/s; `None` if the card cannot be flown.
        expected_mps: Option<f64>,
    },
}

pub(super) fn unmet_requirements(
    request: &PlanRequest,
    legs: &[StepLegs],
    steps: &[PlannedStep],
    capacity: &Capacity,
) -> Vec<UnmetRequirement> {
    let interval = steps.iter().any(|step| step.pairs_needed.is_none()).then(|| UnmetRequirement::Interval {
        expected_mps: steps.iter().filter_map(|step| step.half_width_mps).reduce(f64::max),
    });
    let unmet = [time(request, legs, capacity), energy(request, capacity), course(request, legs), interval];
    unmet.into_iter().flatten().collect()
}

fn time(request: &PlanRequest, legs: &[StepLegs], capacity: &Capacity) -> Option<UnmetRequirement> {
    let given_s = request.flight_s?;
    let needed_s = OVERHEAD_S + capacity.pass_s;
    let step_s = capacity.pass_s / legs.len() as f64;
    (needed_s > given_s).then(|| UnmetRequirement::Time {
        needed_s,
        given_s,
        steps_that_fit: ((given_s - OVERHEAD_S) / step_s).max(0.0) as usize,
    })
}

fn energy(request: &PlanRequest, capacity: &Capacity) -> Option<UnmetRequirement> {
    let usable_wh = USABLE_SHARE * request.pack?.energy_wh;
    let needed_wh = capacity.overhead_wh + capacity.pass_wh?;
    (needed_wh > usable_wh).then_some(UnmetRequirement::Energy { needed_wh, usable_wh })
}

fn course(request: &PlanRequest, legs: &[StepLegs]) -> Option<UnmetRequirement> {
    let short: Vec<f64> = legs.iter().filter(|leg| leg.is_short()).map(|leg| leg.throttle_percent).collect();
    (!short.is_empty())
        .then(|| UnmetRequirement::Course { steps_percent: short, needed_m: needed_course_m(request, legs) })
}

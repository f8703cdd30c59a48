//! The test card of the next flight: how often and how long to fly each throttle step, and in which order.

mod capacity;
mod expected_speed;
mod expected_uncertainty;
mod leg_times;
mod request;
mod run_order;
mod unmet_requirement;

use serde::Serialize;

use crate::summary::FlownFlight;

use capacity::{Capacity, OVERHEAD_S};
use expected_speed::{airspeeds_mps, wind_mps};
use expected_uncertainty::ExpectedUncertainty;
use leg_times::{StepLegs, check_course, step_legs};
use request::check;
use run_order::{largest_correlation, runs};
use unmet_requirement::unmet_requirements;

pub use expected_uncertainty::{Turbulence, dryden};
pub use request::{Pack, PlanError, PlanQuantity, PlanRequest, SETTLE_S, usual_half_width};
pub use run_order::balanced_order;
pub use unmet_requirement::UnmetRequirement;

/// Largest number of passes that is planned; more cannot be flown in a day (set by judgement).
const MAX_PASSES: u32 = 40;

/// Number of passes that is planned if no number of passes makes the interval as narrow as wanted: beyond this
/// number, one more pass would narrow the interval only a little (set by judgement).
const PASSES_OUT_OF_REACH: u32 = 6;

/// Wind speed as a share of the airspeed above which the card warns of crosswind (set by judgement).
const STRONG_WIND_SHARE: f64 = 0.3;

/// One throttle step of the test card.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlannedStep {
    /// Throttle in per cent.
    pub throttle_percent: f64,
    /// Expected airspeed, in m/s.
    pub airspeed_mps: f64,
    /// Duration of the upwind leg in seconds, including the time until the speed is steady.
    pub upwind_s: f64,
    /// Duration of the downwind leg in seconds, including the time until the speed is steady.
    pub downwind_s: f64,
    /// Number of pairs of legs to fly.
    pub pairs: u32,
    /// Number of pairs that this step needs; `None` if no number of pairs gives the wanted interval.
    pub pairs_needed: Option<u32>,
    /// Expected half-width of the 95 % interval, in m/s; `None` if the card cannot be flown or the legs are
    /// too short.
    pub half_width_mps: Option<f64>,
}

/// One pair of legs to fly.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PlannedRun {
    /// Number of the flight, from 1. Each flight starts with a charged battery.
    pub flight: u32,
    /// Number of the run, from 1, counted over all flights.
    pub run: u32,
    /// Throttle in per cent.
    pub throttle_percent: f64,
}

/// The plan for the next flight.
#[derive(Debug, Clone, PartialEq)]
pub struct TestCard {
    /// The steps, in ascending order of throttle.
    pub steps: Vec<PlannedStep>,
    /// The runs, in the order to fly them.
    pub runs: Vec<PlannedRun>,
    /// Number of flights.
    pub flights: u32,
    /// Duration of the longest flight in seconds, launch and landing included.
    pub flight_s: f64,
    /// Energy of the longest flight in Wh; `None` if the battery is not known.
    pub flight_wh: Option<f64>,
    /// Wanted half-width of the 95 % interval of each step's airspeed, in m/s.
    pub wanted_half_width_mps: f64,
    /// Expected wind, in m/s.
    pub wind_mps: f64,
    /// Expected standard deviation of the gusts, in m/s.
    pub gust_mps: f64,
    /// Largest correlation between throttle and order of flying within a flight, from 0 to 1: near 0, a
    /// falling voltage affects all throttles alike.
    pub throttle_order_correlation: f64,
    /// Parts of the request that the card cannot fulfil.
    pub unmet_requirements: Vec<UnmetRequirement>,
    /// Assumptions made for the card, one sentence each.
    pub assumptions: Vec<String>,
    /// Notes for the pilot, one sentence each.
    pub notes: Vec<String>,
}

/// Makes the card; `earlier` is a flight whose airspeeds, wind and gusts are used where the request gives none.
///
/// The airspeed of a pair is the mean of two legs. As for a measured flight, its uncertainty comes from gusts that the
/// legs are too short to average out, rounding, the receiver, and a wind that changes between the legs. Flying more
/// pairs reduces all of these except the rounding that all legs share. Every pass includes every step, and every other
/// pass is flown in reverse order, so that a falling voltage affects all steps alike (mirrored, counterbalanced order).
///
/// # Errors
/// [`PlanError`] names the part of the request that is missing or cannot be fulfilled.
pub fn plan(request: &PlanRequest, earlier: Option<&FlownFlight>) -> Result<TestCard, PlanError> {
    let mut request = request.clone();
    request.steps_percent.sort_by(f64::total_cmp);
    check(&request)?;
    let mut assumptions = Vec::new();
    let airspeeds_mps = airspeeds_mps(&request, earlier, &mut assumptions)?;
    let wind_mps = wind_mps(&request, earlier, &mut assumptions)?;
    let expected = ExpectedUncertainty::of(&request, earlier, wind_mps, &mut assumptions);
    let legs = step_legs(&request, &airspeeds_mps, wind_mps)?;
    check_course(&request, &legs)?;
    let capacity = Capacity::of(&request, &legs);
    let steps = planned_steps(&request, &legs, &expected, capacity.passes_per_flight != Some(0));
    let flights = capacity.flights(steps.first().map_or(0, |step| step.pairs));
    let runs = runs(&request.steps_percent, &flights);
    let longest = flights.iter().copied().max().unwrap_or(1);
    Ok(TestCard {
        unmet_requirements: unmet_requirements(&request, &legs, &steps, &capacity),
        notes: notes(&request, &steps, wind_mps),
        throttle_order_correlation: largest_correlation(&runs),
        runs,
        flights: flights.len() as u32,
        flight_s: OVERHEAD_S + f64::from(longest) * capacity.pass_s,
        flight_wh: capacity.pass_wh.map(|wh| capacity.overhead_wh + f64::from(longest) * wh),
        wanted_half_width_mps: request.half_width_mps,
        wind_mps,
        gust_mps: expected.gust_mps,
        steps,
        assumptions,
    })
}

/// The throttle steps of the plan. `can_be_flown` tells whether the battery lasts for one pass, which is one pair of
/// legs at each step.
fn planned_steps(
    request: &PlanRequest,
    legs: &[StepLegs],
    expected: &ExpectedUncertainty,
    can_be_flown: bool,
) -> Vec<PlannedStep> {
    let pairs_needed = |leg: &StepLegs| {
        (1..=MAX_PASSES).find(|pairs| expected.half_width_mps(leg, legs, *pairs) <= request.half_width_mps)
    };
    let needed: Vec<Option<u32>> = legs.iter().map(pairs_needed).collect();
    let passes = passes(&needed);
    let step = |(leg, needed): (&StepLegs, &Option<u32>)| PlannedStep {
        throttle_percent: leg.throttle_percent,
        airspeed_mps: leg.airspeed_mps,
        upwind_s: leg.upwind_s,
        downwind_s: leg.downwind_s,
        pairs: passes,
        pairs_needed: *needed,
        half_width_mps: (can_be_flown && !leg.is_short()).then(|| expected.half_width_mps(leg, legs, passes)),
    };
    legs.iter().zip(&needed).map(step).collect()
}

/// Number of passes over all steps: as many as the most demanding step needs. The number is 1 or even,
/// because with an odd number the order of the passes is not mirrored.
fn passes(needed: &[Option<u32>]) -> u32 {
    let all: Option<Vec<u32>> = needed.iter().copied().collect();
    match all.and_then(|all| all.into_iter().max()) {
        Some(1) => 1,
        Some(largest) => largest + largest % 2,
        None => PASSES_OUT_OF_REACH,
    }
}

fn notes(request: &PlanRequest, steps: &[PlannedStep], wind_mps: f64) -> Vec<String> {
    let mut notes = Vec::new();
    if request.pack.is_none() {
        notes.push(
            "Energy was not calculated: give the energy of the battery and the power at full throttle, or land on \
             your usual timer."
                .to_owned(),
        );
    }
    if request.flight_s.is_none() {
        notes.push("No flying time was given: do not fly longer than your battery allows.".to_owned());
    }
    if steps.iter().any(|step| wind_mps > STRONG_WIND_SHARE * step.airspeed_mps) {
        notes.push(
            "The wind is above three tenths of the airspeed, so that a crosswind makes airspeeds read low. Fly the \
             course along the wind, or wait for less wind."
                .to_owned(),
        );
    }
    notes
}

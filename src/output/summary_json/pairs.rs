//! Converts legs, pairs and throttle steps to the schema of the summary.

use super::budget::budget_summary;
use super::number;
use crate::airspeed::{Pair, StepResult};
use crate::legs::Leg;
use crate::model::estimate::Estimate;
use crate::summary::{AirspeedInterval, AirspeedSummary, LegSummary, PairSummary, StepSummary};

/// Converts a leg to the schema of the summary; `leg_number` counts from 1.
pub(super) fn leg_summary(leg: &Leg, leg_number: usize) -> LegSummary {
    LegSummary {
        leg: leg_number,
        kind: leg.kind,
        step: leg.step,
        throttle_percent: leg.throttle_percent.and_then(number),
        start_s: number(leg.start_s),
        end_s: number(leg.end_s),
        steady_start_s: number(leg.steady_start_s),
        steady_end_s: number(leg.steady_end_s),
        median: number(leg.speed_median),
        spread: number(leg.speed_spread),
        samples: leg.samples,
        uncertainty: number(leg.speed_uncertainty),
        voltage_v: leg.voltage_v.and_then(number),
        altitude: leg.altitude.and_then(number),
        satellites: leg.satellites.and_then(number),
        flags: leg.flags.clone(),
    }
}

/// Converts an airspeed and its interval to the schema of the summary.
fn interval(airspeed: &Estimate) -> AirspeedInterval {
    AirspeedInterval { value: number(airspeed.value), low: number(airspeed.low), high: number(airspeed.high) }
}

/// Converts an airspeed, its interval and its uncertainty to the schema of the summary.
pub(super) fn airspeed_summary(airspeed: &Estimate) -> AirspeedSummary {
    AirspeedSummary {
        interval: interval(airspeed),
        uncertainty: number(airspeed.standard_uncertainty),
        degrees_of_freedom: number(airspeed.degrees_of_freedom),
    }
}

/// Converts a pair to the schema of the summary.
pub(super) fn pair_summary(pair: &Pair) -> PairSummary {
    PairSummary {
        pair: pair.pair,
        step: pair.step,
        throttle_percent: pair.throttle_percent.and_then(number),
        upwind_leg: pair.legs.upwind.saturating_add(1),
        downwind_leg: pair.legs.downwind.saturating_add(1),
        upwind: number(pair.upwind),
        downwind: number(pair.downwind),
        airspeed: airspeed_summary(&pair.airspeed),
        wind: number(pair.wind),
        voltage_v: pair.voltage_v.and_then(number),
        altitude: pair.altitude.and_then(number),
        doubtful: pair.doubtful,
        flags: pair.flags.clone(),
        budget: budget_summary(&pair.budget),
    }
}

/// Converts a throttle step to the schema of the summary.
pub(super) fn step_summary(step: &StepResult) -> StepSummary {
    StepSummary {
        step: step.step,
        throttle_percent: step.throttle_percent.and_then(number),
        airspeed: interval(&step.airspeed),
        wind: number(step.wind),
        voltage_v: step.voltage_v.and_then(number),
        pairs: step.pairs.len(),
        doubtful: step.doubtful,
        flags: step.flags.iter().chain(&step.pair_flags).cloned().collect(),
        budget: budget_summary(&step.budget),
    }
}

//! Finds the throttle steps that two flights have in common.

use crate::propulsion::FlownStep;
use crate::summary::FlownFlight;

/// Maximum difference between the throttles of two steps that are compared, in per cent of full throttle (set by
/// judgement).
const SAME_THROTTLE_PERCENT: f64 = 2.0;

/// Maximum difference between two rounding uncertainties of the same display, in m/s. The summary file states these
/// uncertainties with six decimals.
const SAME_ROUNDING_MPS: f64 = 1e-5;

/// Factor by which the rounding uncertainty of each flight is multiplied if the two flights have different displays.
///
/// If one display truncates and the other does not, their speeds differ by `B`, half a display step, at all throttle
/// steps. The interval of the difference has the half-width `sqrt((1.960 o)^2 + K^2)`, where `o` is the standard
/// uncertainty from all other causes and `K` the part for the displays. It excludes zero in at most 5 % of such
/// comparisons if the half-width is at least `B + 1.645 o`. This is true for every `o` if `K = 1.84 B`, which is a
/// standard uncertainty of 0.33 display steps for each flight. The budget contains 0.238 display steps (see
/// `SHARED_ROUNDING_STEPS`); the factor is the ratio of these two numbers.
const TWO_DISPLAYS: f64 = 1.4;

/// The steps of two flights at the same throttle.
#[derive(Debug, Clone, Copy)]
pub(super) struct StepPair {
    pub(super) first: FlownStep,
    pub(super) later: FlownStep,
}

impl StepPair {
    /// Whether the battery voltage is known for both steps.
    pub(super) fn has_voltages(&self) -> bool {
        self.first.voltage_v.and(self.later.voltage_v).is_some()
    }

    /// The two steps with the rounding uncertainty that remains in their difference: none if both flights have the
    /// same display (`same_display`) and the same rounding uncertainty, otherwise the uncertainty times
    /// [`TWO_DISPLAYS`].
    fn with_rounding_of_difference(self, same_display: bool) -> Self {
        let apart_mps = (self.first.shared.rounding_mps - self.later.shared.rounding_mps).abs();
        let cancels = same_display && apart_mps <= SAME_ROUNDING_MPS;
        let factor = if cancels { 0.0 } else { TWO_DISPLAYS };
        Self { first: self.first.with_rounding_times(factor), later: self.later.with_rounding_times(factor) }
    }
}

/// Pairs each step of the first flight with the step of the later flight that has the nearest throttle, at most
/// [`SAME_THROTTLE_PERCENT`] away. If neither flight has a step with a known throttle, steps with the same number are
/// paired.
pub(super) fn step_pairs(first: &FlownFlight, later: &FlownFlight) -> Vec<StepPair> {
    let knows_throttle =
        |flight: &FlownFlight| flight.steps.iter().any(|step| step.throttle_percent.is_some());
    let by_number = !knows_throttle(first) && !knows_throttle(later);
    let distance = |one: &FlownStep, other: &FlownStep| match (one.throttle_percent, other.throttle_percent) {
        (Some(one), Some(other)) => Some((one - other).abs()).filter(|apart| *apart <= SAME_THROTTLE_PERCENT),
        _ => (by_number && one.step == other.step).then_some(0.0),
    };
    let with_nearest = |step: &FlownStep| {
        let near = later.steps.iter().filter_map(|other| Some((distance(step, other)?, other)));
        let (_, nearest) = near.min_by(|one, other| one.0.total_cmp(&other.0))?;
        Some(StepPair { first: *step, later: *nearest })
    };
    let same_display =
        first.camera.is_some() && first.camera == later.camera && first.speed_unit == later.speed_unit;
    let pairs = first.steps.iter().filter_map(with_nearest);
    pairs.map(|pair| pair.with_rounding_of_difference(same_display)).collect()
}

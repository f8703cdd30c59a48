//! Removes steady turns that look like legs. In calm air the speed in such a turn is a dip with a flat
//! bottom.

use super::flight_grid::{FlightGrid, STEP_S};
use super::partition::LegSteps;
use crate::stats::median;

/// Maximum duration of a turn, in seconds (set by judgement).
const MAX_TURN_S: f64 = 9.0;

/// Maximum time between a dip and either neighbouring leg, in seconds (set by judgement).
const MAX_DISTANCE_S: f64 = 4.0;

/// Maximum length of the median dip, as a share of the mean length of its neighbouring legs, for the dips of a
/// flight to be turns. In wind the slow legs are the longer ones, since both directions cover the same distance
/// over ground (set by judgement).
const MAX_TYPICAL_DIP_SHARE: f64 = 0.7;

/// Maximum length of a single dip that is a turn, as a share of the mean length of its neighbouring legs, if the
/// dips of the flight are turns (set by judgement).
const MAX_DIP_SHARE: f64 = 0.9;

/// Removes the legs that are really turns. A leg with a known heading is kept: the partition into legs and
/// turns has already used its heading.
pub(super) fn without_turns(grid: &FlightGrid, legs: Vec<LegSteps>) -> Vec<LegSteps> {
    let shares: Vec<Option<f64>> = (0..legs.len()).map(|index| dip_share(grid, &legs, index)).collect();
    let dip_depth: Vec<f64> = shares.iter().flatten().copied().collect();
    if median(&dip_depth).is_none_or(|typical| typical > MAX_TYPICAL_DIP_SHARE) {
        return legs;
    }
    let is_turn = |share: &Option<f64>| share.is_some_and(|share| share < MAX_DIP_SHARE);
    legs.into_iter().zip(shares).filter(|(_, share)| !is_turn(share)).map(|(leg, _)| leg).collect()
}

/// Length of a leg as a share of the mean length of the two neighbouring legs, if the speed of the leg is lower than
/// the speeds of these two; otherwise `None`.
fn dip_share(grid: &FlightGrid, legs: &[LegSteps], index: usize) -> Option<f64> {
    let (before, leg, after) = (legs.get(index.checked_sub(1)?)?, legs.get(index)?, legs.get(index + 1)?);
    let level = |leg: &LegSteps| median(&grid.speed[leg.first..leg.end]);
    let seconds = |steps: usize| steps as f64 * STEP_S;
    let next_to =
        seconds(leg.first - before.end) <= MAX_DISTANCE_S && seconds(after.first - leg.end) <= MAX_DISTANCE_S;
    let lower = level(leg)? < level(before)? && level(leg)? < level(after)?;
    let short = seconds(leg.end - leg.first) <= MAX_TURN_S;
    let heading_known = grid.turning[leg.first..leg.end].iter().any(Option::is_some);
    let neighbours = (before.end - before.first + after.end - after.first) as f64 / 2.0;
    (next_to && lower && short && !heading_known).then(|| (leg.end - leg.first) as f64 / neighbours)
}

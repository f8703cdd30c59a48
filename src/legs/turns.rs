//! Steady turns that look like legs: in calm air a turn is a dip with a flat bottom.

use super::evidence::{Evidence, STEP_S};
use super::partition::LegSteps;
use crate::stats::median;

/// A turn lasts at most this long, in seconds.
const LONGEST_TURN_S: f64 = 9.0;

/// A dip follows the leg before it and precedes the leg after it within this time, in seconds.
const NEXT_TO_S: f64 = 4.0;

/// Dips are taken for turns when the typical one is shorter than this share of its neighbours, and then
/// only those that are shorter than the second share. With wind the slow legs are the longer ones, since
/// both ways cover the same ground.
const TYPICAL_SHARE: f64 = 0.7;
const LARGEST_SHARE: f64 = 0.9;

/// The legs without those that are turns. A leg whose heading is known is never taken for one: the
/// division has looked at the heading already.
pub(super) fn without_turns(evidence: &Evidence, legs: Vec<LegSteps>) -> Vec<LegSteps> {
    let shares: Vec<Option<f64>> = (0..legs.len()).map(|index| dip_share(evidence, &legs, index)).collect();
    let dips: Vec<f64> = shares.iter().flatten().copied().collect();
    if median(&dips).is_none_or(|typical| typical > TYPICAL_SHARE) {
        return legs;
    }
    let is_turn = |share: &Option<f64>| share.is_some_and(|share| share < LARGEST_SHARE);
    legs.into_iter().zip(shares).filter(|(_, share)| !is_turn(share)).map(|(leg, _)| leg).collect()
}

/// Length of a leg as a share of its neighbours' mean length, if it is a dip between them.
fn dip_share(evidence: &Evidence, legs: &[LegSteps], index: usize) -> Option<f64> {
    let (before, leg, after) = (legs.get(index.checked_sub(1)?)?, legs.get(index)?, legs.get(index + 1)?);
    let level = |leg: &LegSteps| median(&evidence.speed[leg.first..leg.end]);
    let seconds = |steps: usize| steps as f64 * STEP_S;
    let next_to = seconds(leg.first - before.end) <= NEXT_TO_S && seconds(after.first - leg.end) <= NEXT_TO_S;
    let lower = level(leg)? < level(before)? && level(leg)? < level(after)?;
    let short = seconds(leg.end - leg.first) <= LONGEST_TURN_S;
    let heading_known = evidence.turning[leg.first..leg.end].iter().any(Option::is_some);
    let neighbours = (before.end - before.first + after.end - after.first) as f64 / 2.0;
    (next_to && lower && short && !heading_known).then(|| (leg.end - leg.first) as f64 / neighbours)
}

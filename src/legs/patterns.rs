//! Legs flown in three or more directions at one throttle, such as a triangle or a box.

use super::flight_grid::SAME_THROTTLE_PERCENT;
use super::{Leg, LegKind};
use crate::stats::sorted;

/// Angle up to which two legs have the same direction, in degrees; the legs of a pattern have different directions
/// (set by judgement).
const MIN_SEPARATION_DEG: f64 = 30.0;

/// Maximum angle between neighbouring directions of a pattern, in degrees (set by judgement).
const MAX_GAP_DEG: f64 = 200.0;

/// Minimum number of legs of a pattern: the airspeed and both components of the wind are three unknowns.
const MIN_LEGS: usize = 3;

/// Successive legs flown in three or more directions at one throttle.
#[derive(Debug, Clone, PartialEq)]
pub struct LegPattern {
    /// Indices of the legs in the flight's list of legs, in order of time.
    pub legs: Vec<usize>,
    /// Throttle in per cent; `None` where it is not known.
    pub throttle_percent: Option<f64>,
}

/// The patterns among the legs that belong to no pair and that the pilot did not mark as unpaired. A pattern ends
/// before a leg that repeats a direction, was flown at another throttle, belongs to a pair or has no heading.
pub(super) fn patterns(
    legs: &[Leg],
    headings_deg: &[Option<f64>],
    pair_indices: &[(usize, usize)],
) -> Vec<LegPattern> {
    let paired =
        |index: usize| pair_indices.iter().any(|(first, second)| *first == index || *second == index);
    let mut runs: Vec<Vec<(usize, f64)>> = vec![Vec::new()];
    for (index, (leg, heading)) in legs.iter().zip(headings_deg).enumerate() {
        let Some(heading) = heading.filter(|_| leg.kind != LegKind::Unpaired && !paired(index)) else {
            runs.push(Vec::new());
            continue;
        };
        let joins =
            runs.last().is_some_and(|run| run.iter().all(|other| belong(legs, other, (index, heading))));
        if !joins {
            runs.push(Vec::new());
        }
        if let Some(run) = runs.last_mut() {
            run.push((index, heading));
        }
    }
    runs.iter()
        .filter(|run| run.len() >= MIN_LEGS && widest_gap_deg(run) < MAX_GAP_DEG)
        .map(|run| LegPattern {
            legs: run.iter().map(|(index, _)| *index).collect(),
            throttle_percent: run.iter().find_map(|(index, _)| legs.get(*index)?.throttle_percent),
        })
        .collect()
}

fn belong(legs: &[Leg], one: &(usize, f64), other: (usize, f64)) -> bool {
    let throttle = |index: usize| legs.get(index).and_then(|leg| leg.throttle_percent);
    let same_throttle =
        throttle(one.0).zip(throttle(other.0)).is_none_or(|(a, b)| (a - b).abs() <= SAME_THROTTLE_PERCENT);
    let apart = ((other.1 - one.1 + 180.0).rem_euclid(360.0) - 180.0).abs();
    same_throttle && apart > MIN_SEPARATION_DEG
}

fn widest_gap_deg(run: &[(usize, f64)]) -> f64 {
    let directions = sorted(&run.iter().map(|(_, heading)| heading.rem_euclid(360.0)).collect::<Vec<f64>>());
    let around = directions.iter().copied().chain(directions.first().map(|first| first + 360.0));
    let around: Vec<f64> = around.collect();
    around.windows(2).map(|two| two[1] - two[0]).fold(0.0, f64::max)
}

/// Sets the kind of the patterns' legs to [`LegKind::Leg`], so that they are not marked as unpaired.
pub(super) fn mark(legs: &mut [Leg], patterns: &[LegPattern]) {
    for index in patterns.iter().flat_map(|pattern| &pattern.legs) {
        if let Some(leg) = legs.get_mut(*index) {
            leg.kind = LegKind::Leg;
        }
    }
}

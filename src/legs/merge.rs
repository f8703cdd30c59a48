//! Joins legs that a gust has divided.
//!
//! The turns of one flight resemble each other, and so do its legs; gusts come in all sizes and at any time.
//! Therefore several thresholds of the strength of a turn are tried. The best threshold leaves turns of
//! similar strength between legs of similar length, and small variability within the legs.

use super::flight_grid::{FlightGrid, STEP_S};
use super::partition::LegSteps;
use crate::stats::{median, quantile, sorted, standard_deviation};

/// Maximum time between two legs that may be joined, in seconds: more than a turn lies between legs that are
/// further apart (set by judgement).
const MAX_TURN_S: f64 = 12.0;

/// Assumed standard deviation of the natural logarithms of the turns' strengths or of the legs' lengths, if there are
/// fewer than three values to compute it from (set by judgement).
const ASSUMED_DEVIATION: f64 = 0.5;

/// Lower limit of the speed's standard deviation within legs, as a share of its typical value in the flight
/// (set by judgement).
const MIN_VARIABILITY_SHARE: f64 = 0.2;

/// Joins neighbouring legs that no turn separates.
pub(super) fn joined(grid: &FlightGrid, legs: Vec<LegSteps>) -> Vec<LegSteps> {
    let strengths: Vec<f64> = legs.windows(2).map(|two| turn_strength(grid, two[0], two[1])).collect();
    let mut limits = sorted(&strengths);
    limits.insert(0, 0.0);
    limits
        .into_iter()
        .map(|limit| {
            let joined = join_up_to(limit, &legs, &strengths);
            let left: Vec<f64> = strengths.iter().copied().filter(|strength| *strength > limit).collect();
            (disorder(grid, &joined, &left), joined)
        })
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map_or(legs, |(_, joined)| joined)
}

/// Strength of the turn between two legs, in the speed's unit: the absolute difference between the median speeds of
/// the legs, plus twice the depth of the dip between the legs below the lower of these medians. Infinite for legs
/// that must not be joined.
fn turn_strength(grid: &FlightGrid, before: LegSteps, after: LegSteps) -> f64 {
    let between = before.end..after.first;
    let apart = between.len() as f64 * STEP_S > MAX_TURN_S
        || grid.broken[between.clone()].iter().any(|broken| *broken)
        || grid.throttle_change[before.end..=after.first].iter().any(|change| *change)
        || grid.turning[between].iter().flatten().sum::<f64>() * STEP_S > 1.0;
    if apart {
        return f64::INFINITY;
    }
    let level = |leg: LegSteps| median(&grid.speed[leg.first..leg.end]).unwrap_or(0.0);
    let (first, second) = (level(before), level(after));
    let reach = (1.0 / STEP_S) as usize;
    let from = before.end.saturating_sub(reach).max(before.first);
    let turn = &grid.speed[from..(after.first + reach).min(after.end)];
    let dip = (first.min(second) - quantile(turn, 0.1).unwrap_or(f64::INFINITY)).max(0.0);
    ((second - first).abs() + 2.0 * dip).max(0.5 * grid.noise)
}

fn join_up_to(limit: f64, legs: &[LegSteps], strengths: &[f64]) -> Vec<LegSteps> {
    let mut joined: Vec<LegSteps> = Vec::new();
    for (index, leg) in legs.iter().enumerate() {
        let weak = index.checked_sub(1).is_some_and(|before| strengths[before] <= limit);
        match joined.last_mut() {
            Some(last) if weak => last.end = leg.end,
            _ => joined.push(*leg),
        }
    }
    joined
}

/// Disorder of a division into legs: the scatter of the turns' strengths plus the scatter of the legs'
/// lengths (standard deviations of the natural logarithms), plus the logarithm of the speed's standard
/// deviation within legs.
fn disorder(grid: &FlightGrid, legs: &[LegSteps], strengths: &[f64]) -> f64 {
    let scatter = |values: Vec<f64>| {
        let known = standard_deviation(&values).filter(|_| values.len() >= 3);
        known.unwrap_or(ASSUMED_DEVIATION)
    };
    let strengths = strengths.iter().filter(|strength| strength.is_finite()).map(|strength| strength.ln());
    let lengths = legs.iter().map(|leg| ((leg.end - leg.first) as f64).ln());
    scatter(strengths.collect()) + scatter(lengths.collect()) + within(grid, legs).ln()
}

/// Standard deviation of the speed within legs, in the speed's unit, at least [`MIN_VARIABILITY_SHARE`] times the
/// typical one of the flight (`noise` of `grid`).
fn within(grid: &FlightGrid, legs: &[LegSteps]) -> f64 {
    let of_leg = |leg: &LegSteps| {
        let variance = standard_deviation(&grid.speed[leg.first..leg.end]).unwrap_or(0.0).powi(2);
        let steps = (leg.end - leg.first) as f64;
        (variance * steps, steps)
    };
    let (sum, steps) = legs.iter().map(of_leg).fold((0.0, 0.0), |sum, leg| (sum.0 + leg.0, sum.1 + leg.1));
    (sum / f64::max(steps, 1.0)).sqrt().max(MIN_VARIABILITY_SHARE * grid.noise)
}

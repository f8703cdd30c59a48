//! Joins legs that were divided at a gust instead of a turn.
//!
//! The turns of one flight resemble each other, and so do the legs between them; gusts come in all
//! sizes and at any time. So of all limits for what counts as a turn the one is taken that leaves turns
//! of like strength between legs of like length, without mixing speeds within a leg.

use super::evidence::{Evidence, STEP_S};
use super::partition::LegSteps;
use crate::stats::{median, quantile, sorted, standard_deviation};

/// Legs further apart than this were parted by more than a turn and are never joined, in seconds.
const LONGEST_TURN_S: f64 = 12.0;

/// Scatter of strengths (logarithms) assumed where too few turns are left to measure it.
const USUAL_SCATTER: f64 = 0.5;

/// SpeedVariability within legs below this share of the usual one counts as this share.
const LEAST_WOBBLE: f64 = 0.2;

/// The legs with those joined that no turn parts.
pub(super) fn joined(evidence: &Evidence, legs: Vec<LegSteps>) -> Vec<LegSteps> {
    let strengths: Vec<f64> = legs.windows(2).map(|two| turn_strength(evidence, two[0], two[1])).collect();
    let mut limits = sorted(&strengths);
    limits.insert(0, 0.0);
    limits
        .into_iter()
        .map(|limit| {
            let joined = join_up_to(limit, &legs, &strengths);
            let left: Vec<f64> = strengths.iter().copied().filter(|strength| *strength > limit).collect();
            (disorder(evidence, &joined, &left), joined)
        })
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map_or(legs, |(_, joined)| joined)
}

/// How strongly the speed tells of a turn between two legs: the change of level, and twice the depth of
/// the dip below the lower level. Infinite where they must stay apart.
fn turn_strength(evidence: &Evidence, before: LegSteps, after: LegSteps) -> f64 {
    let between = before.end..after.first;
    let apart = between.len() as f64 * STEP_S > LONGEST_TURN_S
        || evidence.broken[between.clone()].iter().any(|broken| *broken)
        || evidence.throttle_change[before.end..=after.first].iter().any(|change| *change)
        || evidence.turning[between].iter().flatten().sum::<f64>() * STEP_S > 1.0;
    if apart {
        return f64::INFINITY;
    }
    let level = |leg: LegSteps| median(&evidence.speed[leg.first..leg.end]).unwrap_or(0.0);
    let (first, second) = (level(before), level(after));
    let reach = (1.0 / STEP_S) as usize;
    let from = before.end.saturating_sub(reach).max(before.first);
    let turn = &evidence.speed[from..(after.first + reach).min(after.end)];
    let dip = (first.min(second) - quantile(turn, 0.1).unwrap_or(f64::INFINITY)).max(0.0);
    ((second - first).abs() + 2.0 * dip).max(0.5 * evidence.noise)
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

/// How unlike the turns and the legs are: scatter of the turns' strengths, scatter of the legs' lengths
/// and wobble within the legs, all as logarithms.
fn disorder(evidence: &Evidence, legs: &[LegSteps], strengths: &[f64]) -> f64 {
    let scatter = |values: Vec<f64>| {
        let known = standard_deviation(&values).filter(|_| values.len() >= 3);
        known.unwrap_or(USUAL_SCATTER)
    };
    let strengths = strengths.iter().filter(|strength| strength.is_finite()).map(|strength| strength.ln());
    let lengths = legs.iter().map(|leg| ((leg.end - leg.first) as f64).ln());
    scatter(strengths.collect()) + scatter(lengths.collect()) + within(evidence, legs).ln()
}

/// Standard deviation of the speed within legs, not below [`LEAST_WOBBLE`] of the usual.
fn within(evidence: &Evidence, legs: &[LegSteps]) -> f64 {
    let of_leg = |leg: &LegSteps| {
        let variance = standard_deviation(&evidence.speed[leg.first..leg.end]).unwrap_or(0.0).powi(2);
        let steps = (leg.end - leg.first) as f64;
        (variance * steps, steps)
    };
    let (sum, steps) = legs.iter().map(of_leg).fold((0.0, 0.0), |sum, leg| (sum.0 + leg.0, sum.1 + leg.1));
    (sum / f64::max(steps, 1.0)).sqrt().max(LEAST_WOBBLE * evidence.noise)
}

//! Evidence that the aircraft turned back between two legs.
//!
//! Two legs of a pair are flown opposite ways, so there is a turn between them. In wind the ground speed changes
//! there from one level to the other within the few seconds of a turn; in calm air the turn costs speed and shows
//! as a dip. A flight at constant speed shows neither, a slow ramp changes between its stretches no faster than
//! within them.

use super::evidence::{Evidence, STEP_S};
use super::partition::LegSteps;
use crate::stats::{mean, median, quantile, standard_deviation};

/// Least time between the steady parts of two legs, in seconds: no model aeroplane turns back faster. Of 16 201 pairs
/// flown as planned in a simulation, 15 were closer (common practice, no source).
const SHORTEST_REVERSAL_S: f64 = 2.5;

/// Least depth of a dip and least change of level, in standard deviations of the speed within the two legs, and in
/// display steps.
const LEAST_CHANGE_DEVIATIONS: f64 = 2.5;
const LEAST_CHANGE_STEPS: f64 = 1.0;

/// A turn changes the speed at least this many times as fast as the speed drifts within the legs beside it, on the
/// average of both. Measured on both simulators (docs/benchmarks.md).
const TURN_TO_DRIFT: f64 = 3.0;

/// Time at the end of a leg over which its level there is taken, in seconds.
const END_S: f64 = 2.0;

/// The speed within one leg: a straight line through it, and the scatter about that line.
struct Level {
    middle: f64,
    first: f64,
    last: f64,
    drift_per_s: f64,
    deviation: f64,
}

impl Level {
    fn of(speed: &[f64]) -> Option<Self> {
        let (first_half, second_half) = speed.split_at(speed.len() / 2);
        let half_s = speed.len() as f64 * STEP_S / 2.0;
        let drift_per_s = (mean(second_half)? - mean(first_half)?) / half_s;
        let about_line: Vec<f64> = speed
            .iter()
            .enumerate()
            .map(|(step, value)| value - drift_per_s * step as f64 * STEP_S)
            .collect();
        let end = ((END_S / STEP_S) as usize).min(speed.len());
        Some(Self {
            middle: median(speed)?,
            first: mean(&speed[..end])?,
            last: mean(&speed[speed.len() - end..])?,
            drift_per_s,
            deviation: standard_deviation(&about_line)?,
        })
    }
}

/// Whether the speeds between two legs show a turn.
pub(super) fn is_seen(evidence: &Evidence, before: LegSteps, after: LegSteps, quantum: f64) -> bool {
    gap_s(before, after) >= SHORTEST_REVERSAL_S && changes(evidence, before, after, quantum)
}

/// The legs, those joined that neither a turn nor a change of the throttle parts: a gust has divided them.
pub(super) fn joined(evidence: &Evidence, legs: &[LegSteps], quantum: f64) -> Vec<LegSteps> {
    let mut joined: Vec<LegSteps> = Vec::new();
    for leg in legs {
        match joined.last_mut() {
            Some(last) if is_same_leg(evidence, *last, *leg, quantum) => last.end = leg.end,
            _ => joined.push(*leg),
        }
    }
    joined
}

fn is_same_leg(evidence: &Evidence, before: LegSteps, after: LegSteps, quantum: f64) -> bool {
    let throttle_changes = || evidence.throttle_change[before.end..=after.first].iter().any(|change| *change);
    let broken = || evidence.broken[before.end..after.first].iter().any(|broken| *broken);
    gap_s(before, after) < SHORTEST_REVERSAL_S
        && !throttle_changes()
        && !broken()
        && !changes(evidence, before, after, quantum)
}

fn gap_s(before: LegSteps, after: LegSteps) -> f64 {
    after.first.saturating_sub(before.end) as f64 * STEP_S
}

/// Whether the speed dips between two legs, or changes from one level to another as in a turn.
fn changes(evidence: &Evidence, before: LegSteps, after: LegSteps, quantum: f64) -> bool {
    let level = |leg: LegSteps| Level::of(&evidence.speed[leg.first..leg.end]);
    let (Some(first), Some(second)) = (level(before), level(after)) else { return true };
    let deviation = first.deviation.max(second.deviation);
    let least = (LEAST_CHANGE_DEVIATIONS * deviation).max(LEAST_CHANGE_STEPS * quantum);
    dips(evidence, before, after, &[&first, &second]) >= least
        || jumps(&first, &second, gap_s(before, after), least)
}

/// Depth of the dip below the lower of two legs.
fn dips(evidence: &Evidence, before: LegSteps, after: LegSteps, levels: &[&Level; 2]) -> f64 {
    let margin = (1.0 / STEP_S) as usize;
    let from = before.end.saturating_sub(margin).max(before.first);
    let turn = &evidence.speed[from..(after.first + margin).min(after.end)];
    let lower = levels[0].middle.min(levels[1].middle);
    quantile(turn, 0.1).map_or(0.0, |lowest| lower - lowest)
}

/// Whether the level changes by at least `least`, and much faster than it drifts within the legs.
fn jumps(first: &Level, second: &Level, gap_s: f64, least: f64) -> bool {
    let change = second.first - first.last;
    let drift_per_s = f64::midpoint(first.drift_per_s.abs(), second.drift_per_s.abs());
    change.abs() >= least && change.abs() / (gap_s + END_S) >= TURN_TO_DRIFT * drift_per_s
}

//! Recognises from the speeds that the aircraft turned back between two legs.
//!
//! The two legs of a pair are flown in opposite directions, with a turn between them. In wind the ground
//! speed changes there from one level to the other within a few seconds. In calm air the turn costs speed and
//! shows as a dip. A flight at constant speed shows neither. A slow increase of speed is no turn, since the
//! speed changes no faster between two legs than within them.

use super::flight_grid::{FlightGrid, STEP_S};
use super::partition::LegSteps;
use crate::stats::{mean, median, quantile, standard_deviation};

/// Minimum time between the steady parts of two legs for a turn, in seconds. In a simulation, 15 of 16 201 turns
/// flown as planned were quicker; for real aircraft this is common practice without a source (docs/benchmarks.md).
const MIN_REVERSAL_S: f64 = 2.5;

/// Minimum depth of a dip in the speed between two legs, and minimum change of the speed from one leg to the other,
/// in standard deviations of the speed within the two legs (docs/benchmarks.md).
const MIN_CHANGE_DEVIATIONS: f64 = 2.5;

/// Minimum depth of a dip in the speed between two legs, and minimum change of the speed from one leg to the other,
/// in display steps (docs/benchmarks.md).
const MIN_CHANGE_STEPS: f64 = 1.0;

/// Minimum rate at which the speed changes in a turn, as a multiple of the mean rate at which the speed drifts within
/// the two neighbouring legs. Chosen on two flight simulators (docs/benchmarks.md).
const TURN_TO_DRIFT: f64 = 3.0;

/// Time at the end of a leg over which the speed is averaged to get the level there, in seconds (set by
/// judgement).
const END_S: f64 = 2.0;

/// The speed within one leg: a straight line and the scatter about it.
struct LegLevel {
    middle: f64,
    first: f64,
    last: f64,
    drift_per_s: f64,
    deviation: f64,
}

impl LegLevel {
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

/// Whether the speeds show a turn between two legs, and the time between them is long enough for a turn. `quantum` is
/// the display step of the speed, in the speed's unit.
pub(super) fn is_seen(grid: &FlightGrid, before: LegSteps, after: LegSteps, quantum: f64) -> bool {
    gap_s(before, after) >= MIN_REVERSAL_S && shows_turn(grid, before, after, quantum)
}

/// Joins legs that are less than [`MIN_REVERSAL_S`] apart and have neither a turn nor a throttle change between them,
/// since only a gust has divided them. `quantum` is the display step of the speed, in the speed's unit.
pub(super) fn joined(grid: &FlightGrid, legs: &[LegSteps], quantum: f64) -> Vec<LegSteps> {
    let mut joined: Vec<LegSteps> = Vec::new();
    for leg in legs {
        match joined.last_mut() {
            Some(last) if is_same_leg(grid, *last, *leg, quantum) => last.end = leg.end,
            _ => joined.push(*leg),
        }
    }
    joined
}

fn is_same_leg(grid: &FlightGrid, before: LegSteps, after: LegSteps, quantum: f64) -> bool {
    let throttle_changes = || grid.throttle_change[before.end..=after.first].iter().any(|change| *change);
    let broken = || grid.broken[before.end..after.first].iter().any(|broken| *broken);
    gap_s(before, after) < MIN_REVERSAL_S
        && !throttle_changes()
        && !broken()
        && !shows_turn(grid, before, after, quantum)
}

fn gap_s(before: LegSteps, after: LegSteps) -> f64 {
    after.first.saturating_sub(before.end) as f64 * STEP_S
}

/// Whether the speed dips between two legs, or changes from one leg to the other as in a turn. `quantum` is the
/// display step of the speed, in the speed's unit.
fn shows_turn(grid: &FlightGrid, before: LegSteps, after: LegSteps, quantum: f64) -> bool {
    let level = |leg: LegSteps| LegLevel::of(&grid.speed[leg.first..leg.end]);
    let (Some(first), Some(second)) = (level(before), level(after)) else { return true };
    let deviation = first.deviation.max(second.deviation);
    let min_change = (MIN_CHANGE_DEVIATIONS * deviation).max(MIN_CHANGE_STEPS * quantum);
    dip_depth(grid, before, after, &[&first, &second]) >= min_change
        || level_changes(&first, &second, gap_s(before, after), min_change)
}

/// Depth of the dip between two legs below the level of the slower leg, in the speed's unit.
fn dip_depth(grid: &FlightGrid, before: LegSteps, after: LegSteps, levels: &[&LegLevel; 2]) -> f64 {
    let margin = (1.0 / STEP_S) as usize;
    let from = before.end.saturating_sub(margin).max(before.first);
    let turn = &grid.speed[from..(after.first + margin).min(after.end)];
    let lower = levels[0].middle.min(levels[1].middle);
    quantile(turn, 0.1).map_or(0.0, |lowest| lower - lowest)
}

/// Whether the speed changes by at least `min_change` from the end of the first leg to the start of the second, and
/// much faster than it drifts within the legs. `gap_s` is the time between the legs, in seconds; `min_change` is in
/// the speed's unit.
fn level_changes(first: &LegLevel, second: &LegLevel, gap_s: f64, min_change: f64) -> bool {
    let change = second.first - first.last;
    let drift_per_s = f64::midpoint(first.drift_per_s.abs(), second.drift_per_s.abs());
    change.abs() >= min_change && change.abs() / (gap_s + END_S) >= TURN_TO_DRIFT * drift_per_s
}

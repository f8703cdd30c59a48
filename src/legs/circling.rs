//! Distinguishes circling in wind from legs flown up and down a course.
//!
//! In wind, the ground speed of a circle flown at constant airspeed follows a sine. Its crests and troughs
//! can look like short legs. Real legs with turns between them show two levels with quick changes instead.
//! Both models are fitted to the speed between successive crests and troughs; the one with the smaller sum of
//! squares over the whole flight describes the flight better. Each model has four parameters for two
//! neighbouring legs.

use std::f64::consts::PI;

use nalgebra::{DMatrix, DVector};

use super::flight_grid::{FlightGrid, STEP_S};
use super::partition::LegSteps;
use crate::stats::linear;
use crate::stats::median;

/// Minimum number of turns between neighbouring legs for a flight to be recognised as circling (set by judgement).
const MIN_TURNS: usize = 2;

/// Half periods of the sine that are tried, as multiples of the time between the middles of two neighbouring
/// legs (set by judgement).
const HALF_PERIODS: [f64; 7] = [0.75, 0.85, 0.95, 1.0, 1.05, 1.15, 1.3];

/// Shifts of the edges of a turn that are tried, in seconds (set by judgement).
const EDGE_SHIFTS_S: [f64; 5] = [-2.0, -1.0, 0.0, 1.0, 2.0];

/// Alternative pairs of bounds: the flight is circling if it is below both bounds of at least one entry. Real legs
/// last longer than the turns between them. Therefore the entry that allows a larger share of flat parts requires a
/// much better fit of the sine. Chosen on two flight simulators (docs/benchmarks.md).
const BOUNDS: [CircleBounds; 2] = [
    CircleBounds { max_ratio: 0.9, max_flat_share: 0.4 },
    CircleBounds { max_ratio: 0.5, max_flat_share: 0.7 },
];

/// Upper bounds for a circling flight: of the ratio between the squared deviations of the speed from a sine and those
/// from two levels, and of the median share of the time in the flat parts (the legs between the turns).
struct CircleBounds {
    max_ratio: f64,
    max_flat_share: f64,
}

/// Whether the speed over the found legs follows the sine of a circle flown in wind. `turn_before` has one entry for
/// each leg: whether the speeds show a turn between the previous leg and this one, `None` if that is not known.
pub(super) fn is_seen(grid: &FlightGrid, legs: &[LegSteps], turn_before: &[Option<bool>]) -> bool {
    let heading_known = grid.turning.iter().any(Option::is_some);
    let neighbours = legs.windows(2).zip(turn_before.iter().skip(1)).filter(|(_, turn)| **turn == Some(true));
    let swings: Vec<(LegSteps, LegSteps)> = neighbours.map(|(two, _)| (two[0], two[1])).collect();
    if heading_known || swings.len() < MIN_TURNS {
        return false;
    }
    let flat_shares: Vec<f64> = swings.iter().map(|(before, after)| flat_share(*before, *after)).collect();
    let squares = swings.iter().filter_map(|(before, after)| squares_of_both(&grid.speed, *before, *after));
    let (sine, levels) = squares.fold((0.0, 0.0), |sum, both| (sum.0 + both.0, sum.1 + both.1));
    median(&flat_shares).is_some_and(|share| {
        BOUNDS.iter().any(|bounds| sine < bounds.max_ratio * levels && share < bounds.max_flat_share)
    })
}

/// Mean length of two legs as a share of that length plus the time between the legs.
fn flat_share(before: LegSteps, after: LegSteps) -> f64 {
    let flat = ((before.end - before.first) + (after.end - after.first)) as f64 / 2.0;
    flat / (flat + after.first.saturating_sub(before.end) as f64)
}

/// Sums of squared deviations of the speed from the best sine and from the best two levels; `None` if one of
/// the fits is impossible.
fn squares_of_both(speed: &[f64], before: LegSteps, after: LegSteps) -> Option<(f64, f64)> {
    let points: Vec<(f64, f64)> = (before.first..after.end)
        .filter(|step| speed[*step].is_finite())
        .map(|step| (step as f64 * STEP_S, speed[step]))
        .collect();
    let middle = |leg: LegSteps| (leg.first + leg.end) as f64 * STEP_S / 2.0;
    let half_period_s = middle(after) - middle(before);
    let sines = HALF_PERIODS.iter().filter_map(|share| squares_of_sine(&points, share * half_period_s));
    let shifts = || EDGE_SHIFTS_S.iter();
    let edges = shifts().flat_map(|start| shifts().map(move |end| (*start, *end)));
    let levels = edges.filter_map(|(start, end)| {
        let from_s = before.end as f64 * STEP_S + start;
        let to_s = after.first as f64 * STEP_S + end;
        (from_s + STEP_S < to_s).then(|| squares_of_levels(&points, from_s, to_s)).flatten()
    });
    Some((sines.min_by(f64::total_cmp)?, levels.min_by(f64::total_cmp)?))
}

/// Sum of squared deviations of the points (time in seconds, speed) from the best sine with this half period, whose
/// mean level is fitted as well; `None` if there are too few points.
fn squares_of_sine(points: &[(f64, f64)], half_period_s: f64) -> Option<f64> {
    let phase = |row: usize| PI * points[row].0 / half_period_s;
    let design = DMatrix::from_fn(points.len(), 3, |row, column| match column {
        0 => 1.0,
        1 => phase(row).cos(),
        _ => phase(row).sin(),
    });
    squares_about(&design, points)
}

/// Sum of squared deviations of the points (time in seconds, speed) from the best two levels: one until `from_s`, the
/// other from `to_s` on. Between these times half a cosine joins the levels, which is the shape of a turn at a
/// constant rate. `None` if there are too few points.
fn squares_of_levels(points: &[(f64, f64)], from_s: f64, to_s: f64) -> Option<f64> {
    let turned = |time_s: f64| {
        let share = ((time_s - from_s) / (to_s - from_s)).clamp(0.0, 1.0);
        (1.0 - (PI * share).cos()) / 2.0
    };
    let design = DMatrix::from_fn(
        points.len(),
        2,
        |row, column| if column == 0 { 1.0 } else { turned(points[row].0) },
    );
    squares_about(&design, points)
}

fn squares_about(design: &DMatrix<f64>, points: &[(f64, f64)]) -> Option<f64> {
    let values = DVector::from_iterator(points.len(), points.iter().map(|point| point.1));
    linear(design, &values).map(|fit| fit.residuals.norm_squared())
}

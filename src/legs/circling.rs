//! Tells circling in wind from legs flown up and down a course.
//!
//! Over the ground a circle at constant airspeed in wind shows a speed that swings as a sine; its crests and troughs
//! pass for short legs. Legs with turns between them show two levels and quick changes. Which of both describes the
//! speed between successive crests and troughs better is decided by the sum of squares over the whole flight; both
//! descriptions have four parameters for each two neighbours.

use std::f64::consts::PI;

use nalgebra::{DMatrix, DVector};

use super::evidence::{Evidence, STEP_S};
use super::partition::LegSteps;
use crate::stats::linear;
use crate::stats::median;

/// Fewest neighbours with a turn between them that tell.
const FEWEST_SWINGS: usize = 2;

/// Half periods of the sine that are tried, as shares of the time between the middles of two neighbours.
const HALF_PERIODS: [f64; 7] = [0.75, 0.85, 0.95, 1.0, 1.05, 1.15, 1.3];

/// By so much the edges of a turn are shifted to fit, in seconds.
const EDGE_SHIFTS_S: [f64; 5] = [-2.0, -1.0, 0.0, 1.0, 2.0];

/// Bounds within which the speed swings as in a circle: the sum of squares about the sine as a share of that about two
/// levels, and the share of the time that the flat crests and troughs take. Legs are flown for longer than their turns,
/// so where the flat parts take more of the time, the sine must describe the speed much better. Measured on both
/// simulators (docs/benchmarks.md).
const BOUNDS: [CircleBounds; 2] = [
    CircleBounds { largest_ratio: 0.9, largest_flat_share: 0.4 },
    CircleBounds { largest_ratio: 0.5, largest_flat_share: 0.7 },
];

struct CircleBounds {
    largest_ratio: f64,
    largest_flat_share: f64,
}

/// Whether the speed through the legs found swings as in a circle. `turn_before` says of every leg whether a turn is
/// seen before it.
pub(super) fn is_seen(evidence: &Evidence, legs: &[LegSteps], turn_before: &[Option<bool>]) -> bool {
    let heading_known = evidence.turning.iter().any(Option::is_some);
    let neighbours = legs.windows(2).zip(turn_before.iter().skip(1)).filter(|(_, turn)| **turn == Some(true));
    let swings: Vec<(LegSteps, LegSteps)> = neighbours.map(|(two, _)| (two[0], two[1])).collect();
    if heading_known || swings.len() < FEWEST_SWINGS {
        return false;
    }
    let flat_shares: Vec<f64> = swings.iter().map(|(before, after)| flat_share(*before, *after)).collect();
    let squares =
        swings.iter().filter_map(|(before, after)| squares_of_both(&evidence.speed, *before, *after));
    let (sine, levels) = squares.fold((0.0, 0.0), |sum, both| (sum.0 + both.0, sum.1 + both.1));
    median(&flat_shares).is_some_and(|share| {
        BOUNDS.iter().any(|bounds| sine < bounds.largest_ratio * levels && share < bounds.largest_flat_share)
    })
}

/// Mean length of two legs as a share of that and the time between them.
fn flat_share(before: LegSteps, after: LegSteps) -> f64 {
    let flat = ((before.end - before.first) + (after.end - after.first)) as f64 / 2.0;
    flat / (flat + after.first.saturating_sub(before.end) as f64)
}

/// Sums of squares about a sine and about two levels.
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

/// Sum of squares about the best sine of a half period about a level of its own.
fn squares_of_sine(points: &[(f64, f64)], half_period_s: f64) -> Option<f64> {
    let phase = |row: usize| PI * points[row].0 / half_period_s;
    let design = DMatrix::from_fn(points.len(), 3, |row, column| match column {
        0 => 1.0,
        1 => phase(row).cos(),
        _ => phase(row).sin(),
    });
    squares_about(&design, points)
}

/// Sum of squares about the best two levels with half a cosine between them, as a turn at an even rate makes.
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

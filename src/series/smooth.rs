//! The smoothed speed for plots.

use super::Gap;
use super::runs::Updates;
use crate::stats::{MAD_TO_SIGMA, median};

/// Half the width of the interval over which the speed is smoothed, in seconds (set by judgement). The weight
/// of a value at the distance d in seconds is (1 - (d/1.5)^3)^3; half of the sum of the weights lies within
/// 0.44 s.
pub const SMOOTHING_HALF_WIDTH_S: f64 = 1.5;

/// Number of values on each side that the outlier test compares a value with (set by judgement).
const HAMPEL_NEIGHBOURS: usize = 3;

/// Replaces outliers by the median of their window (the Hampel identifier). A value is an outlier if `|x -
/// median| > 3 x 1.4826 x MAD`, where the window holds the value and three neighbours on each side, and MAD
/// is the median absolute deviation. A deviation of up to 1.5 display steps is never an outlier.
pub(crate) fn without_outliers(values: &[f64], quantum: f64) -> Vec<f64> {
    (0..values.len())
        .map(|index| {
            let from = index.saturating_sub(HAMPEL_NEIGHBOURS);
            let window = &values[from..values.len().min(index + HAMPEL_NEIGHBOURS + 1)];
            let middle = median(window).unwrap_or(values[index]);
            let deviations: Vec<f64> = window.iter().map(|value| (value - middle).abs()).collect();
            let limit = 3.0 * MAD_TO_SIGMA * median(&deviations).unwrap_or(0.0);
            if (values[index] - middle).abs() > limit.max(1.5 * quantum) { middle } else { values[index] }
        })
        .collect()
}

/// The smoothed speed at every frame. Outliers are replaced; then a straight line is fitted to the updates
/// within 1.5 s of the frame, with tricube weights (locally weighted regression, Cleveland 1979). Updates on
/// the other side of a gap in the recording are not used. NaN if there are no such updates.
pub(super) fn smooth(time_s: &[f64], updates: &Updates, quantum: f64, gaps: &[Gap]) -> Vec<f64> {
    let cleaned = without_outliers(&updates.values, quantum);
    let mut smoothed = Vec::with_capacity(time_s.len());
    let mut from = 0;
    let mut gaps = gaps.iter().peekable();
    let mut stretch_start = f64::NEG_INFINITY;
    for &time in time_s {
        while let Some(gap) = gaps.next_if(|gap| gap.end_s <= time) {
            stretch_start = gap.end_s;
        }
        let stretch_end = gaps.peek().map_or(f64::INFINITY, |gap| gap.end_s);
        let earliest = (time - SMOOTHING_HALF_WIDTH_S).max(stretch_start);
        let latest = (time + SMOOTHING_HALF_WIDTH_S).min(stretch_end);
        while updates.time_s.get(from).is_some_and(|update| *update < earliest) {
            from += 1;
        }
        let near =
            updates.time_s[from..].iter().zip(&cleaned[from..]).take_while(|(update, _)| **update < latest);
        smoothed.push(line_at(time, near));
    }
    smoothed
}

/// Value at `time` of the weighted straight line through the points (time in seconds, value), limited to the range of
/// their values; NaN without points.
fn line_at<'a>(time: f64, points: impl Iterator<Item = (&'a f64, &'a f64)>) -> f64 {
    let (mut w, mut wx, mut wy, mut wxx, mut wxy) = (0.0, 0.0, 0.0, 0.0, 0.0);
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for (&at, &value) in points {
        let x = (at - time) / SMOOTHING_HALF_WIDTH_S;
        let weight = (1.0 - x.abs().powi(3)).max(0.0).powi(3).max(1e-6);
        w += weight;
        wx += weight * x;
        wy += weight * value;
        wxx += weight * x * x;
        wxy += weight * x * value;
        low = low.min(value);
        high = high.max(value);
    }
    if w <= 0.0 {
        return f64::NAN;
    }
    let determinant = w * wxx - wx * wx;
    let line = if determinant > 1e-9 * w * w { (wy * wxx - wx * wxy) / determinant } else { wy / w };
    line.clamp(low, high)
}

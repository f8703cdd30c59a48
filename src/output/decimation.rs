//! Selects fewer points for a plot than there are frames, without hiding a gap.

use std::collections::HashSet;

use super::axis::Axis;

/// Largest number of dots in one plot; it limits the size of the page (set by judgement).
const MAX_DOTS: usize = 2500;

/// Largest number of points in one plot's line; it limits the size of the page (set by judgement).
const MAX_LINE_POINTS: usize = 2000;

/// Interval without points that breaks a line, in seconds (set by judgement).
const BREAK_S: f64 = 1.0;

/// The dots of a plot with `size` pixels: at most one per pixel, decimated evenly to at most [`MAX_DOTS`].
pub fn dots(
    points: impl Iterator<Item = (f64, f64)>,
    axes: (&Axis, &Axis),
    size: (u32, u32),
) -> Vec<(f64, f64)> {
    let pixel = |place: f64, pixels: u32| (place * f64::from(pixels)).floor() as i64;
    let mut taken = HashSet::new();
    let seen: Vec<_> = points
        .filter(|(time_s, value)| time_s.is_finite() && value.is_finite())
        .filter(|(time_s, value)| {
            taken.insert((pixel(axes.0.place(*time_s), size.0), pixel(axes.1.place(*value), size.1)))
        })
        .collect();
    let every = seen.len().div_ceil(MAX_DOTS).max(1);
    seen.into_iter().step_by(every).collect()
}

/// The lines of a plot, broken where a value is missing and where no point follows for more than [`BREAK_S`]
/// seconds. Each line is decimated evenly and keeps its first and last points.
pub fn lines(points: &[(f64, f64)]) -> Vec<Vec<(f64, f64)>> {
    let every = points.len().div_ceil(MAX_LINE_POINTS).max(1);
    let known = |point: &(f64, f64)| point.0.is_finite() && point.1.is_finite();
    points
        .chunk_by(|one, next| known(one) == known(next) && next.0 - one.0 <= BREAK_S)
        .filter(|run| run.first().is_some_and(known))
        .map(|run| run.iter().step_by(every).chain(run.last()).copied().collect())
        .collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn many(count: u32) -> Vec<(f64, f64)> {
        (0..count).map(|n| (f64::from(n) / 30.0, f64::from(n * 7919 % 1000))).collect()
    }

    #[test]
    fn dots_that_would_hide_behind_another_are_left_out() {
        let points = [(0.0, 50.0), (0.001, 50.0), (5.0, 60.0), (9.0, f64::NAN), (10.0, 70.0)];
        let time = Axis::of_time(points.iter().map(|point| point.0)).unwrap();
        let speed = Axis::over(points.iter().map(|point| point.1)).unwrap();
        let dots = dots(points.into_iter(), (&time, &speed), (100, 100));
        assert_eq!(dots, [(0.0, 50.0), (5.0, 60.0), (10.0, 70.0)]);
    }

    #[test]
    fn dots_and_lines_stay_within_their_number_and_keep_their_ends() {
        let points = many(100_000);
        let time = Axis::of_time(points.iter().map(|point| point.0)).unwrap();
        let speed = Axis::over(points.iter().map(|point| point.1)).unwrap();
        assert!(dots(points.iter().copied(), (&time, &speed), (960, 420)).len() <= MAX_DOTS);
        let lines = lines(&points);
        assert_eq!(lines.len(), 1);
        assert!(lines[0].len() <= MAX_LINE_POINTS + 1);
        assert_eq!((lines[0].first(), lines[0].last()), (points.first(), points.last()));
    }

    #[test]
    fn a_line_breaks_at_a_missing_value_and_at_a_pause() {
        let points = [(0.0, 1.0), (0.1, 1.0), (0.2, f64::NAN), (0.3, 1.0), (2.0, 1.0)];
        let starts: Vec<f64> = lines(&points).iter().map(|line| line[0].0).collect();
        assert_eq!(starts, [0.0, 0.3, 2.0]);
    }
}

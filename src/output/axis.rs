//! Axes: a range that holds the data and ticks at round numbers.

use std::ops::Range;

use plotters::coord::ranged1d::{DefaultFormatting, KeyPointHint, Ranged};

/// Distances between the ticks of a time axis, in seconds; axes of longer flights have ticks at whole hours.
const TIME_STEPS_S: [f64; 12] = [0.1, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 30.0, 60.0, 120.0, 300.0, 600.0];

/// Largest number of ticks on an axis (set by judgement).
const MAX_TICKS: f64 = 8.0;

/// The range of an axis and its ticks.
#[derive(Debug, Clone, PartialEq)]
pub struct Axis {
    /// Lower end, in the unit of the data.
    pub low: f64,
    /// Upper end, in the unit of the data; always above the lower end.
    pub high: f64,
    /// Values at which there are ticks, ascending.
    pub ticks: Vec<f64>,
    /// Distance between ticks, in the unit of the data.
    pub step: f64,
}

impl Axis {
    /// An axis over the finite values among `values`, with a margin of a twentieth of their span on either
    /// side; `None` without finite values, or if their span is not finite.
    pub fn over(values: impl Iterator<Item = f64>) -> Option<Self> {
        let (low, high) = extent(values)?;
        // A flat line still gets some height, and steps stay well above the spacing of floats.
        let least = (low.abs().max(high.abs()) * 1e-3).max(1e-3);
        let margin = ((high - low) / 20.0).max(least);
        Self::between(low - margin, high + margin, 0.0)
    }

    /// An axis over exactly the range from `low` to `high`, with ticks at least `least_step` apart; `None` unless
    /// `high` minus `low` is finite and above 0.
    pub fn between(low: f64, high: f64, least_step: f64) -> Option<Self> {
        let span = high - low;
        (span.is_finite() && span > 0.0)
            .then(|| Self::with_step(low, high, round_step((span / MAX_TICKS).max(least_step))))
    }

    /// A time axis over exactly the range of the finite times, in seconds; `None` if their span is zero.
    pub fn of_time(times_s: impl Iterator<Item = f64>) -> Option<Self> {
        let (low, high) = extent(times_s)?;
        let least = (high - low) / MAX_TICKS;
        if !(least.is_finite() && least > 1e-6 * low.abs().max(high.abs())) {
            return None;
        }
        let hours = (least / 3600.0).ceil() * 3600.0;
        let step = TIME_STEPS_S.into_iter().find(|step| *step >= least).unwrap_or(hours);
        Some(Self::with_step(low, high, step))
    }

    /// The same axis, extended at its upper end by `share` of its span.
    pub fn with_headroom(self, share: f64) -> Self {
        Self { high: self.high + share * (self.high - self.low), ..self }
    }

    /// Position of a value along the axis: 0 at the lower end, 1 at the upper end.
    pub(crate) fn place(&self, value: f64) -> f64 {
        (value - self.low) / (self.high - self.low)
    }

    /// Number of decimals that distinguishes neighbouring ticks.
    pub(crate) fn decimals(&self) -> usize {
        // The cast saturates at 0 for steps of 1 and more.
        (-self.step.log10()).ceil().clamp(0.0, 6.0) as usize
    }

    fn with_step(low: f64, high: f64, step: f64) -> Self {
        let first = (low / step).ceil();
        let count = ((high / step).floor() - first).clamp(0.0, 4.0 * MAX_TICKS) as u32;
        let ticks = (0..=count).map(|n| (first + f64::from(n)) * step).filter(|tick| *tick <= high);
        Self { low, high, ticks: ticks.collect(), step }
    }
}

impl Ranged for Axis {
    type FormatOption = DefaultFormatting;
    type ValueType = f64;

    fn map(&self, value: &f64, (first, last): (i32, i32)) -> i32 {
        // The cast saturates: a value far outside lands far outside.
        first.saturating_add((self.place(*value) * f64::from(last - first)).round() as i32)
    }

    fn key_points<Hint: KeyPointHint>(&self, hint: Hint) -> Vec<f64> {
        if hint.weight().allow_light_points() { Vec::new() } else { self.ticks.clone() }
    }

    fn range(&self) -> Range<f64> {
        self.low..self.high
    }
}

fn extent(values: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    values
        .filter(|value| value.is_finite())
        .map(|value| (value, value))
        .reduce(|one, next| (one.0.min(next.0), one.1.max(next.1)))
}

/// The smallest number of the form 1, 2 or 5 times a power of ten that is at least `least`.
fn round_step(least: f64) -> f64 {
    let power = 10f64.powf(least.log10().floor());
    [1.0, 2.0, 5.0].map(|digit| digit * power).into_iter().find(|step| *step >= least).unwrap_or(10.0 * power)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn ticks_stand_at_round_numbers_within_the_range() {
        let axis = Axis::over([47.0, 92.0].into_iter()).unwrap();
        assert_eq!(axis.ticks, [50.0, 60.0, 70.0, 80.0, 90.0]);
        assert_eq!(axis.decimals(), 0);
        let fine = Axis::over([22.7, 23.1].into_iter()).unwrap();
        assert_eq!(fine.decimals(), 1);
        assert!(fine.low < 22.7 && fine.high > 23.1);
    }

    #[test]
    fn ticks_of_time_stand_at_whole_minutes_of_a_flight() {
        assert_eq!(Axis::of_time([0.0, 359.0].into_iter()).unwrap().ticks[..3], [0.0, 60.0, 120.0]);
        assert_eq!(Axis::of_time([0.0, 20_000.0].into_iter()).unwrap().step, 3600.0);
    }

    #[test]
    fn there_is_no_axis_over_an_empty_or_unrepresentable_range() {
        assert_eq!(Axis::over([f64::NAN, f64::INFINITY].into_iter()), None);
        assert_eq!(Axis::over([f64::MAX, f64::MIN].into_iter()), None);
        assert_eq!(Axis::of_time([1.0, 1.0].into_iter()), None);
        assert_eq!(Axis::of_time(std::iter::empty()), None);
    }

    #[test]
    fn a_flat_line_gets_some_height_at_any_size() {
        for value in [0.0, 23.1, -1e15, 1e300] {
            let axis = Axis::over(std::iter::once(value)).unwrap();
            assert!(axis.low < value && value < axis.high);
            assert!(axis.ticks.len() < 40 && axis.ticks.windows(2).all(|two| two[0] < two[1]));
        }
    }
}

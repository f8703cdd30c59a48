//! Rejects mixed texts. An encoder with too few bits may update some digits of a readout in a later frame
//! than the others. The video then shows a number that the overlay never showed, such as 24.9 when the
//! overlay changes from 23.9 to 24.0.

use super::runs::ValueRun;
use crate::setup::MAX_DIGITS;

/// Maximum duration of a mixed text, in seconds: the encoder corrects the text within the next frames (set by
/// judgement).
const MAX_DURATION_S: f64 = 0.5;

/// Number of runs before and after a mixed text that may have contributed digits (set by judgement).
const NEIGHBOURS: usize = 2;

/// Maximum time between a mixed text and a run that may have contributed digits, in seconds (set by judgement).
const MAX_DISTANCE_S: f64 = 0.5;

/// Drops short runs whose text mixes digits of an earlier and a later value. There are two cases. First, each
/// digit equals that of the earlier or of the later value at the same place, and the value lies outside the
/// interval between the two by more than the width of the interval. Second, the value differs from the
/// earlier one only by a carry into one digit, and the later value is close to the earlier one.
pub(super) fn without_mixed(runs: Vec<ValueRun>, decimals: u8) -> Vec<ValueRun> {
    let scale = 10_f64.powi(i32::from(decimals));
    // No display shows more digits.
    let number = |run: &ValueRun| (run.value * scale).round().clamp(-1e12, 1e12) as i64;
    let mut kept: Vec<ValueRun> = Vec::with_capacity(runs.len());
    for (index, run) in runs.iter().enumerate() {
        let before =
            kept.iter().rev().take(NEIGHBOURS).filter(|before| run.start_s - before.end_s <= MAX_DISTANCE_S);
        let after = || {
            runs[index + 1..]
                .iter()
                .take(NEIGHBOURS)
                .filter(|after| after.start_s - run.end_s <= MAX_DISTANCE_S)
        };
        let mut pairs = before.flat_map(|before| after().map(move |after| (before, after)));
        let is_short = run.end_s - run.start_s <= MAX_DURATION_S;
        if !(is_short
            && pairs.any(|(before, after)| is_mixed(number(before), number(run), number(after), decimals)))
        {
            kept.push(*run);
        }
    }
    kept
}

fn is_mixed(before: i64, shown: i64, after: i64, decimals: u8) -> bool {
    let (low, high) = (before.min(after), before.max(after));
    let outside = (low - shown).max(shown - high);
    let digits = (0..u32::from(MAX_DIGITS)).all(|place| {
        let digit = |number| digit(number, place, decimals);
        digit(shown) == digit(before) || digit(shown) == digit(after)
    });
    low >= 0 && shown >= 0 && (digits && outside > high - low || is_carried(before, shown, after))
}

/// Minimum ratio of two distances for a value to result from an incomplete carry: the distance from the
/// earlier value to the shown one, divided by the distance from the earlier value to the later one (set by
/// judgement).
const MIN_CLOSENESS_FACTOR: i64 = 5;

/// Whether the shown value results from an incomplete carry: one digit was raised or lowered by one, while
/// the digits after it still have their earlier values. Then it differs from the earlier value by a power of
/// ten, and the later value is much closer to the earlier one. Values are in display steps.
fn is_carried(before: i64, shown: i64, after: i64) -> bool {
    let step = (shown - before).abs();
    let is_power = (1..u32::from(MAX_DIGITS)).any(|place| step == 10_i64.pow(place));
    is_power && MIN_CLOSENESS_FACTOR * (after - before).abs() <= step
}

/// One digit of a number in display steps; `place` counts digits from the last one (0), `decimals` is the
/// number of digits after the decimal point. `None` to the left of the first digit.
fn digit(number: i64, place: u32, decimals: u8) -> Option<i64> {
    let rest = number / 10_i64.pow(place);
    (rest > 0 || place <= u32::from(decimals)).then_some(rest % 10)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(value: f64, start_s: f64, end_s: f64) -> ValueRun {
        ValueRun { value, first: 0, last: 0, start_s, end_s, frames: 3, weight: 3.0 }
    }

    fn kept(values: &[f64], decimals: u8) -> Vec<f64> {
        let runs = values.iter().zip(0..).map(|(value, number)| {
            let start_s = 0.1 * f64::from(number);
            run(*value, start_s, start_s + 0.07)
        });
        without_mixed(runs.collect(), decimals).iter().map(|run| run.value).collect()
    }

    #[test]
    fn a_number_mixed_from_the_digits_before_and_after_is_rejected() {
        assert_eq!(kept(&[23.9, 24.9, 24.0], 1), [23.9, 24.0]);
        assert_eq!(kept(&[119.0, 129.0, 120.0], 0), [119.0, 120.0]);
        assert_eq!(kept(&[69.0, 60.0, 70.0], 0), [69.0, 70.0]);
        assert_eq!(kept(&[99.0, 199.0, 100.0], 0), [99.0, 100.0]);
        assert_eq!(kept(&[1.1, 0.1, 0.9], 1), [1.1, 0.9]);
        assert_eq!(kept(&[23.9, 24.9, 23.9], 1), [23.9, 23.9]);
        assert_eq!(kept(&[120.0, 110.0, 119.0], 0), [120.0, 119.0]);
    }

    #[test]
    fn values_on_the_way_and_digits_of_neither_stay() {
        assert_eq!(kept(&[88.0, 89.0, 90.0], 0), [88.0, 89.0, 90.0]);
        assert_eq!(kept(&[119.0, 110.0, 131.0], 0), [119.0, 110.0, 131.0]);
        assert_eq!(kept(&[119.0, 129.0, 139.0], 0), [119.0, 129.0, 139.0]);
        assert_eq!(kept(&[119.0, 121.0, 119.0], 0), [119.0, 121.0, 119.0]);
        assert_eq!(kept(&[119.0, 128.0, 120.0], 0), [119.0, 128.0, 120.0]);
        assert_eq!(kept(&[-3.0, 7.0, 3.0], 0), [-3.0, 7.0, 3.0]);
    }

    #[test]
    fn a_value_shown_for_long_or_far_from_its_neighbours_stays() {
        let long = [run(23.9, 0.0, 1.0), run(24.9, 1.1, 2.0), run(24.0, 2.1, 3.0)];
        assert_eq!(without_mixed(long.to_vec(), 1).len(), 3);
        let far = [run(23.9, 0.0, 1.0), run(24.9, 1.8, 2.0), run(24.0, 2.9, 3.0)];
        assert_eq!(without_mixed(far.to_vec(), 1).len(), 3);
    }
}

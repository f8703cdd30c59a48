//! Mixed texts: an encoder short of bits renews some digits of a readout before the others, and the picture
//! then shows a number that the overlay never did, such as 24.9 between 23.9 and 24.0, or for a 24.0 that is gone
//! again before its last digit was renewed.

use super::runs::Run;

/// A mixed text is gone after so many seconds at the latest: the encoder makes up for it with the next pictures.
const LONGEST_S: f64 = 0.5;

/// Runs before and after that may have left their digits, and the most time between, in seconds.
const NEIGHBOURS: usize = 2;
const NEAR_S: f64 = 0.5;

/// Digits looked at, from the last one on.
const DIGITS: u32 = 8;

/// Drops short runs whose every digit is that of a run before or of one after, if the value lies further outside
/// these two than they lie apart; and those that are a run before with one digit a step up or down, not the last,
/// if what comes after is near it again.
pub(super) fn without_mixed(runs: Vec<Run>, decimals: u8) -> Vec<Run> {
    let scale = 10_f64.powi(i32::from(decimals));
    // Beyond so many digits no display shows anything.
    let number = |run: &Run| (run.value * scale).round().clamp(-1e12, 1e12) as i64;
    let mut kept: Vec<Run> = Vec::with_capacity(runs.len());
    for (index, run) in runs.iter().enumerate() {
        let before = kept.iter().rev().take(NEIGHBOURS).filter(|before| run.start_s - before.end_s <= NEAR_S);
        let after =
            || runs[index + 1..].iter().take(NEIGHBOURS).filter(|after| after.start_s - run.end_s <= NEAR_S);
        let mut pairs = before.flat_map(|before| after().map(move |after| (before, after)));
        let is_short = run.end_s - run.start_s <= LONGEST_S;
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
    let digits = (0..DIGITS).all(|place| {
        let digit = |number| digit(number, place, decimals);
        digit(shown) == digit(before) || digit(shown) == digit(after)
    });
    low >= 0 && shown >= 0 && (digits && outside > high - low || is_carried(before, shown, after))
}

/// How much nearer than the value shown the one after must be to the one before.
const NEARER: i64 = 5;

/// Whether what is shown is the value before with a digit carried or borrowed, but not the digits behind it.
fn is_carried(before: i64, shown: i64, after: i64) -> bool {
    let step = (shown - before).abs();
    let is_power = (1..DIGITS).any(|place| step == 10_i64.pow(place));
    is_power && NEARER * (after - before).abs() <= step
}

/// The digit at a place counted from the last one; `None` before the first digit.
fn digit(number: i64, place: u32, decimals: u8) -> Option<i64> {
    let rest = number / 10_i64.pow(place);
    (rest > 0 || place <= u32::from(decimals)).then_some(rest % 10)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(value: f64, start_s: f64, end_s: f64) -> Run {
        Run { value, first: 0, last: 0, start_s, end_s, frames: 3, weight: 3.0 }
    }

    fn kept(values: &[f64], decimals: u8) -> Vec<f64> {
        let runs = values.iter().zip(0..).map(|(value, number)| {
            let start_s = 0.1 * f64::from(number);
            run(*value, start_s, start_s + 0.07)
        });
        without_mixed(runs.collect(), decimals).iter().map(|run| run.value).collect()
    }

    #[test]
    fn a_number_of_digits_from_before_and_after_is_none_the_overlay_showed() {
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
    fn what_is_shown_for_long_or_far_from_its_neighbours_stays() {
        let long = [run(23.9, 0.0, 1.0), run(24.9, 1.1, 2.0), run(24.0, 2.1, 3.0)];
        assert_eq!(without_mixed(long.to_vec(), 1).len(), 3);
        let far = [run(23.9, 0.0, 1.0), run(24.9, 1.8, 2.0), run(24.0, 2.9, 3.0)];
        assert_eq!(without_mixed(far.to_vec(), 1).len(), 3);
    }
}

//! Finds confused digits by counting: with the right digits, a value changes less from frame to frame than with two
//! digits swapped.
//!
//! This is the decoding of a substitution cipher with arithmetic in place of a dictionary; compare Huang,
//! Learned-Miller and McCallum (ICDAR 2007) and Ho and Nagy (ICPR 2000), who decode with words.

use super::readout::value_of;

/// Minimum number of changes, from one value to the next, whose size would differ if two digits were swapped. With
/// fewer, the two digits are never reported as confused. Set by judgement.
const MIN_STEPS: usize = 8;

/// Two digits are reported as confused if swapping them reduces the sum of the absolute changes of the values by more
/// than this many standard deviations of the reduction (the root of the sum of its squared terms). Set by judgement:
/// if the digits are right, swapping makes the changes larger, and even a reduction by one standard deviation is rare.
const MIN_RATIO: f64 = 3.0;
/// Maximum time between two texts whose values are subtracted, in seconds.
const MAX_GAP_S: f64 = 2.0;

/// Minimum number of times that a value has fewer digits than before and after, for its texts to count as incomplete (set by
/// judgement: while an aircraft is carried, 12, 1, 15 can be values).
const MIN_LOSSES: usize = 3;

/// A time in seconds, and the text read at that time.
pub type TimedText = (f64, String);

/// Digits that are probably confused with another digit, in ascending order: the values of `channels` would change
/// clearly less if the two digits were swapped. The texts of each channel are in order of time.
#[must_use]
pub fn confused_digits(channels: &[Vec<TimedText>]) -> Vec<char> {
    let mut confused = Vec::new();
    let pairs = (0..10_u32).flat_map(|one| (one + 1..10).map(move |other| (one, other)));
    for (one, other) in
        pairs.filter_map(|(one, other)| char::from_digit(one, 10).zip(char::from_digit(other, 10)))
    {
        let gains: Vec<f64> = channels.iter().flat_map(|texts| gains(texts, one, other)).collect();
        let deviation = gains.iter().map(|gain| gain * gain).sum::<f64>().sqrt();
        if gains.len() >= MIN_STEPS && gains.iter().sum::<f64>() > MIN_RATIO * deviation {
            confused.extend([one, other]);
        }
    }
    confused.sort_unstable();
    confused.dedup();
    confused
}

/// Whether texts, in order of time, sometimes lack their first or last digit: a value such as 852, 85, 850 has fewer digits than
/// before and after, and its digits begin or end one of these values. This happens with a narrow digit that is not recognised.
#[must_use]
pub fn loses_digits(texts: &[TimedText]) -> bool {
    let mut values: Vec<&str> = texts.iter().map(|(_, text)| text.trim_start_matches('-')).collect();
    values.dedup();
    let is_loss = |values: &&[&str]| {
        let [before, value, after] = values else { return false };
        let is_shorter = value.len() < before.len().min(after.len());
        is_shorter && [before, after].iter().any(|whole| whole.starts_with(value) || whole.ends_with(value))
    };
    values.windows(3).filter(is_loss).count() >= MIN_LOSSES
}

/// For each change of a channel's value: by how much the absolute change would become smaller if the digits `one` and
/// `other` were swapped, as a multiple of the channel's median change; negative if it would become larger. Changes
/// that swapping leaves the same are left out. Large changes are limited, so that no channel and no single jump
/// outweighs all others.
fn gains(texts: &[TimedText], one: char, other: char) -> Vec<f64> {
    // Limit of the absolute value changes, as a multiple of the channel's median change.
    const LIMIT: f64 = 5.0;
    let swapped = |text: &str| -> String {
        let swap = |character| match character {
            character if character == one => other,
            character if character == other => one,
            character => character,
        };
        text.chars().map(swap).collect()
    };
    let steps: Vec<(f64, f64)> = texts
        .windows(2)
        .filter(|pair| pair[1].0 - pair[0].0 <= MAX_GAP_S && pair[0].1 != pair[1].1)
        .filter_map(|pair| {
            let step = |before: &str, after: &str| Some((value_of(after)? - value_of(before)?).abs());
            Some((step(&pair[0].1, &pair[1].1)?, step(&swapped(&pair[0].1), &swapped(&pair[1].1))?))
        })
        .collect();
    let sizes: Vec<f64> = steps.iter().map(|(size, _)| *size).collect();
    let Some(typical) = crate::stats::median(&sizes).filter(|typical| *typical > 0.0) else {
        return Vec::new();
    };
    let gain = |(size, swapped): &(f64, f64)| (size / typical).min(LIMIT) - (swapped / typical).min(LIMIT);
    steps.iter().map(gain).filter(|gain| *gain != 0.0).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A value that rises and falls between 100 and 199, by one at a time.
    fn counted(swap: &[(char, char)]) -> Vec<TimedText> {
        let value = |moment: u32| {
            let phase = moment % 198;
            if phase < 100 { 100 + phase } else { 298 - phase }
        };
        let exchanged = |character: char| {
            let found = swap.iter().find_map(|(one, other)| match character {
                character if character == *one => Some(*other),
                character if character == *other => Some(*one),
                _ => None,
            });
            found.unwrap_or(character)
        };
        (0..120)
            .map(|moment| {
                (0.5 * f64::from(moment), value(moment).to_string().chars().map(exchanged).collect())
            })
            .collect()
    }

    #[test]
    fn counting_agrees_with_the_right_digits() {
        assert!(confused_digits(&[counted(&[])]).is_empty());
    }

    #[test]
    fn values_that_are_short_between_longer_ones_lack_a_digit() {
        let loses = |texts: &[&str]| {
            loses_digits(
                &(0..).map(f64::from).zip(texts.iter().map(|text| (*text).to_owned())).collect::<Vec<_>>(),
            )
        };
        assert!(loses(&["852", "85", "85", "850", "849", "85", "852", "85", "853"]));
        assert!(loses(&["63", "6", "58", "52", "5", "49", "43", "4", "-39"]));
        assert!(loses(&["16.4", "6.4", "16.3", "6.3", "16.2", "6.2", "16.1"]));
        assert!(!loses(&["852", "85", "850", "849", "85", "852"]), "only twice");
        assert!(!loses(&["12", "9", "11", "8", "10", "9", "12", "1", "0"]), "no digits are missing");
        assert!(!loses(&["100", "-99", "100", "-10", "101", "-10", "100"]));
    }

    #[test]
    fn every_swap_of_two_digits_is_noticed() {
        for one in '0'..='9' {
            for other in ('0'..='9').filter(|other| *other > one) {
                let found = confused_digits(&[counted(&[(one, other)])]);
                assert!(found.contains(&one) && found.contains(&other), "{one} {other}: {found:?}");
            }
        }
    }
}

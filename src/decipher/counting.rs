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
    fn every_swap_of_two_digits_is_noticed() {
        for one in '0'..='9' {
            for other in ('0'..='9').filter(|other| *other > one) {
                let found = confused_digits(&[counted(&[(one, other)])]);
                assert!(found.contains(&one) && found.contains(&other), "{one} {other}: {found:?}");
            }
        }
    }
}

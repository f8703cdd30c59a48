//! Evidence from counting: with the right digits, a value changes less from frame to frame than with two digits
//! swapped.
//!
//! This is the decoding of a substitution cipher with arithmetic in place of a dictionary; compare Huang, Learned-Miller and
//! McCallum (ICDAR 2007) and Ho and Nagy (ICPR 2000), who decode with words.

use super::readout::value_of;

/// Minimum number of value changes, from one text to the next, whose size must differ after a swap of two digits for
/// the swap to count as evident. Set by judgement.
const MIN_STEPS: usize = 8;

/// Minimum reduction of the sum of the absolute value changes for a swap of two digits to count as evident, in
/// standard deviations of the reduction (the root of the sum of its squared terms). Set by judgement: with the right
/// digits a swap makes the changes larger, so that a reduction by even one standard deviation is rare.
const MIN_RATIO: f64 = 3.0;
/// Maximum time between two texts that are compared, in seconds.
const MAX_GAP_S: f64 = 2.0;

/// A text at a time in seconds.
pub type TimedText = (f64, String);

/// Digits that counting contradicts, in ascending order: the values of `channels` would change clearly less if the
/// digit were swapped with another one. The texts of each channel are in order of time.
#[must_use]
pub fn contradicted_digits(channels: &[Vec<TimedText>]) -> Vec<char> {
    let mut contradicted = Vec::new();
    let pairs = (0..10_u32).flat_map(|one| (one + 1..10).map(move |other| (one, other)));
    for (one, other) in
        pairs.filter_map(|(one, other)| char::from_digit(one, 10).zip(char::from_digit(other, 10)))
    {
        let gains: Vec<f64> = channels.iter().flat_map(|texts| gains(texts, one, other)).collect();
        let deviation = gains.iter().map(|gain| gain * gain).sum::<f64>().sqrt();
        if gains.len() >= MIN_STEPS && gains.iter().sum::<f64>() > MIN_RATIO * deviation {
            contradicted.extend([one, other]);
        }
    }
    contradicted.sort_unstable();
    contradicted.dedup();
    contradicted
}

/// Reduction of each absolute value change if the digits `one` and `other` are swapped, as a multiple of the
/// channel's median change; negative if the change becomes larger. Changes that the swap leaves equal are left out.
/// The changes are limited, so that no channel and no single jump outweighs the rest.
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
        assert!(contradicted_digits(&[counted(&[])]).is_empty());
    }

    #[test]
    fn every_swap_of_two_digits_is_noticed() {
        for one in '0'..='9' {
            for other in ('0'..='9').filter(|other| *other > one) {
                let found = contradicted_digits(&[counted(&[(one, other)])]);
                assert!(found.contains(&one) && found.contains(&other), "{one} {other}: {found:?}");
            }
        }
    }
}

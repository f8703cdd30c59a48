//! Margins of the digits of a region over their runners-up, for each digit separately.
//!
//! Noise changes the margin from frame to frame. A static background or the encoder lowers the margin of a
//! digit in all frames of a region. The variation between the digits that were seen in the region tells how
//! low the margins of digits not yet seen may be.

use arrayvec::ArrayVec;

use super::decoded::{Decoded, DecodedCharacter};
use crate::recognise::templates::alphabet::Alphabet;

/// Number of times that a digit must occur in a region's pseudo-labels to count as seen. Set by judgement.
const MIN_SEEN: f32 = 2.0;

/// Statistics of the margins of one digit.
#[derive(Debug, Clone, Copy, Default)]
struct MarginStatistics {
    count: f32,
    sum: f32,
    squares: f32,
}

impl MarginStatistics {
    fn mean(&self) -> f32 {
        self.sum / self.count
    }

    /// Variance of the mean margin.
    fn variance_of_mean(&self) -> f32 {
        let variance = (self.squares - self.sum * self.mean()) / (self.count - 1.0);
        variance.max(0.0) / self.count
    }
}

/// The margins of all digits in the pseudo-labels of a region.
#[derive(Debug, Clone, Default)]
pub(in crate::recognise) struct DigitMargins([MarginStatistics; 10]);

impl DigitMargins {
    /// The margins of the digits of some decoded texts.
    pub fn of<'a>(texts: impl Iterator<Item = &'a Decoded>) -> Self {
        let characters = texts.flat_map(|text| &text.characters);
        let pair =
            |DecodedCharacter { character, goodness, .. }: &DecodedCharacter| (*character, goodness.margin);
        Self::from_pairs(characters.map(pair))
    }

    fn from_pairs(pairs: impl Iterator<Item = (char, f32)>) -> Self {
        let mut margins = Self::default();
        for (character, margin) in pairs {
            if let Some(digit) = character.to_digit(10).filter(|_| margin.is_finite()) {
                let statistics = &mut margins.0[digit as usize];
                statistics.count += 1.0;
                statistics.sum += margin;
                statistics.squares += margin * margin;
            }
        }
        margins
    }

    /// The digits that occur too rarely to count as seen.
    pub fn unseen(&self) -> ArrayVec<char, 10> {
        let digits = ('0'..='9').zip(&self.0);
        digits.filter(|(_, statistics)| statistics.count < MIN_SEEN).map(|(digit, _)| digit).collect()
    }
}

/// Standard deviation between digits of the mean margin: the square root of the variance of the digits' mean margins
/// minus the mean of the variances of these means (method of moments for a random effect; common practice, no
/// source). 0 with fewer than two digits.
pub(in crate::recognise) fn between_digit_deviation<'a>(
    regions: impl Iterator<Item = &'a DigitMargins>,
) -> f32 {
    let seen = regions.flat_map(|margins| &margins.0).filter(|statistics| statistics.count >= MIN_SEEN);
    let seen: Vec<&MarginStatistics> = seen.collect();
    let count = seen.len() as f32;
    if seen.len() < 2 {
        return 0.0;
    }
    let mean = seen.iter().map(|statistics| statistics.mean()).sum::<f32>() / count;
    let between =
        seen.iter().map(|statistics| (statistics.mean() - mean).powi(2)).sum::<f32>() / (count - 1.0);
    let within = seen.iter().map(|statistics| statistics.variance_of_mean()).sum::<f32>() / count;
    (between - within).max(0.0).sqrt()
}

/// Subtracts a penalty from the margin of every character whose runner-up is a digit never seen in the
/// region.
pub(in crate::recognise) fn penalise_unseen(
    characters: &mut [DecodedCharacter],
    alphabet: &Alphabet,
    unseen: &[char],
    by: f32,
) {
    for goodness in characters.iter_mut().map(|character| &mut character.goodness) {
        let runner_up = goodness.runner_up.and_then(|runner_up| alphabet.shapes.get(runner_up));
        if runner_up.is_some_and(|runner_up| unseen.contains(&runner_up.character)) {
            goodness.margin -= by;
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::glyphs::builtin_sets;
    use crate::recognise::score::goodness_of_fit::GoodnessOfFit;

    #[test]
    fn only_margins_over_unseen_digits_are_penalised() {
        let sets = builtin_sets().unwrap();
        let alphabet = Alphabet::new(&sets[0].faces[0], (1.0, 1.0));
        let character = |runner_up: Option<char>| DecodedCharacter {
            character: '8',
            left: 0.0,
            scores: ArrayVec::new(),
            correlation: 1.0,
            min_part_score: 1.0,
            goodness: GoodnessOfFit {
                runner_up: runner_up.and_then(|runner_up| alphabet.index_of(runner_up)),
                ..GoodnessOfFit::USUAL
            },
            contrast: 1.0,
            shape_probabilities: None,
        };
        let mut characters = [Some('6'), Some('3'), None].map(character);
        penalise_unseen(&mut characters, &alphabet, &['3', '5'], 0.06);
        assert_eq!(characters.map(|character| character.goodness.margin), [1.0, 1.0 - 0.06, 1.0]);
    }

    #[test]
    fn digits_decoded_once_or_never_are_unseen() {
        let shown = "22.40 22.41 22.43 22.45 22.46 22.47 22.40 22.13 22.65 22.47 22.8";
        let margins = DigitMargins::from_pairs(shown.chars().map(|character| (character, 1.0)));
        assert_eq!(margins.unseen().as_slice(), ['8', '9']);
        assert_eq!(DigitMargins::default().unseen().len(), 10);
    }

    /// Two digits whose mean margins differ by 0.05.
    #[test]
    fn the_deviation_is_what_noise_does_not_explain() {
        let noisy = |margin: f32| [-0.05, 0.05, -0.05, 0.05].map(|noise| margin + noise);
        let of = |one: f32, other: f32| {
            let one = noisy(one).map(|margin| ('3', margin));
            DigitMargins::from_pairs(one.into_iter().chain(noisy(other).map(|margin| ('8', margin))))
        };
        let alike = of(0.95, 0.95);
        assert_eq!(between_digit_deviation([&alike].into_iter()), 0.0);
        // By hand: the variance between the means is 0.02, that of each mean 0.01 / 3 / 4.
        let uneven = between_digit_deviation([&of(0.8, 1.0)].into_iter());
        assert!((uneven - (0.02_f32 - 0.01 / 12.0).sqrt()).abs() < 1e-4, "{uneven}");
        assert_eq!(between_digit_deviation([&DigitMargins::default()].into_iter()), 0.0);
    }
}

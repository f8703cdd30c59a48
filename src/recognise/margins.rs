//! Margins of the digits of a region over their runners-up, digit by digit.
//!
//! Noise varies the margin from picture to picture. A static background or the encoder lowers the margin of a digit in all
//! pictures of a region. How much the margins of the digits seen there differ says how low those of unseen digits may be.

use arrayvec::ArrayVec;

use super::alphabet::Alphabet;
use super::decode::{Decoded, Place};

/// Minimum number of pictures of a digit in a region's sample for the digit to count as seen.
const LEAST_SEEN: f32 = 2.0;

/// Statistics of the margins of one digit.
#[derive(Debug, Clone, Copy, Default)]
struct OfDigit {
    pictures: f32,
    sum: f32,
    squares: f32,
}

impl OfDigit {
    fn mean(&self) -> f32 {
        self.sum / self.pictures
    }

    /// Variance of the mean.
    fn variance_of_mean(&self) -> f32 {
        let variance = (self.squares - self.sum * self.mean()) / (self.pictures - 1.0);
        variance.max(0.0) / self.pictures
    }
}

/// The margins of all digits in the sample of a region.
#[derive(Debug, Clone, Default)]
pub(super) struct DigitMargins([OfDigit; 10]);

impl DigitMargins {
    /// Those of some texts.
    pub fn of<'a>(texts: impl Iterator<Item = &'a Decoded>) -> Self {
        let places = texts.flat_map(|text| &text.places);
        Self::from_pairs(places.map(|Place { character, goodness, .. }| (*character, goodness.margin)))
    }

    fn from_pairs(pairs: impl Iterator<Item = (char, f32)>) -> Self {
        let mut margins = Self::default();
        for (character, margin) in pairs {
            if let Some(digit) = character.to_digit(10).filter(|_| margin.is_finite()) {
                let of_digit = &mut margins.0[digit as usize];
                of_digit.pictures += 1.0;
                of_digit.sum += margin;
                of_digit.squares += margin * margin;
            }
        }
        margins
    }

    /// The digits of which there are too few pictures.
    pub fn unseen(&self) -> ArrayVec<char, 10> {
        let digits = ('0'..='9').zip(&self.0);
        digits.filter(|(_, of_digit)| of_digit.pictures < LEAST_SEEN).map(|(digit, _)| digit).collect()
    }
}

/// Between-digit standard deviation of the mean margins: the variance between the means, less the mean of their own
/// variances (a random effect by moments; common practice, no source).
pub(super) fn unevenness<'a>(regions: impl Iterator<Item = &'a DigitMargins>) -> f32 {
    let seen = regions.flat_map(|margins| &margins.0).filter(|of_digit| of_digit.pictures >= LEAST_SEEN);
    let seen: Vec<&OfDigit> = seen.collect();
    let count = seen.len() as f32;
    if seen.len() < 2 {
        return 0.0;
    }
    let mean = seen.iter().map(|of_digit| of_digit.mean()).sum::<f32>() / count;
    let between = seen.iter().map(|of_digit| (of_digit.mean() - mean).powi(2)).sum::<f32>() / (count - 1.0);
    let of_noise = seen.iter().map(|of_digit| of_digit.variance_of_mean()).sum::<f32>() / count;
    (between - of_noise).max(0.0).sqrt()
}

/// Lowers the margin of every cell whose runner-up is a digit not seen in the region.
pub(super) fn penalise_unseen(places: &mut [Place], alphabet: &Alphabet, unseen: &[char], by: f32) {
    for goodness in places.iter_mut().map(|place| &mut place.goodness) {
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
    use crate::recognise::goodness_of_fit::GoodnessOfFit;

    #[test]
    fn only_leads_over_digits_not_seen_are_doubted() {
        let sets = builtin_sets().unwrap();
        let alphabet = Alphabet::new(&sets[0].faces[0], (1.0, 1.0));
        let place = |runner_up: Option<char>| Place {
            character: '8',
            left: 0.0,
            scores: ArrayVec::new(),
            fit: 1.0,
            least_stroke: 1.0,
            goodness: GoodnessOfFit {
                runner_up: runner_up.and_then(|runner_up| alphabet.index_of(runner_up)),
                ..GoodnessOfFit::USUAL
            },
            strength: 1.0,
            by_shape: None,
        };
        let mut places = [Some('6'), Some('3'), None].map(place);
        penalise_unseen(&mut places, &alphabet, &['3', '5'], 0.06);
        assert_eq!(places.map(|place| place.goodness.margin), [1.0, 1.0 - 0.06, 1.0]);
    }

    #[test]
    fn digits_that_a_region_shows_once_or_never_are_unseen_there() {
        let shown = "22.40 22.41 22.43 22.45 22.46 22.47 22.40 22.13 22.65 22.47 22.8";
        let margins = DigitMargins::from_pairs(shown.chars().map(|character| (character, 1.0)));
        assert_eq!(margins.unseen().as_slice(), ['8', '9']);
        assert_eq!(DigitMargins::default().unseen().len(), 10);
    }

    /// Digits with margins of 0.8 and 1, each picture 0.05 more or less.
    #[test]
    fn leads_are_uneven_by_what_noise_does_not_explain() {
        let noisy = |margin: f32| [-0.05, 0.05, -0.05, 0.05].map(|noise| margin + noise);
        let of = |one: f32, other: f32| {
            let one = noisy(one).map(|margin| ('3', margin));
            DigitMargins::from_pairs(one.into_iter().chain(noisy(other).map(|margin| ('8', margin))))
        };
        let alike = of(0.95, 0.95);
        assert_eq!(unevenness([&alike].into_iter()), 0.0);
        // Variances by hand: 0.02 between the means, 0.01 / 3 / 4 in each.
        let uneven = unevenness([&of(0.8, 1.0)].into_iter());
        assert!((uneven - (0.02_f32 - 0.01 / 12.0).sqrt()).abs() < 1e-4, "{uneven}");
        assert_eq!(unevenness([&DigitMargins::default()].into_iter()), 0.0);
    }
}

//! How surely the digits of a region lead over their rivals, digit by digit.
//!
//! Noise lets each picture of a digit lead more or less; scenery that stands still behind the text, or an encoder, lets a
//! digit lead less in all pictures of a place. By how unevenly the digits seen lead, those not seen there may do so too.

use arrayvec::ArrayVec;

use super::alphabet::Alphabet;
use super::decode::{Decoded, Place};

/// Pictures of a digit in a region's sample from which on it is known how it looks there.
const LEAST_SEEN: f32 = 2.0;

/// The leads of the pictures of one digit.
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

    /// What noise leaves of variance in the mean.
    fn variance_of_mean(&self) -> f32 {
        let variance = (self.squares - self.sum * self.mean()) / (self.pictures - 1.0);
        variance.max(0.0) / self.pictures
    }
}

/// The leads of all digits in the sample of a region.
#[derive(Debug, Clone, Default)]
pub(super) struct Leads([OfDigit; 10]);

impl Leads {
    /// Those of some texts.
    pub fn of<'a>(texts: impl Iterator<Item = &'a Decoded>) -> Self {
        let places = texts.flat_map(|text| &text.places);
        Self::from_pairs(places.map(|Place { character, strangeness, .. }| (*character, strangeness.lead)))
    }

    fn from_pairs(pairs: impl Iterator<Item = (char, f32)>) -> Self {
        let mut leads = Self::default();
        for (character, lead) in pairs {
            if let Some(digit) = character.to_digit(10).filter(|_| lead.is_finite()) {
                let of_digit = &mut leads.0[digit as usize];
                of_digit.pictures += 1.0;
                of_digit.sum += lead;
                of_digit.squares += lead * lead;
            }
        }
        leads
    }

    /// The digits of which there are too few pictures.
    pub fn unseen(&self) -> ArrayVec<char, 10> {
        let digits = ('0'..='9').zip(&self.0);
        digits.filter(|(_, of_digit)| of_digit.pictures < LEAST_SEEN).map(|(digit, _)| digit).collect()
    }
}

/// Standard deviation of the digits' mean leads, beyond what noise leaves in them: the variance between the means less
/// the mean of their own variances (a random effect by moments; common practice, no source).
pub(super) fn unevenness<'a>(regions: impl Iterator<Item = &'a Leads>) -> f32 {
    let seen = regions.flat_map(|leads| &leads.0).filter(|of_digit| of_digit.pictures >= LEAST_SEEN);
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

/// Takes the leads of places over digits not seen to be less than they are.
pub(super) fn doubt(places: &mut [Place], alphabet: &Alphabet, unseen: &[char], by: f32) {
    for strange in places.iter_mut().map(|place| &mut place.strangeness) {
        let rival = strange.rival.and_then(|rival| alphabet.shapes.get(rival));
        if rival.is_some_and(|rival| unseen.contains(&rival.character)) {
            strange.lead -= by;
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::glyphs::builtin_sets;
    use crate::recognise::strangeness::Strange;

    #[test]
    fn only_leads_over_digits_not_seen_are_doubted() {
        let sets = builtin_sets().unwrap();
        let alphabet = Alphabet::new(&sets[0].faces[0], (1.0, 1.0));
        let place = |rival: Option<char>| Place {
            character: '8',
            left: 0.0,
            scores: ArrayVec::new(),
            fit: 1.0,
            least_stroke: 1.0,
            strangeness: Strange {
                rival: rival.and_then(|rival| alphabet.index_of(rival)),
                ..Strange::USUAL
            },
            strength: 1.0,
            by_shape: None,
        };
        let mut places = [Some('6'), Some('3'), None].map(place);
        doubt(&mut places, &alphabet, &['3', '5'], 0.06);
        assert_eq!(places.map(|place| place.strangeness.lead), [1.0, 1.0 - 0.06, 1.0]);
    }

    #[test]
    fn digits_that_a_region_shows_once_or_never_are_unseen_there() {
        let shown = "22.40 22.41 22.43 22.45 22.46 22.47 22.40 22.13 22.65 22.47 22.8";
        let leads = Leads::from_pairs(shown.chars().map(|character| (character, 1.0)));
        assert_eq!(leads.unseen().as_slice(), ['8', '9']);
        assert_eq!(Leads::default().unseen().len(), 10);
    }

    /// Digits that lead by 0.8 and by 1, each picture by 0.05 more or less.
    #[test]
    fn leads_are_uneven_by_what_noise_does_not_explain() {
        let noisy = |lead: f32| [-0.05, 0.05, -0.05, 0.05].map(|noise| lead + noise);
        let of = |one: f32, other: f32| {
            let one = noisy(one).map(|lead| ('3', lead));
            Leads::from_pairs(one.into_iter().chain(noisy(other).map(|lead| ('8', lead))))
        };
        let alike = of(0.95, 0.95);
        assert_eq!(unevenness([&alike].into_iter()), 0.0);
        // Variances by hand: 0.02 between the means, 0.01 / 3 / 4 in each.
        let uneven = unevenness([&of(0.8, 1.0)].into_iter());
        assert!((uneven - (0.02_f32 - 0.01 / 12.0).sqrt()).abs() < 1e-4, "{uneven}");
        assert_eq!(unevenness([&Leads::default()].into_iter()), 0.0);
    }
}

//! Texts from the output of the line reader, by prefix beam search (Graves and Jaitly, ICML 2014, algorithm 1, without a
//! language model).

use std::collections::HashMap;

use ndarray::Array2;

/// Beam width: number of prefixes of texts that are kept after every output position of the network. Set by
/// judgement: lines have few likely readings.
const BEAM: usize = 12;
/// Minimum probability of a class at an output position for a prefix to be extended by that class. Leaving less
/// probable classes out saves time and changes the probability of a text by about this amount (set by judgement).
const MIN_PROBABILITY: f64 = 1e-5;

/// A text and its probability.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct TextProbability {
    /// Class of each character of the text: an index into the outputs of the network.
    pub(super) classes: Vec<u8>,
    /// Probability of the text, 0 to 1.
    pub(super) probability: f32,
}

/// Probability of a prefix, summed separately over the paths that end with a blank and over the paths that end with
/// the prefix's last character.
#[derive(Debug, Clone, Copy, Default)]
struct PathSums {
    blank: f64,
    character: f64,
}

impl PathSums {
    fn total(self) -> f64 {
        self.blank + self.character
    }
}

/// The most probable texts, the most probable first. `log_probabilities` has a row for each output position of the
/// network and a column for each class; class 0 is the blank.
pub(super) fn likely_texts(log_probabilities: &Array2<f32>) -> Vec<TextProbability> {
    let mut beam = vec![(Vec::new(), PathSums { blank: 1.0, character: 0.0 })];
    for step in log_probabilities.rows() {
        let mut next: HashMap<Vec<u8>, PathSums> = HashMap::new();
        let probabilities: Vec<f64> = step.iter().map(|log| f64::from(*log).exp()).collect();
        for (prefix, sums) in &beam {
            let kept = next.entry(prefix.clone()).or_default();
            kept.blank += sums.total() * probabilities[0];
            if let Some(last) = prefix.last() {
                kept.character += sums.character * probabilities[usize::from(*last)];
            }
            let probable = |(_, probability): &(usize, &f64)| **probability >= MIN_PROBABILITY;
            for (class, probability) in probabilities.iter().enumerate().skip(1).filter(probable) {
                let repeated = prefix.last() == Some(&(class as u8));
                let before = if repeated { sums.blank } else { sums.total() };
                let mut longer = prefix.clone();
                longer.push(class as u8);
                next.entry(longer).or_default().character += before * probability;
            }
        }
        beam = next.into_iter().collect();
        // Ties are broken by the text, so that the result does not depend on the order of the map.
        beam.sort_by(|(one_text, one), (other_text, other)| {
            other.total().total_cmp(&one.total()).then_with(|| one_text.cmp(other_text))
        });
        beam.truncate(BEAM);
    }
    let text =
        |(classes, sums): (Vec<u8>, PathSums)| TextProbability { classes, probability: sums.total() as f32 };
    beam.into_iter().map(text).collect()
}

#[cfg(test)]
mod tests {
    use ndarray::arr2;

    use super::*;

    #[test]
    fn the_probability_of_a_text_is_the_sum_over_its_paths() {
        // Two steps, classes blank, 1, 2. The paths of "1" are 1_, _1 and 11.
        let steps = arr2(&[[0.4_f32, 0.5, 0.1], [0.3, 0.6, 0.1]]);
        let texts = likely_texts(&steps.mapv(f32::ln));
        let probability =
            |classes: &[u8]| texts.iter().find(|text| text.classes == classes).map(|text| text.probability);
        let expected = 0.5 * 0.3 + 0.4 * 0.6 + 0.5 * 0.6;
        assert!(probability(&[1]).is_some_and(|found| (found - expected).abs() < 1e-6));
        assert!(probability(&[]).is_some_and(|found| (found - 0.12).abs() < 1e-6));
        assert!(probability(&[1, 2]).is_some_and(|found| (found - 0.05).abs() < 1e-6));
        assert_eq!(texts[0].classes, [1]);
    }

    #[test]
    fn a_repeated_character_needs_a_blank_between() {
        let sure =
            |class: usize| std::array::from_fn::<f32, 2, _>(|index| if index == class { 0.98 } else { 0.02 });
        let steps = arr2(&[sure(1), sure(1), sure(0), sure(1)]);
        assert_eq!(likely_texts(&steps.mapv(f32::ln))[0].classes, [1, 1]);
    }
}

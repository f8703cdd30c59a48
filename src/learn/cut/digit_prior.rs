//! Log probabilities of the digits given a shape alone, without knowledge of the face.

use ndarray::Array2;

use crate::recognise::ShapePrior;

/// Number of different digits.
pub(crate) const DIGITS: usize = 10;

/// Probability that a face is so unusual that the shape prior gives no information about its digits (set by
/// judgement).
const UNUSUAL_FACE: f32 = 0.03;

/// Log probability of each digit given the shape in a cell.
pub(crate) fn digit_log_prior(features: &Array2<f32>) -> [f32; DIGITS] {
    tempered(ShapePrior::embedded().log_probabilities(features))
}

/// Mean log probability, given their shapes alone, that digits are as labelled; 0 without digits.
pub(crate) fn mean_log_prior(digits: &[(char, Array2<f32>)]) -> f32 {
    let log_prior = |(digit, cell): &(char, Array2<f32>)| {
        let digit = digit.to_digit(10)? as usize;
        Some(digit_log_prior(cell)[digit])
    };
    let logs: Vec<f32> = digits.iter().filter_map(log_prior).collect();
    logs.iter().sum::<f32>() / logs.len().max(1) as f32
}

/// Mixes the probabilities of the digits with equal probabilities, to allow for unusual faces. The weights are 1 -
/// [`UNUSUAL_FACE`] and [`UNUSUAL_FACE`]. Natural logarithms are given and returned.
fn tempered(log_probabilities: [f32; DIGITS]) -> [f32; DIGITS] {
    log_probabilities.map(|log| ((1.0 - UNUSUAL_FACE) * log.exp() + UNUSUAL_FACE / DIGITS as f32).ln())
}

//! Log probabilities of the digits given a shape alone, without knowledge of the face.

use ndarray::Array2;

use super::character::{CharacterCut, largest_digit_cell};
use crate::learn::group::size_group::SizeGroup;
use crate::recognise::ShapePrior;

/// Number of different digits.
pub(crate) const DIGITS: usize = 10;

/// Probability that a face is so unusual that the shape prior gives no information about its digits (set by
/// judgement).
const UNUSUAL_FACE: f32 = 0.03;

/// Weight of the log probability of one digit, relative to the energy of one text (set by judgement).
const SHAPE_WEIGHT: f32 = 0.1;

/// Minimum of the mean log probability of the digits: that of ten equally probable digits. A face whose digits look still less
/// like themselves is unusual, and the shape prior gives no information about it.
const MIN_MEAN_LOG_PRIOR: f32 = -std::f32::consts::LN_10;

/// Log probability of each digit given the shape in a cell.
pub(crate) fn digit_log_prior(features: &Array2<f32>) -> [f32; DIGITS] {
    tempered(ShapePrior::embedded().log_probabilities(features))
}

/// Mean log probability, given their shapes alone, that the digits among some cuts are as labelled; 0 without
/// digits.
pub(crate) fn mean_log_prior(group: &SizeGroup<'_>, cuts: &[CharacterCut]) -> f32 {
    let size = largest_digit_cell(cuts);
    let log_prior = |cut: &CharacterCut| {
        let digit = cut.character.to_digit(10)? as usize;
        Some(digit_log_prior(&cut.features_in_cell(group, size)?)[digit])
    };
    let digits: Vec<f32> = cuts.iter().filter_map(log_prior).collect();
    digits.iter().sum::<f32>() / digits.len().max(1) as f32
}

/// Weighted sum of the log probabilities, given their shapes alone, that the digits among some cuts are as labelled. The
/// unit is the energy of one text, so that the sum can be added to the shared energy of the cuts.
pub(crate) fn weighted_log_prior(group: &SizeGroup<'_>, cuts: &[CharacterCut]) -> f32 {
    let digits = cuts.iter().filter(|cut| cut.character.is_ascii_digit()).count();
    SHAPE_WEIGHT * digits as f32 * mean_log_prior(group, cuts).max(MIN_MEAN_LOG_PRIOR)
}

/// Mixes the probabilities of the digits with equal probabilities, to allow for unusual faces. The weights are 1 -
/// [`UNUSUAL_FACE`] and [`UNUSUAL_FACE`]. Natural logarithms are given and returned.
fn tempered(log_probabilities: [f32; DIGITS]) -> [f32; DIGITS] {
    log_probabilities.map(|log| ((1.0 - UNUSUAL_FACE) * log.exp() + UNUSUAL_FACE / DIGITS as f32).ln())
}

//! Legibility: whether every character of a decoded text fits its template, and the cells next to the text
//! are empty.
//!
//! Goodness of fit is relative to the noise of the clip. A strong edge behind a text, such as a horizon, far
//! exceeds that noise although every stroke is visible; and a digit without a glyph may look much like a
//! known one. In both cases the shape prior, which does not depend on the clip, decides.

use ndarray::Array2;

use super::decoded::{Decoded, DecodedCharacter};
use crate::recognise::features::cells::features_at;
use crate::recognise::score::shape_prior::ShapePrior;
use crate::recognise::templates::alphabet::Alphabet;
use crate::recognise::text::grammar::is_separator;

/// Minimum correlation of a character with its template for the text to be legible. Set by judgement.
const MIN_CORRELATION: f32 = 0.3;

/// Maximum T-square distance of a character that fits its template, divided by the number of digits. Noise alone stays
/// below, although it has heavier tails than a normal distribution. Set by judgement.
const MAX_T2: f32 = 10.0;

/// Minimum correlation and minimum part score of a character that is read whatever its T-square distance, if all digits
/// have a reliable template (built in, or from at least ten images). Compression leaves faint traces of the previous
/// text, which far exceed the noise of clean clips. Set by judgement.
const CLEAR: (f32, f32) = (0.85, 0.65);

/// Maximum T-square distance of a character, divided by the number of digits, if some digits lack a reliable template
/// (built in, or from at least ten images): a digit without a glyph may look much like a known one. Set by judgement.
const MAX_T2_WITH_UNKNOWN: f32 = 3.0;

/// Minimum part score of a digit if some digits lack a reliable template (built in, or from at least ten images). Set
/// by judgement.
const MIN_PART_SCORE_WITH_UNKNOWN: f32 = 0.5;

/// Maximum contrast of a digit, relative to its template, in the cell beyond an edge of a text that is not anchored.
/// Above this contrast, the text may be longer than decoded. Set by judgement.
pub(in crate::recognise) const MAX_CONTRAST_BESIDE: f32 = 0.4;

/// Maximum energy of a cell next to a text, as a share of the mean energy of the text's digits, if some digits lack a
/// reliable template (built in, or from at least ten images). Above this energy, a digit without a glyph may stand in
/// the cell. Set by judgement.
const MAX_ENERGY_BESIDE: f32 = 0.45;

/// Minimum energy of a cell next to a text that may hold a digit, as a share of the mean energy of the text's digits;
/// it is low because a 1 has little energy. Above this energy, a text with a leading zero is not read, and the shape
/// prior is evaluated in the cell if some digits lack a reliable template (built in, or from at least ten images). Set
/// by judgement.
const MIN_ENERGY_BESIDE: f32 = 0.1;

/// Minimum and maximum contrast of a character relative to its template. Set by judgement.
const CONTRASTS: (f32, f32) = (0.45, 1.7);

/// Minimum probability from the shape prior that confirms a digit which fits its template badly. At 0.95 and
/// more, the prior is right in 97 of 100 cells in front of a horizon, measured on faces outside its training
/// set.
const CONFIRMING_PROBABILITY: f32 = 0.95;

/// Minimum margin over the runner-up of a digit that the shape prior confirms. Set by judgement.
const MIN_MARGIN: f32 = 0.7;

/// Minimum part score of a digit that the shape prior confirms. Set by judgement.
const MIN_PART_SCORE: f32 = 0.3;

/// Maximum probability from the shape prior that a character is a digit without a glyph. Set by judgement.
const MAX_UNKNOWN: f32 = 0.3;

/// Evaluates the shape prior for the digits that need it: those that fit badly, or all if some digits lack a reliable
/// template (built in, or from at least ten images). It is also evaluated in the cells next to the text if these may
/// hold a digit without a glyph. `top` is the row of the features at which the cells begin.
pub(in crate::recognise) fn evaluate_shape_prior(
    decoded: &mut Decoded,
    alphabet: &Alphabet,
    (features, top): (&Array2<f32>, usize),
) {
    let all_reliable = alphabet.are_all_digits_reliable();
    for digit in decoded.characters.iter_mut().filter(|digit| digit.character.is_ascii_digit()) {
        if all_reliable && !fits_badly(digit) {
            continue;
        }
        let size = alphabet.index_of(digit.character).map(|index| alphabet.shapes[index].template.dim());
        let cell = size.and_then(|size| features_at(features, top, digit.left, size));
        digit.shape_probabilities = cell.map(|cell| shape_probabilities(&cell));
    }
    if !all_reliable && decoded.energy_beside > MIN_ENERGY_BESIDE {
        decoded.unknown_beside = unknown_beside(decoded, alphabet, (features, top));
    }
}

/// Largest probability from the shape prior, over the cells next to the text inside the box, that a digit without a
/// glyph stands there, 0 to 1.
fn unknown_beside(decoded: &Decoded, alphabet: &Alphabet, (features, top): (&Array2<f32>, usize)) -> f32 {
    let size = (alphabet.rows, alphabet.pitch().ceil() as usize);
    let cells = decoded
        .cells_beside(alphabet, features.ncols())
        .filter_map(|left| features_at(features, top, left, size));
    cells.map(|cell| unknown_probability(&shape_probabilities(&cell), alphabet)).fold(0.0, f32::max)
}

fn shape_probabilities(cell: &Array2<f32>) -> [f32; 10] {
    ShapePrior::embedded().log_probabilities(cell).map(f32::exp)
}

/// Sum of the probabilities of the digits without a glyph.
fn unknown_probability(probabilities: &[f32; 10], alphabet: &Alphabet) -> f32 {
    let digits = alphabet.missing_digits().filter_map(|digit| digit.to_digit(10));
    digits.map(|digit| probabilities[digit as usize]).sum()
}

fn fits_badly(digit: &DecodedCharacter) -> bool {
    digit.goodness.t2_without_traces > MAX_T2 || digit.goodness.ambiguous
}

/// Whether a text can be read.
pub(in crate::recognise) fn is_legible(decoded: &Decoded, alphabet: &Alphabet) -> bool {
    let all_reliable = alphabet.are_all_digits_reliable();
    let mut tested = decoded.characters.iter().filter(|character| !is_separator(character.character));
    let max_energy = if decoded.has_leading_zero { MIN_ENERGY_BESIDE } else { MAX_ENERGY_BESIDE };
    decoded.contrast_beside <= MAX_CONTRAST_BESIDE
        && decoded.energy_beside <= max_energy
        && decoded.min_correlation() >= MIN_CORRELATION
        && (all_reliable || !is_refuted_by_shape(decoded, alphabet))
        && tested.all(|character| {
            (CONTRASTS.0..=CONTRASTS.1).contains(&character.contrast)
                && (is_confirmed(character)
                    || if all_reliable { fits(character) } else { fits_well(character) })
        })
}

/// The text; `None` if the shape prior [refutes](is_refuted_by_shape) it. The prior is evaluated only if some digits
/// lack a reliable template (built in, or from at least ten images).
pub(in crate::recognise) fn without_unknown_digits(
    mut decoded: Decoded,
    alphabet: &Alphabet,
    features: (&Array2<f32>, usize),
) -> Option<Decoded> {
    if !alphabet.are_all_digits_reliable() {
        evaluate_shape_prior(&mut decoded, alphabet, features);
    }
    Some(decoded).filter(|decoded| !is_refuted_by_shape(decoded, alphabet))
}

/// Whether the shape prior contradicts a text: a digit, or the content of the cell next to the text, is
/// probably a digit without a glyph, or a digit is almost certainly another one.
pub(in crate::recognise) fn is_refuted_by_shape(decoded: &Decoded, alphabet: &Alphabet) -> bool {
    let is_unknown = |character: &DecodedCharacter| {
        let probabilities = character.shape_probabilities;
        probabilities.is_some_and(|probabilities| unknown_probability(&probabilities, alphabet) > MAX_UNKNOWN)
    };
    let is_other = |character: &DecodedCharacter| other_probability(character) > CONFIRMING_PROBABILITY;
    decoded.unknown_beside > MAX_UNKNOWN
        || decoded.characters.iter().any(|character| is_unknown(character) || is_other(character))
}

/// Largest probability from the shape prior for a digit other than the decoded one.
fn other_probability(character: &DecodedCharacter) -> f32 {
    let others = ('0'..='9').zip(character.shape_probabilities.iter().flatten());
    let others = others.filter(|(digit, _)| *digit != character.character);
    others.map(|(_, probability)| *probability).fold(0.0, f32::max)
}

/// Whether a character fits its template, if all digits have a reliable template (built in, or from at least ten
/// images).
fn fits(character: &DecodedCharacter) -> bool {
    let is_clear = character.correlation >= CLEAR.0 && character.min_part_score >= CLEAR.1;
    !character.goodness.ambiguous && (is_clear || character.goodness.t2_without_traces <= MAX_T2)
}

/// Whether a character fits its template, by the stricter limits if some digits lack a reliable template (built in, or
/// from at least ten images).
fn fits_well(character: &DecodedCharacter) -> bool {
    character.goodness.t2 <= MAX_T2_WITH_UNKNOWN && character.min_part_score >= MIN_PART_SCORE_WITH_UNKNOWN
}

/// Whether the shape prior confirms the digit, and the digit has a large margin over any other digit.
fn is_confirmed(character: &DecodedCharacter) -> bool {
    let digit = character.character.to_digit(10);
    let probability = character
        .shape_probabilities
        .zip(digit)
        .map_or(0.0, |(probabilities, digit)| probabilities[digit as usize]);
    probability >= CONFIRMING_PROBABILITY
        && character.goodness.margin >= MIN_MARGIN
        && character.min_part_score >= MIN_PART_SCORE
}

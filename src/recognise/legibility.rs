//! Legibility: whether every character of a decoded text looks like its template, and nothing stands where the text
//! ends.
//!
//! The templates' goodness of fit is judged against the noise of the clip. A strong edge behind a text, such as a
//! horizon, is far beyond that noise though every stroke is there; and where not all digits are known and well seen, one may
//! look much like another. In both cases the shape prior, which knows no clip, gives a second opinion.

use ndarray::Array2;

use super::ShapePrior;
use super::alphabet::Alphabet;
use super::calibrate;
use super::decode::{Decoded, Place, lefts_beside};
use super::grammar::is_mark;
use super::patches::patch_at;

/// A character that correlates less with its template is not read.
const LEAST_FIT: f32 = 0.3;

/// T-square distance beyond which a character is an unknown shape, or damaged. Noise alone, with the
/// heavier tails that pictures have, stays below.
const MAX_T2: f32 = 10.0;

/// Correlation, and share of every stroke, from which on a character is as plain as print: where all
/// digits are known it is then read whatever its distance. Compression leaves traces of the text shown
/// before, which are faint but, where there is little noise, far beyond it.
const PLAIN: (f32, f32) = (0.85, 0.65);

/// [`MAX_T2`] where not all digits are known and well seen: an unknown digit may look much like a known one.
const MAX_T2_WITH_UNKNOWN: f32 = 3.0;

/// Share of every stroke that must be there where not all digits are known and well seen.
const LEAST_STROKE_WITH_UNKNOWN: f32 = 0.5;

/// Strength of a digit beyond the free end of a text from which on the text may be longer than read.
pub(super) const MOST_BESIDE: f32 = 0.4;

/// Ink next to a text, against that of its own cells, from which on a digit never taught may stand there,
/// where not all digits are known and well seen.
const MOST_INK_BESIDE: f32 = 0.45;

/// Ink next to a text from which on the shape prior is asked what stands there, and from which on a text with a
/// leading zero is not read: a 1 has little.
const LEAST_INK_BESIDE: f32 = 0.1;

/// Strengths outside these limits are no glyph of this overlay.
const STRENGTHS: (f32, f32) = (0.45, 1.7);

/// Probability by shape alone from which on a digit is what it is read as though it fits its template badly. At 0.95
/// and more the prior is right in 97 of 100 cells before a horizon, in faces that it does not know.
const SECONDED: f32 = 0.95;

/// Projection on the line to the nearest other digit (1: as this digit, 0.5: half-way) that such a digit must have.
const MIN_MARGIN: f32 = 0.7;

/// Share of every stroke that it must have.
const LEAST_STROKE: f32 = 0.3;

/// Probability by shape alone that a digit is one of those not known, from which on it is not read.
const MOST_UNKNOWN: f32 = 0.3;

/// Asks the shape prior about the digits of a text that need it; `top` is the row of its cells in the features.
pub(super) fn ask_shape_prior(
    decoded: &mut Decoded,
    alphabet: &Alphabet,
    (features, top): (&Array2<f32>, usize),
) {
    let well_seen = alphabet.has_all_digits_well_seen();
    for place in decoded.places.iter_mut().filter(|place| place.character.is_ascii_digit()) {
        if well_seen && !is_doubtful(place) {
            continue;
        }
        let size = alphabet.index_of(place.character).map(|index| alphabet.shapes[index].template.dim());
        let cell = size.and_then(|size| patch_at(features, top, place.left, size));
        place.by_shape = cell.map(|cell| by_shape(&cell));
    }
    if !well_seen && decoded.ink_beside > LEAST_INK_BESIDE {
        decoded.unknown_beside = unknown_beside(decoded, alphabet, (features, top));
    }
}

/// Probability by shape alone that a digit not known stands next to a text, inside the box.
fn unknown_beside(decoded: &Decoded, alphabet: &Alphabet, (features, top): (&Array2<f32>, usize)) -> f32 {
    let size = (alphabet.rows, alphabet.pitch().ceil() as usize);
    let cells = lefts_beside(&decoded.places, alphabet, features.ncols())
        .filter_map(|left| patch_at(features, top, left, size));
    cells.map(|cell| unknown_share(&by_shape(&cell), alphabet)).fold(0.0, f32::max)
}

fn by_shape(cell: &Array2<f32>) -> [f32; 10] {
    ShapePrior::embedded().log_probabilities(cell).map(f32::exp)
}

/// Probability of all digits not known together.
fn unknown_share(by_shape: &[f32; 10], alphabet: &Alphabet) -> f32 {
    let digits = ('0'..='9').zip(by_shape);
    digits.filter(|(digit, _)| alphabet.index_of(*digit).is_none()).map(|(_, share)| share).sum()
}

fn is_doubtful(place: &Place) -> bool {
    place.goodness.t2_without_traces > MAX_T2 || place.goodness.ambiguous
}

/// Whether a text can be read.
pub(super) fn is_legible(decoded: &Decoded, alphabet: &Alphabet) -> bool {
    let well_seen = alphabet.has_all_digits_well_seen();
    let mut tested = decoded.places.iter().filter(|place| !is_mark(place.character));
    decoded.beside <= MOST_BESIDE
        && decoded.ink_beside <= if decoded.has_leading_zero { LEAST_INK_BESIDE } else { MOST_INK_BESIDE }
        && calibrate::fit_of(decoded) >= LEAST_FIT
        && (well_seen || !is_refuted_by_shape(decoded, alphabet))
        && tested.all(|place| {
            (STRENGTHS.0..=STRENGTHS.1).contains(&place.strength)
                && (is_seconded(place) || if well_seen { fits(place) } else { fits_well(place) })
        })
}

/// A text of which the shape prior takes no digit for one that is not known; it is asked only where some are not.
pub(super) fn without_unknown_digits(
    mut decoded: Decoded,
    alphabet: &Alphabet,
    place: (&Array2<f32>, usize),
) -> Option<Decoded> {
    if !alphabet.has_all_digits_well_seen() {
        ask_shape_prior(&mut decoded, alphabet, place);
    }
    Some(decoded).filter(|decoded| !is_refuted_by_shape(decoded, alphabet))
}

/// Whether the shape prior takes some digit, or what stands beside the text, for a digit that is not known, or a digit
/// surely for another one: where some are not known, those that are have been seen in few pictures.
pub(super) fn is_refuted_by_shape(decoded: &Decoded, alphabet: &Alphabet) -> bool {
    let is_unknown = |place: &Place| {
        place.by_shape.is_some_and(|by_shape| unknown_share(&by_shape, alphabet) > MOST_UNKNOWN)
    };
    let is_other = |place: &Place| other_share(place) > SECONDED;
    decoded.unknown_beside > MOST_UNKNOWN
        || decoded.places.iter().any(|place| is_unknown(place) || is_other(place))
}

/// The greatest probability by shape alone of a digit other than the one read.
fn other_share(place: &Place) -> f32 {
    let others = ('0'..='9').zip(place.by_shape.iter().flatten());
    others.filter(|(digit, _)| *digit != place.character).map(|(_, share)| *share).fold(0.0, f32::max)
}

fn fits(place: &Place) -> bool {
    let plain = place.fit >= PLAIN.0 && place.least_stroke >= PLAIN.1;
    !place.goodness.ambiguous && (plain || place.goodness.t2_without_traces <= MAX_T2)
}

fn fits_well(place: &Place) -> bool {
    place.goodness.t2 <= MAX_T2_WITH_UNKNOWN && place.least_stroke >= LEAST_STROKE_WITH_UNKNOWN
}

/// Whether the shape prior says what is read, and the digit is far from any other.
fn is_seconded(place: &Place) -> bool {
    let digit = place.character.to_digit(10);
    let share = place.by_shape.zip(digit).map_or(0.0, |(by_shape, digit)| by_shape[digit as usize]);
    share >= SECONDED && place.goodness.margin >= MIN_MARGIN && place.least_stroke >= LEAST_STROKE
}

//! Similarity of the cuts of each character: correlations and shared energy, computed from sums over all
//! cuts.

use std::collections::BTreeMap;

use ndarray::{Array2, ArrayView2, s};

use super::character::CharacterCut;
use crate::learn::group::size_group::SizeGroup;
use crate::recognise::dot;

/// Log odds between two digits whose correlations with a cut differ by 1 (set by judgement).
const SCORE_OF_CORRELATION: f32 = 20.0;

/// Minimum log probability that a digit is recognised as labelled, so that a wrong label does not decide (set by judgement).
const MIN_LOG_RECOGNISED: f32 = -4.0;

/// For each character the sum of its cuts and their number, where each cut is scaled to length 1 (the root of its sum
/// of squares). The inner product of another scaled cut with the sum is the sum of the correlations of that cut with
/// all cuts in the sum.
#[derive(Debug, Default)]
pub(crate) struct CharacterSums(BTreeMap<char, (Array2<f32>, usize)>);

impl CharacterSums {
    fn of<'a>(cuts: impl IntoIterator<Item = &'a CharacterCut>) -> Self {
        let mut sums = Self::default();
        sums.add(cuts);
        sums
    }

    /// Adds cuts to the sums.
    pub(crate) fn add<'a>(&mut self, cuts: impl IntoIterator<Item = &'a CharacterCut>) {
        self.add_times(cuts, 1);
    }

    /// Subtracts cuts that were added.
    pub(crate) fn remove<'a>(&mut self, cuts: impl IntoIterator<Item = &'a CharacterCut>) {
        self.add_times(cuts, -1);
    }

    fn add_times<'a>(&mut self, cuts: impl IntoIterator<Item = &'a CharacterCut>, times: isize) {
        for cut in cuts {
            self.add_cell(cut.character, &cut.features, inverse_length(&cut.features), times);
        }
    }

    /// Adds `scale` x `times` times the features of a cell to the sum of a character, and `times` to the number of
    /// its cuts. A negative `times` subtracts.
    fn add_cell(&mut self, character: char, cell: &Array2<f32>, scale: f32, times: isize) {
        let (sum, count) = self.0.entry(character).or_insert_with(|| (Array2::zeros(cell.dim()), 0));
        sum.scaled_add(times as f32 * scale, cell);
        *count = count.saturating_add_signed(times);
    }

    /// Sum of the correlations of some cuts with all cuts that were added for the same characters.
    pub(crate) fn correlation_sum(&self, cuts: &[CharacterCut]) -> f32 {
        let with_sum = |cut: &CharacterCut| {
            let (sum, _) = self.0.get(&cut.character)?;
            Some(inner_product(&cut.features, sum) * inverse_length(&cut.features))
        };
        cuts.iter().filter_map(with_sum).sum()
    }

    /// Mean correlation between two cuts of the same character.
    fn mean_correlation(&self) -> f32 {
        let (mut sum, mut pairs) = (0.0, 0);
        for (units, count) in self.0.values() {
            sum += 0.5 * (inner_product(units, units) - *count as f32);
            pairs += count * (count - 1) / 2;
        }
        sum / pairs.max(1) as f32
    }
}

/// Mean correlation between two cuts of the same character, over all pairs of such cuts.
pub(crate) fn mean_correlation<'a>(cuts: impl IntoIterator<Item = &'a CharacterCut>) -> f32 {
    CharacterSums::of(cuts).mean_correlation()
}

/// For each character, the mean of its cuts after scaling each to length 1.
pub(crate) fn character_means<'a>(
    cuts: impl Iterator<Item = &'a CharacterCut>,
) -> BTreeMap<char, Array2<f32>> {
    CharacterSums::of(cuts)
        .0
        .into_iter()
        .map(|(character, (sum, count))| (character, sum / count.max(1) as f32))
        .collect()
}

/// Mean correlation of the cuts of a region with the mean cut of the same character in the other regions; `None` if
/// no character of the region occurs in another one.
pub(crate) fn correlation_with_other_regions(cuts: &[CharacterCut], region: usize) -> Option<f32> {
    let (own, others): (Vec<_>, Vec<_>) = cuts.iter().partition(|cut| cut.region == region);
    let others = CharacterSums::of(others);
    let correlation = |cut: &CharacterCut| {
        let (sum, _) = others.0.get(&cut.character)?;
        Some(inner_product(&cut.features, sum) * inverse_length(&cut.features) * inverse_length(sum))
    };
    let all: Vec<f32> = own.into_iter().filter_map(correlation).collect();
    (!all.is_empty()).then(|| all.iter().sum::<f32>() / all.len() as f32)
}

/// Energy (sum of squared features) that the cuts of the same character have in common, summed over all cuts;
/// each labelled text has the energy 1. It is the mean inner product of a cut with the other cuts of its
/// character. The noise in two cuts has a mean product of zero, and so has moving scenery; so neither wide
/// nor narrow cells are preferred.
pub(crate) fn shared_energy(group: &SizeGroup<'_>, cuts: &[CharacterCut]) -> f32 {
    let scaled: Vec<(char, Array2<f32>)> = cuts
        .iter()
        .filter_map(|cut| {
            let whole = group.regions.get(cut.region)?.features.get(cut.example)?;
            Some((cut.character, &cut.features * inverse_length(whole)))
        })
        .collect();
    let mut sums = CharacterSums::default();
    scaled.iter().for_each(|(character, cell)| sums.add_cell(*character, cell, 1.0, 1));
    let repeated = sums.0.values().filter(|(_, count)| *count > 1);
    let with_themselves: f32 =
        repeated.map(|(sum, count)| inner_product(sum, sum) / (count - 1) as f32).sum();
    let own = |(character, cell): &(char, Array2<f32>)| {
        let (_, count) = sums.0.get(character).filter(|(_, count)| *count > 1)?;
        Some(inner_product(cell, cell) / (count - 1) as f32)
    };
    with_themselves - scaled.iter().filter_map(own).sum::<f32>()
}

/// Mean log probability that each digit is recognised as labelled, from the correlations of its cell with the means of the other
/// cells of every digit; 0 if no digit occurs twice. Digits that occur only once are not counted. The log probability of one
/// digit is at least [`MIN_LOG_RECOGNISED`].
pub(crate) fn mean_log_recognised(digits: &[(char, Array2<f32>)]) -> f32 {
    let scaled: Vec<(char, Array2<f32>)> =
        digits.iter().map(|(digit, cell)| (*digit, cell * inverse_length(cell))).collect();
    let mut sums = CharacterSums::default();
    scaled.iter().for_each(|(digit, cell)| sums.add_cell(*digit, cell, 1.0, 1));
    let squared_lengths: Vec<f32> = sums.0.values().map(|(sum, _)| inner_product(sum, sum)).collect();
    let log_recognised = |(digit, cell): &(char, Array2<f32>)| {
        sums.0.get(digit).filter(|(_, count)| *count > 1)?;
        let score = |((other, (sum, _)), squared_length): ((&char, &(Array2<f32>, usize)), &f32)| {
            let product = inner_product(sum, cell);
            // The cell itself, with length 1, is taken out of the sum of its digit.
            let own = if other == digit { 1.0 } else { 0.0 };
            let squared_length = squared_length - own * (2.0 * product - 1.0);
            (*other, SCORE_OF_CORRELATION * (product - own) / squared_length.max(f32::MIN_POSITIVE).sqrt())
        };
        let scores: Vec<(char, f32)> = sums.0.iter().zip(&squared_lengths).map(score).collect();
        let (_, own) = scores.iter().find(|(other, _)| other == digit)?;
        let inverse_probability: f32 = scores.iter().map(|(_, score)| (score - own).exp()).sum();
        Some((-inverse_probability.ln()).max(MIN_LOG_RECOGNISED))
    };
    let logs: Vec<f32> = scaled.iter().filter_map(log_recognised).collect();
    logs.iter().sum::<f32>() / logs.len().max(1) as f32
}

/// For each row of a cell, the share of the strokes in that row: the root of the row's energy, averaged over the
/// digits in `cuts` and scaled so that all shares add up to 1.
pub(crate) fn row_shares<'a>(cuts: impl IntoIterator<Item = &'a CharacterCut>) -> Vec<f32> {
    let mut sums: Vec<f32> = Vec::new();
    for cut in cuts.into_iter().filter(|cut| cut.character.is_ascii_digit()) {
        sums.resize(cut.features.nrows(), 0.0);
        let scale = inverse_length(&cut.features);
        for (sum, row) in sums.iter_mut().zip(cut.features.rows()) {
            // The square root makes a faint stroke count nearly as much as a strong one.
            *sum += scale * row.dot(&row).sqrt();
        }
    }
    let all = sums.iter().sum::<f32>().max(f32::MIN_POSITIVE);
    sums.iter_mut().for_each(|sum| *sum /= all);
    sums
}

/// All shifts (down, right) by at most `px` rows and columns in each direction.
pub(crate) fn shifts_within(px: isize) -> impl Iterator<Item = (isize, isize)> {
    (-px..=px).flat_map(move |down| (-px..=px).map(move |right| (down, right)))
}

/// The overlapping parts of two cells of the same size, of which the second is shifted down and right.
pub(crate) fn overlap<'a>(
    one: &'a Array2<f32>,
    other: &'a Array2<f32>,
    (down, right): (isize, isize),
) -> (ArrayView2<'a, f32>, ArrayView2<'a, f32>) {
    let ranges = |length: usize, by: isize| {
        let first = by.unsigned_abs().min(length);
        if by >= 0 { (first..length, 0..length - first) } else { (0..length - first, first..length) }
    };
    let (rows, cols) = one.dim();
    let ((rows, other_rows), (cols, other_cols)) = (ranges(rows, down), ranges(cols, right));
    (one.slice(s![rows, cols]), other.slice(s![other_rows, other_cols]))
}

fn inner_product(one: &Array2<f32>, other: &Array2<f32>) -> f32 {
    match (one.as_slice(), other.as_slice()) {
        (Some(one), Some(other)) => dot(one, other),
        _ => 0.0,
    }
}

/// The reciprocal of the root of the sum of squares; 0 if all features are 0.
fn inverse_length(features: &Array2<f32>) -> f32 {
    let length = inner_product(features, features).sqrt();
    if length > 0.0 { 1.0 / length } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A cell with strokes in some columns, and a faint one in a further column.
    fn cell(strokes: &[usize], faint: usize) -> Array2<f32> {
        let mut cell = Array2::zeros((4, 8));
        strokes.iter().for_each(|column| cell.column_mut(*column).fill(1.0));
        cell.column_mut(faint).fill(0.1);
        cell
    }

    #[test]
    fn digits_that_differ_are_recognised_and_those_that_look_alike_are_not() {
        let different =
            [('3', cell(&[1], 0)), ('3', cell(&[1], 3)), ('8', cell(&[5], 0)), ('8', cell(&[5], 7))];
        assert!(mean_log_recognised(&different) > -0.01);
        let alike = [('3', cell(&[1], 0)), ('3', cell(&[1], 3)), ('8', cell(&[1], 0)), ('8', cell(&[1], 3))];
        assert!(mean_log_recognised(&alike) < -0.5);
        let swapped =
            [('3', cell(&[1], 0)), ('3', cell(&[5], 3)), ('8', cell(&[5], 0)), ('8', cell(&[1], 7))];
        assert_eq!(mean_log_recognised(&swapped), MIN_LOG_RECOGNISED);
    }

    #[test]
    fn digits_that_occur_once_are_not_counted() {
        let cells = [('3', cell(&[1], 0)), ('8', cell(&[1], 3))];
        assert_eq!(mean_log_recognised(&cells), 0.0);
    }
}

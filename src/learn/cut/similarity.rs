//! Similarity of the cuts of each character: correlations and shared energy, computed from sums over all
//! cuts.

use std::collections::BTreeMap;

use ndarray::{Array2, ArrayView2, s};

use super::character::CharacterCut;
use crate::learn::group::size_group::SizeGroup;
use crate::recognise::dot;

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

//! Separates regions of one text size into faces.
//!
//! The characters of a face look alike in every region. A region is learned separately if its own characters
//! agree with each other, but differ from the same characters of the other regions at every shift.

use std::collections::BTreeMap;

use ndarray::Array2;

use super::cut_group::{CutGroup, cut_group};
use crate::learn::cut::character::CharacterCut;
use crate::learn::cut::similarity::{character_means, mean_correlation, overlap, shifts_within};
use crate::learn::error::LearnError;
use crate::learn::examples::example::TrainingExample;
use crate::learn::group::size_group::{MeasuredRegion, SizeGroup};
use crate::learn::group::stroke_rows::StrokeRows;
use crate::recognise::correlation;

/// Minimum number of labels of a region to be split off (set by judgement).
const MIN_LABELS: usize = 4;

/// Minimum number of different digits that must occur both in the labels of a region to be split off and in those of
/// the other regions (set by judgement).
const MIN_SHARED_DIGITS: usize = 3;

/// Minimum mean correlation between a region's own cuts of the same character for the region to be split off
/// (set by judgement).
const MIN_OWN_CORRELATION: f32 = 0.6;

/// Limit of a ratio, below which a region has another face than the other regions: the correlation of its characters
/// with those of the other regions, divided by the correlation of its characters with each other. On 22 clips drawn
/// by other programs (benches/world and others) this limit separates the regions of the only clip with two faces.
const MAX_OTHER_FACE_CORRELATION: f32 = 0.7;

/// Maximum shift that is tried between the characters of a region and those of the other regions, in working pixels,
/// in each direction (set by judgement).
const MAX_SHIFT_PX: isize = 3;

/// Cuts the characters of regions of one text size. A region whose face differs from that of the others becomes a
/// group of its own.
///
/// # Errors
///
/// [`LearnError`] if a group cannot be cut.
pub(crate) fn cut_by_face<'a>(
    group: SizeGroup<'a>,
    examples: &'a [TrainingExample],
    rows: &[Option<StrokeRows>],
) -> Result<Vec<CutGroup<'a>>, LearnError> {
    let cut = cut_group(group)?;
    let Some(other_face) = region_of_another_face(&cut) else { return Ok(vec![cut]) };
    let members = |is_other: bool| -> Vec<MeasuredRegion<'a>> {
        let regions = cut.group.regions.iter().enumerate();
        let wanted = regions.filter(|(region, _)| (*region == other_face) == is_other);
        let member = |setup_index: usize, region| {
            Some(MeasuredRegion { setup_index, region, rows: rows[setup_index]? })
        };
        wanted.filter_map(|(_, wanted)| member(wanted.setup_index, wanted.region)).collect()
    };
    let mut all = cut_by_face(SizeGroup::of(&members(false), examples), examples, rows)?;
    all.extend(cut_by_face(SizeGroup::of(&members(true), examples), examples, rows)?);
    Ok(all)
}

/// Index of the region that differs most from the others, if its face is another one; otherwise `None`.
fn region_of_another_face(CutGroup { group, cuts, .. }: &CutGroup<'_>) -> Option<usize> {
    let rated = (0..group.regions.len()).filter_map(|region| {
        let (own, others): (Vec<_>, Vec<&CharacterCut>) = cuts.iter().partition(|cut| cut.region == region);
        let own_correlation = mean_correlation(own.iter().copied());
        let can_be_judged =
            group.regions[region].examples.len() >= MIN_LABELS && own_correlation >= MIN_OWN_CORRELATION;
        let similarity =
            best_correlation(&character_means(own.into_iter()), &character_means(others.into_iter()));
        Some((region, similarity.filter(|_| can_be_judged)? / own_correlation))
    });
    let (region, share) = rated.min_by(|a, b| a.1.total_cmp(&b.1))?;
    (share < MAX_OTHER_FACE_CORRELATION).then_some(region)
}

/// Mean correlation of the digits that `own` and `others` have in common, at the shift where it is greatest; `None`
/// if they have too few digits in common.
fn best_correlation(own: &BTreeMap<char, Array2<f32>>, others: &BTreeMap<char, Array2<f32>>) -> Option<f32> {
    let shared: Vec<(&Array2<f32>, &Array2<f32>)> = own
        .iter()
        .filter(|(character, _)| character.is_ascii_digit())
        .filter_map(|(character, own)| {
            Some((own, others.get(character).filter(|other| other.dim() == own.dim())?))
        })
        .collect();
    let correlation_at = |shift: (isize, isize)| {
        let of_character = |(own, other): &(&Array2<f32>, &Array2<f32>)| {
            let (own, other) = overlap(own, other, shift);
            correlation(&own.to_owned(), &other.to_owned())
        };
        shared.iter().map(of_character).sum::<f32>() / shared.len() as f32
    };
    let best = || shifts_within(MAX_SHIFT_PX).map(correlation_at).fold(-1.0, f32::max);
    (shared.len() >= MIN_SHARED_DIGITS).then(best)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A cell with a slanted bar that begins at the top left.
    fn bar(slant: usize, shift: usize) -> Array2<f32> {
        Array2::from_shape_fn((24, 16), |(row, col)| {
            let at = 3 + shift + row * slant / 8;
            if col == at || col == at + 1 { 1.0 } else { 0.0 }
        })
    }

    fn characters(of: impl Fn(usize) -> Array2<f32>) -> BTreeMap<char, Array2<f32>> {
        "123".chars().zip((0..3).map(of)).collect()
    }

    #[test]
    fn shifted_characters_are_of_one_face_and_slanted_ones_are_not() {
        let own = characters(|slant| bar(slant, 0));
        let shifted = best_correlation(&own, &characters(|slant| bar(slant, 2)));
        let slanted = best_correlation(&own, &characters(|slant| bar(slant + 1, 0)));
        assert!(shifted.is_some_and(|correlation| correlation > 0.9), "{shifted:?}");
        assert!(slanted.is_some_and(|correlation| correlation < MAX_OTHER_FACE_CORRELATION), "{slanted:?}");
    }
}

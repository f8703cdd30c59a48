//! Regions of one size of type that are written in different faces.
//!
//! The characters of a face look alike in every region. Where those of a region agree with each other, but are unlike the
//! same characters of the other regions wherever they are laid over them, the region is learned by itself.

use std::collections::BTreeMap;

use ndarray::Array2;

use super::align::{CharacterCut, class_means, mean_agreement, overlap, shifts_within};
use super::group::{Group, Member, cut_group, group_of};
use super::heights::InkRows;
use super::{CutGroup, LearnError, TrainingExample};
use crate::recognise::correlation;

/// Labels of a region below which nothing is said.
const LEAST_LABELS: usize = 4;

/// Characters that a region and the others must both show.
const LEAST_SHARED: usize = 3;

/// Mean correlation of a region's own cuts of the same character from which on they agree.
const AGREEING: f32 = 0.6;

/// Correlation with the other regions' characters, as a share of its own agreement, below which a region is written in
/// another face. Of 22 clips drawn by other programs (benches/world and others) this parts the only one that shows two.
const ANOTHER_FACE: f32 = 0.7;

/// Rows and columns that a region's characters may stand off those of the others, in working pixels.
const OFF_PX: isize = 3;

/// Cuts the characters of regions of one size of type; regions written in another face come in a group of their own.
///
/// # Errors
/// Those of cutting a group.
pub(super) fn cut_by_face<'a>(
    mut group: Group<'a>,
    moments: &'a [TrainingExample],
    heights: &[Option<InkRows>],
) -> Result<Vec<CutGroup<'a>>, LearnError> {
    let cuts = cut_group(&mut group)?;
    let Some(apart) = region_apart(&group, &cuts) else { return Ok(vec![(group, cuts)]) };
    let members = |is_apart: bool| -> Vec<Member<'a>> {
        let regions = group.regions.iter().enumerate();
        let wanted = regions.filter(|(region, _)| (*region == apart) == is_apart);
        let member = |number: usize, region| Some((number, region, heights[number]?));
        wanted.filter_map(|(_, wanted)| member(wanted.number, wanted.region)).collect()
    };
    let mut all = cut_by_face(group_of(&members(false), moments), moments, heights)?;
    all.extend(cut_by_face(group_of(&members(true), moments), moments, heights)?);
    Ok(all)
}

/// The region that is most unlike the others, if that is written in another face.
fn region_apart(group: &Group<'_>, cuts: &[CharacterCut]) -> Option<usize> {
    let rated = (0..group.regions.len()).filter_map(|region| {
        let (own, others): (Vec<_>, Vec<_>) = cuts.iter().partition(|cut| cut.region == region);
        let agreement = mean_agreement(own.iter().copied());
        let is_telling = group.regions[region].moments.len() >= LEAST_LABELS && agreement >= AGREEING;
        let likeness = likeness(&class_means(own.into_iter()), &class_means(others.into_iter()));
        Some((region, likeness.filter(|_| is_telling)? / agreement))
    });
    let (region, share) = rated.min_by(|a, b| a.1.total_cmp(&b.1))?;
    (share < ANOTHER_FACE).then_some(region)
}

/// Mean correlation of the characters that both have, where these are laid over each other best.
fn likeness(own: &BTreeMap<char, Array2<f32>>, others: &BTreeMap<char, Array2<f32>>) -> Option<f32> {
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
    (shared.len() >= LEAST_SHARED).then(|| shifts_within(OFF_PX).map(correlation_at).fold(-1.0, f32::max))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A cell with a bar at an angle, from the top left on.
    fn bar(across: usize, moved: usize) -> Array2<f32> {
        Array2::from_shape_fn((24, 16), |(row, col)| {
            let at = 3 + moved + row * across / 8;
            if col == at || col == at + 1 { 1.0 } else { 0.0 }
        })
    }

    fn characters(of: impl Fn(usize) -> Array2<f32>) -> BTreeMap<char, Array2<f32>> {
        "123".chars().zip((0..3).map(of)).collect()
    }

    #[test]
    fn characters_that_only_stand_elsewhere_in_their_cells_are_alike() {
        let (own, moved, slanted) = (
            characters(|across| bar(across, 0)),
            characters(|across| bar(across, 2)),
            characters(|across| bar(across + 1, 0)),
        );
        assert!(
            likeness(&own, &moved).is_some_and(|likeness| likeness > 0.9),
            "{:?}",
            likeness(&own, &moved)
        );
        assert!(
            likeness(&own, &slanted).is_some_and(|likeness| likeness < ANOTHER_FACE),
            "{:?}",
            likeness(&own, &slanted)
        );
    }
}

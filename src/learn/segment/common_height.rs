//! Corrects the measured text height of each region by comparing its characters with those of the other regions.

use super::cut_group::{CutGroup, cut_group};
use crate::learn::cut::character::{CharacterCut, digits_in_equal_cells};
use crate::learn::cut::digit_prior::mean_log_prior;
use crate::learn::cut::similarity::correlation_with_other_regions;
use crate::learn::error::LearnError;
use crate::learn::examples::example::TrainingExample;
use crate::learn::group::size_group::{MeasuredRegion, SizeGroup, group_by_height};
use crate::learn::group::stroke_rows::StrokeRows;
use crate::setup::Region;

/// Minimum correlation between a region's characters and those of the other regions for all to belong to the same
/// face, as a share of the correlation of the other regions' characters with each other (set by judgement).
const MIN_RELATIVE_CORRELATION: f32 = 0.6;

/// Rows of the strokes of every region, corrected for static background. Background above or below a text looks like
/// strokes and makes the text seem higher. The regions are grouped by text height. Each region outside the group with
/// the most examples is also cut at the text height of that group. The region gets that height if its characters then
/// resemble those of the group, or resemble the labelled digits more than at the measured height.
///
/// # Errors
///
/// [`LearnError`] if a group cannot be cut.
pub(crate) fn common_heights(
    regions: &[Region],
    examples: &[TrainingExample],
    measured: &[Option<StrokeRows>],
) -> Result<Vec<Option<StrokeRows>>, LearnError> {
    let groups = group_by_height(regions, examples, measured);
    let example_count =
        |group: &&SizeGroup<'_>| group.regions.iter().map(|region| region.examples.len()).sum::<usize>();
    let Some(main) = groups.iter().max_by_key(example_count).filter(|_| groups.len() > 1) else {
        return Ok(measured.to_vec());
    };
    let height_px = main.height_px();
    let is_main = |index: usize| main.regions.iter().any(|region| region.setup_index == index);
    let mut corrected = measured.to_vec();
    for index in groups.iter().flat_map(|group| &group.regions).map(|region| region.setup_index) {
        let Some(own_rows) = measured[index].filter(|_| !is_main(index)) else { continue };
        let top_px = own_rows.top_px + 0.5 * (own_rows.height_px - height_px);
        let as_main = StrokeRows { top_px, height_px };
        let rows = |other: usize| {
            if other == index { Some(as_main) } else { measured[other].filter(|_| is_main(other)) }
        };
        let member =
            |(other, region)| Some(MeasuredRegion { setup_index: other, region, rows: rows(other)? });
        let members: Vec<MeasuredRegion<'_>> = regions.iter().enumerate().filter_map(member).collect();
        let group = SizeGroup::of(&members, examples);
        let alone = MeasuredRegion { setup_index: index, region: &regions[index], rows: own_rows };
        let alone = SizeGroup::of(&[alone], examples);
        corrected[index] = rows_at_main_height(group, alone, index).or(corrected[index]);
    }
    Ok(corrected)
}

/// Rows of the strokes of the region with index `setup_index`, at the text height of `group`; `None` if the region
/// keeps its own height. The characters at the group's height must resemble those of the other regions, or look more
/// like the labelled digits (by the shape prior) than the characters at the region's own height (`alone`).
fn rows_at_main_height(group: SizeGroup<'_>, alone: SizeGroup<'_>, setup_index: usize) -> Option<StrokeRows> {
    let CutGroup { group, cuts, .. } = cut_group(group).ok()?;
    let own = group.regions.iter().position(|region| region.setup_index == setup_index)?;
    let others = (0..group.regions.len()).filter(|other| *other != own);
    let usual: Vec<f32> = others.filter_map(|other| correlation_with_other_regions(&cuts, other)).collect();
    let usual = usual.iter().sum::<f32>() / usual.len().max(1) as f32;
    let is_alike = correlation_with_other_regions(&cuts, own)
        .is_some_and(|correlation| correlation >= MIN_RELATIVE_CORRELATION * usual);
    let own_cuts: Vec<CharacterCut> = cuts.iter().filter(|cut| cut.region == own).cloned().collect();
    let as_main = mean_log_prior(&digits_in_equal_cells(&group, &own_cuts));
    let by_itself = || {
        cut_group(alone).map_or(f32::NEG_INFINITY, |alone| {
            mean_log_prior(&digits_in_equal_cells(&alone.group, &alone.cuts))
        })
    };
    let top = cuts.iter().find(|cut| cut.region == own)?.top;
    let rows = StrokeRows { top_px: group.stroke_top_px(top), height_px: group.height_px() };
    (is_alike || as_main > by_itself()).then_some(rows)
}

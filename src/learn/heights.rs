//! Heights: how large the type of every region is, before any shape is known.

use rayon::prelude::*;

use super::group::{Group, cut_group, group_by_height, group_of};
use super::{LearnError, TrainingExample, align, evidence};
use crate::recognise::MARGIN_PX;
use crate::recognise::{Patch, Sample, energy_profile};
use crate::setup::Region;

/// Correlation of a region's characters with those of the other regions from which on they are of one face, as a
/// share of what the other regions' own characters have.
const OF_ONE_FACE: f32 = 0.6;

/// Height and first row of the strokes of a region, in frame pixels from the top of its box.
#[derive(Debug, Clone, Copy)]
pub(super) struct InkRows {
    pub(super) top_px: f32,
    pub(super) height_px: f32,
}

/// Height and first row of the strokes of every region; `None` where none stand out.
pub(super) fn text_rows(regions: &[Region], sample: &Sample) -> Vec<Option<InkRows>> {
    let regions = regions.par_iter().zip(&sample.regions);
    regions.map(|(region, patches)| ink_rows(region, patches)).collect()
}

/// Height and first row of the strokes of every region, from `seem`, what they seem to be each by itself. Static
/// background above or below a text passes for strokes: so a region that seems to be written in another size than most is
/// cut in their size, too, and is of that size if its characters then look like theirs, or more like the digits labelled.
///
/// # Errors
/// Those of cutting the readings of the regions that most are told of.
pub(super) fn heights_agreed(
    regions: &[Region],
    moments: &[TrainingExample],
    seem: &[Option<InkRows>],
) -> Result<Vec<Option<InkRows>>, LearnError> {
    let groups = group_by_height(regions, moments, seem);
    let told = |group: &&Group<'_>| group.regions.iter().map(|told| told.moments.len()).sum::<usize>();
    let Some(main) = groups.iter().max_by_key(told).filter(|_| groups.len() > 1) else {
        return Ok(seem.to_vec());
    };
    let height_px = main.height_px();
    let is_main = |number: usize| main.regions.iter().any(|told| told.number == number);
    let mut agreed = seem.to_vec();
    for number in groups.iter().flat_map(|group| &group.regions).map(|told| told.number) {
        let Some(rows_seen) = seem[number].filter(|_| !is_main(number)) else { continue };
        let top_px = rows_seen.top_px + 0.5 * (rows_seen.height_px - height_px);
        let as_main = InkRows { top_px, height_px };
        let rows = |other: usize| {
            if other == number { Some(as_main) } else { seem[other].filter(|_| is_main(other)) }
        };
        let members =
            regions.iter().enumerate().filter_map(|(other, region)| Some((other, region, rows(other)?)));
        let group = group_of(&members.collect::<Vec<_>>(), moments);
        let alone = group_of(&[(number, &regions[number], rows_seen)], moments);
        agreed[number] = of_main_size(group, alone, number).or(agreed[number]);
    }
    Ok(agreed)
}

/// Rows of a region's text if its characters, cut in this group, are those of the other regions, or look more like the
/// digits labelled than those that the region gives `alone`, at the height that it seems to have.
fn of_main_size(mut group: Group<'_>, mut alone: Group<'_>, number: usize) -> Option<InkRows> {
    let cuts = cut_group(&mut group).ok()?;
    let place = group.regions.iter().position(|told| told.number == number)?;
    let others = (0..group.regions.len()).filter(|other| *other != place);
    let usual: Vec<f32> = others.filter_map(|other| align::likeness_to_others(&cuts, other)).collect();
    let usual = usual.iter().sum::<f32>() / usual.len().max(1) as f32;
    let is_alike = align::likeness_to_others(&cuts, place).is_some_and(|own| own >= OF_ONE_FACE * usual);
    let as_main = evidence::mean_log_prior(cuts.iter().filter(|cut| cut.region == place));
    let mut by_itself =
        || cut_group(&mut alone).map_or(f32::NEG_INFINITY, |cuts| evidence::mean_log_prior(&cuts));
    let top = cuts.iter().find(|cut| cut.region == place)?.top;
    let rows = InkRows { top_px: group.ink_top_px(top), height_px: group.height_px() };
    (is_alike || as_main > by_itself()).then_some(rows)
}

fn ink_rows(region: &Region, patches: &[Patch]) -> Option<InkRows> {
    let energy_profile::TextRows { top, bottom, factor } =
        energy_profile::text_rows(patches, region.place.height)?;
    Some(InkRows {
        top_px: (top as f32 - MARGIN_PX as f32) * factor as f32,
        height_px: ((bottom - top) * factor) as f32,
    })
}

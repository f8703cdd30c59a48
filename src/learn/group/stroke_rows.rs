//! Measures which rows the strokes of each region occupy, before any glyph is known.

use rayon::prelude::*;

use crate::recognise::MARGIN_PX;
use crate::recognise::{Patch, Sample, energy_profile};
use crate::setup::Region;

/// First row and height of the strokes of a region, in frame pixels from the top of its box.
#[derive(Debug, Clone, Copy)]
pub(crate) struct StrokeRows {
    pub(crate) top_px: f32,
    pub(crate) height_px: f32,
}

/// Rows of the strokes of every region, measured from the stroke energy in the sample; `None` if no strokes
/// are visible.
pub(crate) fn stroke_rows(regions: &[Region], sample: &Sample) -> Vec<Option<StrokeRows>> {
    let regions = regions.par_iter().zip(&sample.regions);
    regions.map(|(region, patches)| rows_of_region(region, patches)).collect()
}

fn rows_of_region(region: &Region, patches: &[Patch]) -> Option<StrokeRows> {
    let energy_profile::TextRows { top, bottom, factor } =
        energy_profile::text_rows(patches, region.rect.height)?;
    Some(StrokeRows {
        top_px: (top as f32 - MARGIN_PX as f32) * factor as f32,
        height_px: ((bottom - top) * factor) as f32,
    })
}

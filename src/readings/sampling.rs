//! Copies the patches of all regions from frames spread over a recording.

use crate::footage::{FootageError, FrameSource, LumaPlane};
use crate::geometry::PixelRect;
use crate::recognise::{MARGIN_PX, Sample, working_factor};
use crate::setup::Setup;

/// Number of sampled frames. Set by judgement.
const SAMPLED_FRAMES: usize = 120;

/// Maximum height of a glyph cell, as a multiple of the highest box. Set by judgement.
const MAX_CELL_HEIGHT: f32 = 2.0;

/// Samples a recording for the regions of a setup.
///
/// # Errors
///
/// Errors of the source.
pub fn sample<S: FrameSource>(source: &mut S, setup: &Setup) -> Result<Sample, FootageError> {
    let areas = surroundings(setup);
    let mut sample = Sample::new(setup.regions.len());
    let cut = |luma: LumaPlane<'_>| Sample::cut(&setup.regions, luma);
    for frame in source.process_some(SAMPLED_FRAMES, &areas, &cut)? {
        sample.add(frame.output, frame.time_s);
    }
    Ok(sample)
}

/// The rectangles of a frame that recognition may need before the glyphs are known: the boxes with the margin
/// of a window at the coarsest working resolution.
fn surroundings(setup: &Setup) -> Vec<PixelRect> {
    let max_height = setup.regions.iter().map(|region| region.rect.height).max().unwrap_or(0);
    let margin = ((MARGIN_PX + 1) * working_factor(MAX_CELL_HEIGHT * max_height as f32)) as u32;
    setup.regions.iter().map(|region| region.rect.with_margin(margin)).collect()
}

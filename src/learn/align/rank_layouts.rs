//! Ranks text layouts by how well the characters cut with them agree.

use rayon::prelude::*;

use super::align_texts::aligned_cuts;
use crate::learn::cut::character::CharacterCut;
use crate::learn::cut::digit_prior::mean_log_prior;
use crate::learn::cut::similarity::{mean_correlation, shared_energy};
use crate::learn::group::size_group::SizeGroup;
use crate::learn::layout::text_layout::TextLayout;

/// Maximum difference in shared energy between the best layout and a layout that is tied with it. The energy of one
/// text is 1 (set by judgement).
const MAX_TIE_ENERGY: f32 = 0.1;

/// Minimum mean correlation that at least one tied layout must reach; otherwise tied layouts are not sorted by
/// correlation. Under noise, narrow cells correlate better, whatever they contain (set by judgement).
const MIN_CLEAR_CORRELATION: f32 = 0.8;

/// Maximum number of tied layouts that are rated by the shape prior too. The shape prior helps if there are few
/// labels, since most digits then occur only once (set by judgement).
const MAX_JUDGED_BY_SHAPE: usize = 24;

/// Weight of the mean log probability of the digits, in units of correlation (set by judgement).
const SHAPE_WEIGHT: f32 = 0.2;

/// A text layout with the cuts that it gives.
pub(crate) struct RankedLayout<'a> {
    pub(crate) layout: &'a TextLayout,
    pub(crate) cuts: Vec<CharacterCut>,
    /// Energy that the cuts of the same characters have in common (see [`shared_energy`]); the energy of one
    /// text is 1.
    pub(crate) energy: f32,
    /// Mean correlation of two cuts of the same character.
    pub(crate) correlation: f32,
    /// The correlation, plus the weighted log probability of the digits if the shape prior judged the layout.
    rating: f32,
}

/// Layouts with their cuts, those with the most shared energy first. Tied layouts, which occur with few
/// labels, are sorted by the correlation of their cuts and by the shape prior.
pub(crate) fn rank_layouts<'a>(
    group: &SizeGroup<'_>,
    layouts: impl IntoParallelIterator<Item = &'a TextLayout>,
) -> Vec<RankedLayout<'a>> {
    let rated = layouts.into_par_iter().map(|layout| {
        let cuts = aligned_cuts(group, layout);
        let (energy, correlation) = (shared_energy(group, &cuts), mean_correlation(&cuts));
        RankedLayout { layout, cuts, energy, correlation, rating: correlation }
    });
    let mut all: Vec<RankedLayout<'_>> = rated.collect();
    all.sort_by(|a, b| b.energy.total_cmp(&a.energy));
    let max_energy = all.first().map_or(0.0, |best| best.energy);
    let tied = all.partition_point(|rated| rated.energy >= max_energy - MAX_TIE_ENERGY);
    let tied = &mut all[..tied];
    if tied.iter().any(|rated| rated.correlation >= MIN_CLEAR_CORRELATION) {
        tied.sort_by(|a, b| b.correlation.total_cmp(&a.correlation));
        let judged = tied.len().min(MAX_JUDGED_BY_SHAPE);
        sort_by_shape(&mut tied[..judged]);
    }
    all
}

/// Sorts layouts by the correlation of their cuts, and by the probability of the labelled digits given the
/// shapes that are cut.
fn sort_by_shape(layouts: &mut [RankedLayout<'_>]) {
    if layouts.len() > 1 {
        layouts.par_iter_mut().for_each(|rated| {
            rated.rating = rated.correlation + SHAPE_WEIGHT * mean_log_prior(&rated.cuts);
        });
        layouts.sort_by(|a, b| b.rating.total_cmp(&a.rating));
    }
}

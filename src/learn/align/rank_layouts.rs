//! Ranks text layouts by how well the characters cut with them agree.

use rayon::prelude::*;

use super::align_texts::aligned_cuts;
use crate::learn::cut::character::CharacterCut;
use crate::learn::cut::digit_prior::weighted_log_prior;
use crate::learn::cut::similarity::shared_energy;
use crate::learn::group::size_group::SizeGroup;
use crate::learn::layout::text_layout::TextLayout;

/// Maximum number of layouts that are rated by the shape prior too, those with the most shared energy. The shape prior
/// decides if there are few labels, since most digits then occur only once (set by judgement).
const MAX_JUDGED_BY_SHAPE: usize = 24;

/// A text layout with the cuts that it gives.
pub(crate) struct RankedLayout<'a> {
    pub(crate) layout: &'a TextLayout,
    pub(crate) cuts: Vec<CharacterCut>,
    /// Energy that the cuts of the same characters have in common (see [`shared_energy`]), plus the weighted log
    /// probability of the digits by the shape prior; the energy of one text is 1.
    pub(crate) agreement: f32,
}

/// The layouts with the most shared energy, with their cuts, those with the best agreement first.
pub(crate) fn rank_layouts<'a>(
    group: &SizeGroup<'_>,
    layouts: impl IntoParallelIterator<Item = &'a TextLayout>,
) -> Vec<RankedLayout<'a>> {
    let with_energy = |layout| {
        let cuts = aligned_cuts(group, layout);
        (shared_energy(group, &cuts), layout, cuts)
    };
    let mut all: Vec<(f32, &TextLayout, Vec<CharacterCut>)> =
        layouts.into_par_iter().map(with_energy).collect();
    all.sort_by(|one, other| other.0.total_cmp(&one.0));
    all.truncate(MAX_JUDGED_BY_SHAPE);
    let ranked = all.into_par_iter().map(|(energy, layout, cuts)| RankedLayout {
        layout,
        agreement: energy + weighted_log_prior(group, &cuts),
        cuts,
    });
    let mut ranked: Vec<RankedLayout<'_>> = ranked.collect();
    ranked.sort_by(|one, other| other.agreement.total_cmp(&one.agreement));
    ranked
}

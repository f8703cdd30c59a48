//! Ranks text layouts by how well the characters cut with them agree.

use rayon::prelude::*;

use super::align_texts::aligned_cuts;
use crate::learn::cut::character::{CharacterCut, digits_in_equal_cells};
use crate::learn::cut::digit_prior::mean_log_prior;
use crate::learn::cut::similarity::{mean_log_recognised, shared_energy};
use crate::learn::group::size_group::SizeGroup;
use crate::learn::layout::text_layout::TextLayout;

/// Maximum number of layouts that are rated by the shape prior too, those with the most shared energy. The shape prior
/// decides if there are few labels, since most digits then occur only once (set by judgement).
const MAX_JUDGED_BY_SHAPE: usize = 24;

/// Weight of the log probability of one digit by the shape prior, relative to the energy of one text (set by judgement).
const SHAPE_WEIGHT: f32 = 0.1;

/// Minimum of the mean log probability of the digits by the shape prior: that of ten equally probable digits. A face whose digits
/// look still less like themselves is unusual, and the shape prior gives no information about it.
const MIN_MEAN_LOG_PRIOR: f32 = -std::f32::consts::LN_10;

/// Weight of the log probability that one digit is recognised, relative to the energy of one text: it decides between layouts
/// with nearly the same energy (chosen on the clips of benches/world/drawn_faces.py; 0.04 prefers wrong layouts on two of them).
const RECOGNITION_WEIGHT: f32 = 0.02;

/// A text layout with the cuts that it gives.
pub(crate) struct RankedLayout<'a> {
    pub(crate) layout: &'a TextLayout,
    pub(crate) cuts: Vec<CharacterCut>,
    /// Energy that the cuts of the same characters have in common (see [`shared_energy`]), plus the weighted log
    /// probabilities of the digits by the shape prior and by recognition with the other cuts (see
    /// [`mean_log_recognised`]); the energy of one text is 1.
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
        agreement: energy + weighted_log_probability(group, &cuts),
        cuts,
    });
    let mut ranked: Vec<RankedLayout<'_>> = ranked.collect();
    ranked.sort_by(|one, other| other.agreement.total_cmp(&one.agreement));
    ranked
}

/// Weighted sum of the log probabilities that the digits among some cuts are as labelled, by the shape prior and by recognition
/// with the other cuts. The unit is the energy of one text, so that the sum can be added to the shared energy.
fn weighted_log_probability(group: &SizeGroup<'_>, cuts: &[CharacterCut]) -> f32 {
    let count = cuts.iter().filter(|cut| cut.character.is_ascii_digit()).count();
    let digits = digits_in_equal_cells(group, cuts);
    let by_shape = SHAPE_WEIGHT * mean_log_prior(&digits).max(MIN_MEAN_LOG_PRIOR);
    count as f32 * (by_shape + RECOGNITION_WEIGHT * mean_log_recognised(&digits))
}

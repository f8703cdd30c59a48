//! Cuts the characters of one size group: computes the text layout, aligns the texts and removes the
//! background.

use crate::learn::align::align_texts::{aligned_cuts_at_known_rows, shift_lines_together};
use crate::learn::align::rank_layouts::{RankedLayout, rank_layouts};
use crate::learn::align::relocate_lines::relocate_lines;
use crate::learn::cut::character::CharacterCut;
use crate::learn::cut::similarity::mean_correlation;
use crate::learn::error::LearnError;
use crate::learn::group::size_group::{ROW_PADDING_PX, SizeGroup};
use crate::learn::layout::search::{find_layouts, with_narrow_one, with_other_points};
use crate::learn::layout::stroke_profile::stroke_profiles;
use crate::learn::layout::text_layout::TextLayout;

use super::hold_extent::select_hold_frames;
use super::static_background::remove_static_background;

/// Number of best pitches for which further widths of the decimal point are tried. The search for pitches tries only
/// a few widths of the point, and a wrong width can favour a wrong pitch (set by judgement).
const FINE_PITCHES: usize = 5;

/// Minimum gain in agreement (each labelled text has the energy 1) for a layout with a narrow digit 1 to be preferred
/// (chosen on the source `svg` of benches/world).
const MIN_NARROW_GAIN: f32 = 0.5;

/// Minimum gain in mean correlation for a layout with a narrow 1 to be preferred. In clips with a constant pitch
/// either the agreement or the correlation rises by chance; in a proportional face both do (chosen on the source `svg`
/// of benches/world).
const MIN_NARROW_CORRELATION_GAIN: f32 = 0.03;

/// Maximum width of a labelled text that may lie outside its window, in pitches. A text that extends farther has more
/// characters than the readout shows (set by judgement).
const MAX_OUTSIDE_PITCHES: f32 = 0.5;

/// Regions with text of one size, and the characters cut from their training examples.
pub(crate) struct CutGroup<'a> {
    pub(crate) group: SizeGroup<'a>,
    pub(crate) cuts: Vec<CharacterCut>,
    /// Indices, among all labels, of those whose text extends beyond the window in the layout of the other texts.
    pub(crate) too_long: Vec<usize>,
}

/// Cuts the characters of a group, aligned to each other and without the static background. To save time, the layout
/// is computed from a limited number of examples of each region.
///
/// # Errors
///
/// [`LearnError::NoLayout`] if the texts do not fit into their boxes.
pub(crate) fn cut_group(mut group: SizeGroup<'_>) -> Result<CutGroup<'_>, LearnError> {
    let mut part = group.with_layout_examples();
    let Some((layout, cuts)) = best_layout(&part) else {
        let channels: Vec<&str> = group.regions.iter().map(|region| region.region.channel.name()).collect();
        return Err(LearnError::NoLayout { channels: channels.join(", ") });
    };
    let mut layout = relocate_lines(&mut part, layout, &cuts);
    shift_lines_together(&part, &mut layout);
    group.regions.iter_mut().zip(&part.regions).for_each(|(region, part)| region.top = part.top);
    let cuts = aligned_cuts_at_known_rows(&group, &layout);
    select_hold_frames(&mut group, &cuts);
    let cuts = aligned_cuts_at_known_rows(&group, &layout);
    remove_static_background(&mut group, &cuts);
    let cuts = aligned_cuts_at_known_rows(&group, &layout);
    let too_long = labels_beyond_window(&group, &layout);
    Ok(CutGroup { group, cuts, too_long })
}

/// Indices, among all labels, of those whose text extends beyond its window by more than [`MAX_OUTSIDE_PITCHES`].
fn labels_beyond_window(group: &SizeGroup<'_>, layout: &TextLayout) -> Vec<usize> {
    let max_outside_px = MAX_OUTSIDE_PITCHES * layout.advances.pitch;
    let of_region = group.regions.iter().zip(&layout.lines).flat_map(|(region, line)| {
        region.examples.iter().zip(&region.features).zip(&region.label_indices).filter_map(
            move |((example, features), label_index)| {
                let edges = layout.advances.edges(&example.label.text, line);
                let (first, last) = (*edges.first()?, *edges.last()?);
                let outside_px = (-first).max(last - features.ncols() as f32);
                (outside_px > max_outside_px).then_some(*label_index)
            },
        )
    });
    of_region.collect()
}

/// The layout for which the cuts of each character agree best, and these cuts; `None` if no layout fits.
fn best_layout(group: &SizeGroup<'_>) -> Option<(TextLayout, Vec<CharacterCut>)> {
    let profiles = stroke_profiles(group);
    let height = (group.rows - 2 * ROW_PADDING_PX) as f32;
    let layouts = find_layouts(&profiles, height);
    let ranked = rank_layouts(group, &layouts);
    let finer: Vec<TextLayout> = ranked
        .iter()
        .take(FINE_PITCHES)
        .flat_map(|rated| with_other_points(rated.layout, &profiles))
        .collect();
    let finer = rank_layouts(group, &finer).into_iter().next();
    let even =
        finer.into_iter().chain(ranked).max_by(|one, other| one.agreement.total_cmp(&other.agreement))?;
    let narrow = with_narrow_one(even.layout, &profiles);
    let narrow = rank_layouts(group, &narrow).into_iter().next();
    let is_better = |narrow: &RankedLayout<'_>| {
        narrow.agreement > even.agreement + MIN_NARROW_GAIN
            && mean_correlation(&narrow.cuts) > mean_correlation(&even.cuts) + MIN_NARROW_CORRELATION_GAIN
    };
    let best = narrow.filter(is_better).unwrap_or(even);
    Some((best.layout.clone(), best.cuts))
}

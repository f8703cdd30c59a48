//! Position search: finds the row, the anchor and the column of a region's text by correlation with the
//! templates.

use std::collections::BTreeMap;

use ndarray::{Array2, s};
use rayon::prelude::*;

use crate::recognise::decode::decoded::{Decoded, DecodedCharacter};
use crate::recognise::decode::{Decoder, text_from};
use crate::recognise::features::cells::{dot, features_at};
use crate::recognise::features::window::MARGIN_PX;
use crate::recognise::score::matcher::{Correlator, correlate};
use crate::recognise::templates::alphabet::Alphabet;
use crate::recognise::text::grammar::Grammar;
use crate::recognise::text::placement::{Anchor, Placement};
use crate::stats::upper_median;

/// Maximum number of frames that are used to find the row of a region's text. Set by judgement.
const ROW_FRAMES: usize = 16;

/// Maximum number of frames that are used to find the position of the text in its row. Set by judgement.
pub(super) const POSITION_FRAMES: usize = 60;

/// Maximum shift of a text from its usual position, in working pixels: the lines of analog video jitter. Set by
/// judgement.
const SHIFT_COLS: i32 = 2;

/// Maximum mean distance of an anchored edge from its median position, in working pixels; it allows for rounding and
/// for the jitter of analog lines. Set by judgement.
const MAX_EDGE_SCATTER_COLS: f32 = 0.75;
/// A text is centred if neither edge stays in place and its middle moves less than this share of the movement
/// of either edge. The movement is the mean distance from the median position. Set by judgement.
const CENTRED_SHARE: f32 = 0.5;

/// Minimum correlation that every character must have with its template for a text to be used for
/// calibration. Set by judgement.
pub(in crate::recognise) const MIN_CALIBRATION_CORRELATION: f32 = 0.55;

/// Minimum correlation of the first and the last character of a text with their templates, relative to the highest correlation of
/// the text's characters. Set by judgement.
const MIN_END_RATIO: f32 = 0.6;

/// Minimum contrast of the first and the last character of a text, relative to the median contrast of the text's characters. Set by
/// judgement.
const MIN_END_CONTRAST: f32 = 0.45;

/// Every n-th item of a list, with the smallest n that gives at most `max` items.
pub(super) fn evenly_spaced<T>(list: &[T], max: usize) -> impl Iterator<Item = &T> {
    list.iter().step_by(list.len().div_ceil(max).max(1))
}

/// The placement found for a region's text, and how well the templates fit there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::recognise) struct Registration {
    pub(in crate::recognise) placement: Placement,
    /// Smallest correlation of a text's characters with their templates, -1 to 1: mean over the texts of the
    /// sample.
    pub(super) correlation: f32,
    /// Share of the energy in the text's rows that the templates of its characters explain, 0 to 1: mean over
    /// the texts of the sample.
    pub(super) explained: f32,
    /// Observed distance between the characters, divided by the distance that their advances give.
    pub(super) spacing: f32,
}

/// How well the digits of an alphabet match a sample, -1 to 1. In each frame, the two highest correlations at
/// columns that do not overlap are averaged. The result is the mean over all frames, at the row of `tops`
/// where this mean is highest. -1 if `tops` is empty.
pub(super) fn match_quality(alphabet: &Alphabet, features: &[Array2<f32>], tops: &[usize]) -> f32 {
    let at = |top: &usize| -> f32 {
        let pairs = features.iter().map(|features| two_best(alphabet, features, *top));
        pairs.sum::<f32>() / features.len().max(1) as f32
    };
    tops.iter().map(at).fold(-1.0, f32::max)
}

fn two_best(alphabet: &Alphabet, features: &Array2<f32>, top: usize) -> f32 {
    let templates = (0..).zip(alphabet.shapes.iter().map(|shape| &shape.template));
    let mut found = vec![-1.0_f32; alphabet.shapes.len() * features.ncols()];
    correlate(templates, features, top, &mut found);
    let mut by_column = vec![-1.0_f32; features.ncols()];
    for row in found.chunks_exact(features.ncols().max(1)) {
        by_column.iter_mut().zip(row).for_each(|(best, found)| *best = best.max(*found));
    }
    let best = |apart_from: Option<usize>| {
        let apart = |column: &usize| apart_from.is_none_or(|other| column.abs_diff(other) >= alphabet.cols);
        let columns = (0..by_column.len()).filter(apart);
        columns.max_by(|a, b| by_column[*a].total_cmp(&by_column[*b]))
    };
    let first = best(None);
    let value = |column: Option<usize>| column.map_or(-1.0, |column| by_column[column]);
    0.5 * (value(first) + value(best(first)))
}

/// Finds the row, the anchor and the column of the text in a region's features. If `near` is given, only this
/// row and the rows next to it are tried. `None` if the text is not found.
pub(super) fn find_position(
    alphabet: &Alphabet,
    grammar: &Grammar,
    features: &[Array2<f32>],
    near: Option<usize>,
) -> Option<Registration> {
    let (height, cols) = features.first()?.dim();
    let decoder = Decoder { alphabet, scorer: &Correlator::new(alphabet), grammar, mask: None };
    let anywhere = |top| Placement { top, anchor: Anchor::Left, position: 0.0, shifts: (0, cols as i32) };
    let explained_at = |top: usize| -> f32 {
        evenly_spaced(features, ROW_FRAMES)
            .filter_map(|features| decoder.decode(features, &anywhere(top)))
            .map(|decoded| explained_cells(&decoded))
            .sum()
    };
    let best = |tops: Vec<usize>| {
        let rated: Vec<(usize, f32)> = tops.into_par_iter().map(|top| (top, explained_at(top))).collect();
        Some(rated.into_iter().max_by(|a, b| a.1.total_cmp(&b.1))?.0)
    };
    let last = height.checked_sub(alphabet.rows)?;
    // Thin strokes do not match if the row is off by one, so every row is tried.
    let rows = match near {
        Some(top) => top.min(last).saturating_sub(1)..=(top + 1).min(last),
        None => 0..=last,
    };
    let top = best(rows.collect())?;
    let texts: Vec<Option<(Decoded, f32)>> = features
        .par_iter()
        .map(|features| {
            let decoded = decoder.decode(features, &anywhere(top))?;
            let decoded = without_weak_ends(decoded, |character| EndCriteria {
                contrast: contrast(alphabet, features, top, character),
                is_in_box: is_in_box(alphabet, features.ncols(), character),
            });
            let explained = explained(alphabet, features, top, &decoded);
            Some((decoded, explained))
        })
        .collect();
    let (found, explained): (Vec<Decoded>, Vec<f32>) = texts.into_iter().flatten().unzip();
    let correlation = found.iter().map(Decoded::min_correlation).sum::<f32>() / found.len().max(1) as f32;
    Some(Registration {
        placement: placement_of(alphabet, top, &found)?,
        correlation,
        explained: explained.iter().sum::<f32>() / found.len().max(1) as f32,
        spacing: spacing_of(alphabet, &found),
    })
}

/// What shows, apart from its correlation, whether a character at the end of a text belongs to the text.
#[derive(Debug, Clone, Copy)]
struct EndCriteria {
    /// Contrast of the character relative to its template.
    contrast: f32,
    /// Whether the middle of the character lies inside the box.
    is_in_box: bool,
}

/// Contrast of a character relative to its template: the least-squares scale of the template in the character's cell, 0 outside
/// the window. The contrast that the decoder gives cannot be used, since correlations are scores without unit.
fn contrast(alphabet: &Alphabet, features: &Array2<f32>, top: usize, character: &DecodedCharacter) -> f32 {
    let contrast = || {
        let template = &alphabet.shapes[alphabet.index_of(character.character)?].template;
        let cell = features_at(features, top, character.left, template.dim())?;
        let (template, cell) = (template.as_slice()?, cell.as_slice()?);
        Some(dot(template, cell) / dot(template, template).max(f32::MIN_POSITIVE))
    };
    contrast().unwrap_or(0.0)
}

/// Whether the middle of a character lies inside the box, in a window `cols` columns wide.
fn is_in_box(alphabet: &Alphabet, cols: usize, character: &DecodedCharacter) -> bool {
    let middle = character.left + 0.5 * character.advance(alphabet);
    (MARGIN_PX as f32..=cols.saturating_sub(MARGIN_PX) as f32).contains(&middle)
}

/// Removes characters at both ends that correlate much less with their templates than the others do, whose contrast is much
/// lower, or whose middle lies outside the box. The position search adds them to values with fewer digits than the widest one,
/// because every correlation above 0 raises its score; the edge of a shaded panel, for example, correlates with a narrow 1.
fn without_weak_ends(mut decoded: Decoded, criteria: impl Fn(&DecodedCharacter) -> EndCriteria) -> Decoded {
    let criteria: Vec<EndCriteria> = decoded.characters.iter().map(criteria).collect();
    let strongest = decoded.characters.iter().map(|character| character.correlation).fold(0.0, f32::max);
    let mut contrasts: Vec<f32> = criteria.iter().map(|criteria| criteria.contrast).collect();
    let usual_contrast = upper_median(&mut contrasts).unwrap_or(0.0);
    let is_strong = |(character, criteria): (&DecodedCharacter, &EndCriteria)| {
        criteria.is_in_box
            && character.correlation >= MIN_END_RATIO * strongest
            && criteria.contrast >= MIN_END_CONTRAST * usual_contrast
    };
    let strong: Vec<bool> = decoded.characters.iter().zip(&criteria).map(is_strong).collect();
    let first = strong.iter().position(|strong| *strong).unwrap_or(strong.len());
    let end = strong.iter().rposition(|strong| *strong).map_or(first, |last| last + 1);
    decoded.characters = decoded.characters.drain(first..end).collect();
    decoded.text = text_from(decoded.characters.iter().map(|character| character.character));
    decoded
}

/// Share of the energy in the text's rows that the templates of its characters explain: the energy of their
/// cells times the squared correlation, like the explained variance of a regression.
fn explained(alphabet: &Alphabet, features: &Array2<f32>, top: usize, decoded: &Decoded) -> f32 {
    let energy = |cells: &Array2<f32>| cells.iter().map(|level| level * level).sum::<f32>();
    let explained = |character: &DecodedCharacter| {
        let size = alphabet.shapes[alphabet.index_of(character.character)?].template.dim();
        let share = character.correlation * character.correlation;
        Some(share * energy(&features_at(features, top, character.left, size)?))
    };
    let inside = MARGIN_PX..features.ncols().saturating_sub(MARGIN_PX);
    let all = features.slice(s![top..top + alphabet.rows, inside]).to_owned();
    decoded.characters.iter().filter_map(explained).sum::<f32>() / energy(&all).max(f32::MIN_POSITIVE)
}

/// Median over the texts of the distance from the first to the last character, divided by the sum of their
/// advances; 1 if no text has two characters.
fn spacing_of(alphabet: &Alphabet, found: &[Decoded]) -> f32 {
    let ratio = |decoded: &Decoded| {
        let (first, last) = (decoded.characters.first()?, decoded.characters.last()?);
        let given: Option<f32> = decoded.characters[..decoded.characters.len() - 1]
            .iter()
            .map(|character| Some(alphabet.shapes[alphabet.index_of(character.character)?].advance))
            .sum();
        given.filter(|given| *given > 0.0).map(|given| (last.left - first.left) / given)
    };
    let good = found.iter().filter(|decoded| decoded.min_correlation() > MIN_CALIBRATION_CORRELATION);
    let mut ratios: Vec<f32> = good.filter_map(ratio).collect();
    upper_median(&mut ratios).unwrap_or(1.0)
}

/// Sum over a text's characters of the squared correlation with their templates, which is the share of a
/// cell's energy that the template explains. This sum is low if a text with thin strokes was searched one row
/// too high or too low, even where the smallest correlation is not.
fn explained_cells(decoded: &Decoded) -> f32 {
    decoded.characters.iter().map(|character| character.correlation.max(0.0).powi(2)).sum()
}

/// The placement whose anchor is the edge with the smaller scatter over the texts. If neither edge stays in
/// place and the middle scatters less, the placement is centred.
fn placement_of(alphabet: &Alphabet, top: usize, found: &[Decoded]) -> Option<Placement> {
    let texts: Vec<&Decoded> = {
        let good: Vec<&Decoded> =
            found.iter().filter(|decoded| decoded.min_correlation() > MIN_CALIBRATION_CORRELATION).collect();
        if good.len() >= 3 { good } else { found.iter().collect() }
    };
    let ends: Vec<(usize, f32, f32)> = texts
        .iter()
        .filter_map(|decoded| {
            Some((decoded.text.len(), decoded.characters.first()?.left, right_edge(alphabet, decoded)?))
        })
        .collect();
    let median_of = |edge: fn(f32, f32) -> f32| {
        median_and_scatter(ends.iter().map(|(length, left, right)| (*length, edge(*left, *right))).collect())
    };
    let (left, left_scatter) = median_of(|left, _| left)?;
    let (right, right_scatter) = median_of(|_, right| right)?;
    let (middle, middle_scatter) = median_of(f32::midpoint)?;
    let end_scatter = left_scatter.min(right_scatter);
    let (anchor, position) =
        if end_scatter > MAX_EDGE_SCATTER_COLS && middle_scatter < CENTRED_SHARE * end_scatter {
            (Anchor::Centre, middle)
        } else if left_scatter < right_scatter {
            (Anchor::Left, left)
        } else {
            (Anchor::Right, right)
        };
    Some(Placement { top, anchor, position, shifts: (-SHIFT_COLS, SHIFT_COLS) })
}

fn right_edge(alphabet: &Alphabet, decoded: &Decoded) -> Option<f32> {
    let last = decoded.characters.last()?;
    Some(last.left + last.advance(alphabet))
}

/// Minimum number of texts of one length. Lengths with fewer texts are ignored, since these texts may be
/// misread; if no length has as many, all lengths are used. Set by judgement.
const MIN_OF_LENGTH: usize = 3;

/// Median of the edges of texts, and mean distance of the edges from the median, limited to 4 working pixels. Each
/// edge is given with the length of its text. All lengths have equal weight, since only texts of different lengths
/// show which edge stays in place. `None` if there are no texts.
fn median_and_scatter(mut edges: Vec<(usize, f32)>) -> Option<(f32, f32)> {
    edges.sort_by(|a, b| a.1.total_cmp(&b.1));
    let median = edges.get(edges.len() / 2)?.1;
    let mut by_length: BTreeMap<usize, (f32, usize)> = BTreeMap::new();
    for (length, edge) in edges {
        let (sum, count) = by_length.entry(length).or_default();
        *sum += (edge - median).abs().min(4.0);
        *count += 1;
    }
    let of_length = |min: usize| {
        let means = by_length.values().filter(move |(_, count)| *count >= min);
        means.map(|(sum, count)| sum / *count as f32).collect::<Vec<f32>>()
    };
    let counted = Some(of_length(MIN_OF_LENGTH)).filter(|means| !means.is_empty());
    let means = counted.unwrap_or_else(|| of_length(1));
    Some((median, means.iter().sum::<f32>() / means.len() as f32))
}

#[cfg(test)]
mod tests {
    use arrayvec::ArrayVec;

    use super::*;
    use crate::recognise::score::goodness_of_fit::GoodnessOfFit;
    use crate::recognise::text::Text;

    /// A text of characters with the given correlations, one working pixel apart.
    fn decoded(correlations: &[(char, f32)]) -> Decoded {
        let character = |(left, (character, correlation)): (usize, &(char, f32))| DecodedCharacter {
            character: *character,
            left: left as f32,
            scores: ArrayVec::new(),
            correlation: *correlation,
            min_part_score: 1.0,
            goodness: GoodnessOfFit::USUAL,
            contrast: 1.0,
            shape_probabilities: None,
        };
        let mut text = Text::new();
        correlations.iter().for_each(|(character, _)| text.push(*character));
        Decoded {
            text,
            characters: correlations.iter().enumerate().map(character).collect(),
            score: 0.0,
            other_forms: Vec::new(),
            form_margin: 0.0,
            contrast_beside: 0.0,
            energy_beside: 0.0,
            has_leading_zero: false,
            unknown_beside: 0.0,
        }
    }

    #[test]
    fn weak_characters_at_the_ends_are_removed_and_those_between_good_ones_kept() {
        let text = |characters: &[(char, f32)]| {
            let usual = |_: &DecodedCharacter| EndCriteria { contrast: 1.0, is_in_box: true };
            let strong = without_weak_ends(decoded(characters), usual);
            assert_eq!(strong.text.len(), strong.characters.len());
            strong.text.to_string()
        };
        assert_eq!(text(&[('1', 0.3), ('6', 0.9), ('5', 0.8)]), "65");
        assert_eq!(text(&[('1', 0.3), ('7', 0.4), ('0', 0.9), ('1', 0.5)]), "0");
        assert_eq!(text(&[('1', 0.6), ('6', 0.3), ('5', 0.9)]), "165");
        assert_eq!(text(&[('4', 0.4), ('6', 0.5)]), "46", "a face that fits nowhere");
        assert_eq!(text(&[]), "");
    }

    #[test]
    fn the_edge_of_a_panel_is_no_digit() {
        let text = |edge: EndCriteria| {
            let criteria = |character: &DecodedCharacter| {
                if character.left == 0.0 { edge } else { EndCriteria { contrast: 1.0, is_in_box: true } }
            };
            without_weak_ends(decoded(&[('1', 0.8), ('6', 0.9), ('5', 0.9)]), criteria).text.to_string()
        };
        assert_eq!(text(EndCriteria { contrast: 0.9, is_in_box: true }), "165");
        assert_eq!(text(EndCriteria { contrast: 0.2, is_in_box: true }), "65");
        assert_eq!(text(EndCriteria { contrast: 0.9, is_in_box: false }), "65");
    }
}

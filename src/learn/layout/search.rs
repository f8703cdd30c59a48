//! Searches for text layouts before any glyph is known.
//!
//! Overlays write digits at a constant pitch. For every pitch, width of the decimal point, anchor and
//! position, the labelled texts predict where strokes are and where none are. The layouts that the strokes
//! contradict least are returned.

use rayon::prelude::*;

use super::stroke_profile::StrokeProfile;
use super::text_layout::{Advances, LayoutLine, TextLayout};
use crate::recognise::Anchor;
use crate::recognise::is_separator;

/// Widths of the decimal point that are tried at first, in pitches. The first is that of monospaced faces
/// (set by judgement).
const POINT_WIDTHS: [f32; 7] = [1.0, 0.3, 0.36, 0.42, 0.48, 0.54, 0.62];

/// Widths of the decimal point that are tried once the pitch is known, in fiftieths of the pitch (set by
/// judgement).
const FINE_POINT_WIDTHS: std::ops::RangeInclusive<u8> = 10..=35;

/// Difference between successive trial pitches, in working pixels (set by judgement).
const PITCH_STEP_PX: f32 = 0.2;

/// Smallest and largest pitch that is tried, in text heights (set by judgement).
const PITCH_LIMITS: (f32, f32) = (0.35, 1.35);

/// Minimum share of a text's strokes in the cell of a digit, as a multiple of 1 / (number of digits in the text). If
/// a cell has less, the difference is added to the cost of the layout (set by judgement).
const MIN_DIGIT_SHARE: f32 = 0.55;

/// Minimum share of a text's strokes in the cell of a character other than a digit, such as the decimal point, as a
/// multiple of 1 / (number of digits in the text). If a cell has less, the difference is added to the cost of the
/// layout (set by judgement).
const MIN_MARK_SHARE: f32 = 0.06;

/// Cost of strokes on the borders between characters, relative to that of missing strokes (set by judgement).
const BORDER_WEIGHT: f32 = 0.35;

/// Cost of strokes outside the text, relative to that of missing strokes (set by judgement).
const OUTSIDE_WEIGHT: f32 = 2.0;

/// Weight of the off-centre term in the cost of a layout. The term is the mean squared distance between the strokes
/// of a digit and the centre of its cell, in squared cell widths. With this weight, a digit that is half the width of a
/// stroke off the centre costs about as much as one stroke outside the text (set by judgement).
const OFF_CENTRE_WEIGHT: f32 = 16.0;

/// Maximum cost of one text, which is also the cost of a text that does not fit into the window, so that a label with too
/// many digits does not decide about the layout of the others (set by judgement).
const MAX_TEXT_COST: f32 = 3.0;

/// Maximum number of layouts that are returned. Later the glyphs decide between them, since under noise the
/// strokes alone prefer pitches that are too wide (set by judgement).
const MAX_LAYOUTS: usize = 40;

/// Advances of the digit 1 that are tried for proportional faces, in pitches (set by judgement).
const NARROW_ONES: [f32; 6] = [0.9, 0.8, 0.7, 0.6, 0.5, 0.4];

/// Pitches that are tried together with a narrow digit 1, as multiples of the best pitch for equally wide digits.
/// That pitch is too small if the 1 is in fact narrower (set by judgement).
const WIDER_PITCHES: [f32; 5] = [1.0, 1.03, 1.06, 1.1, 1.15];

/// The layouts that the strokes contradict least, best first. The regions are written in one face, with text that is
/// `height` working pixels high. No two layouts have the same pitch.
pub(crate) fn find_layouts(regions: &[Vec<StrokeProfile>], height: f32) -> Vec<TextLayout> {
    let points = if any_character(regions, is_separator) { &POINT_WIDTHS[..] } else { &POINT_WIDTHS[..1] };
    let steps = ((PITCH_LIMITS.1 - PITCH_LIMITS.0) * height / PITCH_STEP_PX) as usize;
    let pitches =
        (0..=steps).into_par_iter().map(|step| PITCH_LIMITS.0 * height + step as f32 * PITCH_STEP_PX);
    let best_point = |pitch: f32| {
        let layouts = points
            .iter()
            .filter_map(|share| layout_with(regions, Advances { pitch, one: pitch, point: share * pitch }));
        layouts.min_by(|a, b| a.cost.total_cmp(&b.cost))
    };
    let mut layouts: Vec<TextLayout> = pitches.filter_map(best_point).collect();
    layouts.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    layouts.truncate(MAX_LAYOUTS);
    layouts
}

/// Layouts with the pitch of `layout` and different widths of the decimal point; none if no labelled text has a
/// decimal point or colon.
pub(crate) fn with_other_points(layout: &TextLayout, regions: &[Vec<StrokeProfile>]) -> Vec<TextLayout> {
    if !any_character(regions, is_separator) {
        return Vec::new();
    }
    let pitch = layout.advances.pitch;
    let widths = FINE_POINT_WIDTHS.map(|fiftieths| pitch * f32::from(fiftieths) / 50.0).chain([pitch]);
    widths.filter_map(|point| layout_with(regions, Advances { point, ..layout.advances })).collect()
}

/// Layouts with a narrower digit 1, and with the pitch of `layout` or a larger one; none if no labelled text has a 1.
pub(crate) fn with_narrow_one(layout: &TextLayout, regions: &[Vec<StrokeProfile>]) -> Vec<TextLayout> {
    if !any_character(regions, |character| character == '1') {
        return Vec::new();
    }
    let Advances { pitch, point, .. } = layout.advances;
    let both = WIDER_PITCHES.iter().flat_map(|wider| NARROW_ONES.iter().map(move |narrow| (wider, narrow)));
    let advances = both.map(|(wider, narrow)| {
        let pitch = wider * pitch;
        Advances { pitch, one: narrow * pitch, point }
    });
    let advances = advances.collect::<Vec<_>>().into_par_iter();
    advances.filter_map(|advances| layout_with(regions, advances)).collect()
}

/// Whether `is_kind` returns `true` for some character of the labelled texts.
fn any_character(regions: &[Vec<StrokeProfile>], is_kind: impl Fn(char) -> bool) -> bool {
    regions.iter().flatten().any(|profile| profile.text.chars().any(&is_kind))
}

/// The best layout with the given advances; `None` if some region has no position at which a text lies in its window.
fn layout_with(regions: &[Vec<StrokeProfile>], advances: Advances) -> Option<TextLayout> {
    let mut lines = Vec::new();
    let mut cost = 0.0;
    for region in regions {
        let (line, line_cost) = best_line(region, &advances)?;
        lines.push(line);
        cost += line_cost;
    }
    Some(TextLayout { advances, lines, cost })
}

/// The anchor and position with the lowest cost for the texts of a region, and that cost, summed over the texts. The cost
/// of each text is at most [`MAX_TEXT_COST`], so that a wrong label does not decide about the layout of the others.
/// `None` if there is no position at which a text lies in the window.
fn best_line(region: &[StrokeProfile], advances: &Advances) -> Option<(LayoutLine, f32)> {
    let cols = region.first()?.cols();
    let positions = (0..=2 * cols).map(|half| 0.5 * half as f32);
    let lines = positions.flat_map(|position| Anchor::ALL.map(|anchor| LayoutLine { anchor, position }));
    let (mut best, mut best_cost) = (None, MAX_TEXT_COST * region.len() as f32);
    for line in lines {
        if let Some(cost) = cost_below(best_cost, region, &line, advances) {
            (best, best_cost) = (Some(line), cost);
        }
    }
    Some((best?, best_cost))
}

/// Cost of a region's texts on a line, each limited to [`MAX_TEXT_COST`]; `None` if it is `limit` or more.
fn cost_below(limit: f32, region: &[StrokeProfile], line: &LayoutLine, advances: &Advances) -> Option<f32> {
    region.iter().try_fold(0.0, |sum, profile| {
        let cost = text_cost(profile, line, advances).map_or(MAX_TEXT_COST, |cost| cost.min(MAX_TEXT_COST));
        Some(sum + cost).filter(|sum| *sum < limit)
    })
}

/// Cost of a text on a line: strokes outside the text, characters without strokes, strokes off the centres of
/// the cells, and strokes on borders. `None` if the text would extend beyond the window.
fn text_cost(profile: &StrokeProfile, line: &LayoutLine, advances: &Advances) -> Option<f32> {
    let edges = advances.edges(&profile.text, line);
    let (first, last) = (*edges.first()?, *edges.last()?);
    if first < 0.0 || last > profile.cols() as f32 {
        return None;
    }
    let inside = profile.between(first, last);
    let digits = profile.text.chars().filter(char::is_ascii_digit).count().max(1) as f32;
    let mut empty = 0.0;
    let mut off_centre = 0.0;
    for (character, pair) in profile.text.chars().zip(edges.windows(2)) {
        let share = profile.between(pair[0], pair[1]) * digits;
        if character.is_ascii_digit() {
            empty += (MIN_DIGIT_SHARE - share).max(0.0);
            off_centre += profile.centre_offset(pair[0], pair[1]).powi(2);
        } else {
            empty += (MIN_MARK_SHARE - share).max(0.0);
        }
    }
    let density = inside / (last - first).max(1.0);
    let borders: f32 = edges.iter().map(|edge| profile.between(edge - 0.5, edge + 0.5)).sum();
    let border_share = borders / edges.len() as f32 / density.max(1e-6);
    Some(
        OUTSIDE_WEIGHT * (1.0 - inside)
            + empty
            + BORDER_WEIGHT * border_share
            + OFF_CENTRE_WEIGHT * off_centre / digits,
    )
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    const ADVANCES: Advances = Advances { pitch: 10.0, one: 10.0, point: 4.0 };

    /// Strokes of a text right-aligned at column 50. Every character is a block: digits 7 columns wide in cells of 10, the
    /// point 2 wide in a cell of 4.
    fn drawn(text: &str) -> StrokeProfile {
        let line = LayoutLine { anchor: Anchor::Right, position: 50.0 };
        let mut energy = vec![0.0; 60];
        for (character, pair) in text.chars().zip(ADVANCES.edges(text, &line).windows(2)) {
            let margin = if is_separator(character) { 1 } else { 2 };
            energy[pair[0] as usize + margin..pair[1] as usize - 1].fill(1.0);
        }
        let total: f32 = energy.iter().sum();
        StrokeProfile::new(text.to_owned(), energy.iter().map(|value| value / total).collect())
    }

    #[test]
    fn a_label_with_a_digit_too_many_does_not_change_the_layout() {
        let right = ["8.5", "12.3", "9.9", "31.6"];
        let mut region: Vec<StrokeProfile> = right.iter().map(|text| drawn(text)).collect();
        let expected = find_layouts(&[region.clone()], 14.0).remove(0);
        let mut wrong = drawn("27.4");
        wrong.text = "22227.4".to_owned();
        region.push(wrong);
        let layout = find_layouts(&[region], 14.0).remove(0);
        assert!((layout.advances.pitch - expected.advances.pitch).abs() < 0.3, "{layout:?}");
        assert_eq!(layout.lines[0].anchor, expected.lines[0].anchor);
    }

    #[test]
    fn pitch_and_anchor_follow_from_labelled_texts_of_two_lengths() {
        let region = vec![drawn("8.5"), drawn("12.3"), drawn("9.9")];
        let layouts = find_layouts(&[region], 14.0);
        let layout = layouts.first().unwrap();
        assert!((layout.advances.pitch - 10.0).abs() < 0.6, "{layout:?}");
        assert!((layout.advances.point - 4.0).abs() < 1.1, "{layout:?}");
        assert_eq!(layout.lines[0].anchor, Anchor::Right);
        assert!((layout.lines[0].position - 50.0).abs() < 1.1, "{layout:?}");
    }
}

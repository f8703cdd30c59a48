//! Corrects the position of a region's text by template matching with the digits of the other regions.
//!
//! Where a horizon crosses a text, the strokes alone mislead about the position of the text. Once the digits
//! of other regions are cut, they are correlated with the region's labelled images at every position. The
//! line with the best correlation is used.

use ndarray::Array2;
use rayon::prelude::*;

use crate::learn::cut::character::CharacterCut;
use crate::learn::cut::similarity::character_means;
use crate::learn::group::size_group::SizeGroup;
use crate::learn::layout::text_layout::{Advances, LayoutLine, TextLayout};
use crate::recognise::Anchor;
use crate::recognise::correlate;
use crate::recognise::is_separator;

/// Minimum share of the digits in a region's labels that other regions must show too (set by judgement).
const MIN_KNOWN_SHARE: f32 = 0.5;

/// Minimum gain in mean correlation for a new line to replace the present one (set by judgement).
const MIN_GAIN: f32 = 0.04;

/// Widths of the decimal point that are tried, in units of [`POINT_STEP`]: a quarter of the pitch up to the whole
/// pitch (set by judgement).
const POINT_STEPS: std::ops::RangeInclusive<u8> = 5..=20;

/// Difference between successive trial widths of the decimal point, in pitches (set by judgement).
const POINT_STEP: f32 = 0.05;

/// Number of rows of working pixels above and below the present text line in which its best correlation is searched,
/// because alignment can still move the text (set by judgement).
const NEAR_ROWS: usize = 1;

/// Number of columns to the left and right of a line's position in which its best correlation is searched, in
/// working pixels (set by judgement).
const NEAR_COLS: i32 = 2;

/// Correlation maps of one labelled text: the correlation of each known digit with every position in the
/// text's image.
struct TextMaps {
    text: String,
    /// Index into `maps` for every character of the text; `None` for characters other than digits, and for digits
    /// that no other region shows.
    map_indices: Vec<Option<usize>>,
    /// For every known digit, the correlation at each row and column of the top left corner of the digit's
    /// cell.
    maps: Vec<Array2<f32>>,
}

/// A text line, the row at which its cells begin, and the width of the decimal point, with the mean
/// correlation that they give.
#[derive(Debug, Clone, Copy)]
struct MatchedLine {
    line: LayoutLine,
    top: usize,
    point: f32,
    correlation: f32,
}

/// Moves the texts of regions to where the digits of the other regions match them best.
pub(crate) fn relocate_lines(
    group: &mut SizeGroup<'_>,
    mut layout: TextLayout,
    cuts: &[CharacterCut],
) -> TextLayout {
    for region in 0..group.regions.len() {
        let Some(texts) = text_maps(group, cuts, region) else { continue };
        let now = MatchedLine {
            line: layout.lines[region],
            top: cuts
                .iter()
                .find(|cut| cut.region == region)
                .map_or(group.regions[region].top, |cut| cut.top),
            point: layout.advances.point,
            correlation: 0.0,
        };
        let now = MatchedLine { correlation: best_nearby(&texts, &now, &layout.advances), ..now };
        let Some(best) = best_line(&texts, &layout) else { continue };
        if best.correlation > now.correlation + MIN_GAIN {
            layout.lines[region] = best.line;
            group.regions[region].top = best.top;
            if any_mark(&texts) {
                layout.advances.point = best.point;
            }
        }
    }
    layout
}

fn any_mark(texts: &[TextMaps]) -> bool {
    texts.iter().any(|text| text.text.contains(is_separator))
}

/// The correlation maps of a region's texts; `None` if the other regions show too few of its digits.
fn text_maps(group: &SizeGroup<'_>, cuts: &[CharacterCut], region: usize) -> Option<Vec<TextMaps>> {
    let others = cuts.iter().filter(|cut| cut.region != region && cut.character.is_ascii_digit());
    let means = character_means(others);
    let region = &group.regions[region];
    let texts: Vec<(&str, &Array2<f32>)> = region
        .examples
        .iter()
        .zip(&region.features)
        .map(|(example, features)| (example.label.text.as_str(), features))
        .collect();
    let maps = |(text, features): (&str, &Array2<f32>)| {
        let mut digits: Vec<char> = text.chars().filter(|digit| means.contains_key(digit)).collect();
        digits.sort_unstable();
        digits.dedup();
        let maps = digits.iter().map(|digit| correlation_map(&means[digit], features)).collect();
        let map_indices =
            text.chars().map(|character| digits.iter().position(|digit| *digit == character)).collect();
        TextMaps { text: text.to_owned(), map_indices, maps }
    };
    let texts: Vec<TextMaps> = texts.into_par_iter().map(maps).collect();
    let digits = texts.iter().flat_map(|text| text.text.chars().filter(char::is_ascii_digit)).count();
    let known = texts.iter().flat_map(|text| text.map_indices.iter().flatten()).count();
    (known > 0 && known as f32 >= MIN_KNOWN_SHARE * digits as f32).then_some(texts)
}

/// Correlation of a shape with an image, for every row and column at which the top left corner of the shape
/// can lie.
fn correlation_map(shape: &Array2<f32>, features: &Array2<f32>) -> Array2<f32> {
    let rows = (features.nrows() + 1).saturating_sub(shape.nrows());
    let mut map = Array2::zeros((rows, features.ncols()));
    for (top, mut row) in map.rows_mut().into_iter().enumerate() {
        if let Some(row) = row.as_slice_mut() {
            correlate(std::iter::once((0, shape)), features, top, row);
        }
    }
    map
}

/// Mean correlation of the digits of all texts if they lie on the given line. Digits outside the window count
/// as 0.
fn mean_correlation_at(texts: &[TextMaps], at: &MatchedLine, advances: &Advances) -> f32 {
    let advances = Advances { point: at.point, ..*advances };
    let (mut sum, mut count) = (0.0, 0);
    for text in texts {
        let edges = advances.edges(&text.text, &at.line);
        for (map, edge) in text.map_indices.iter().zip(edges) {
            let Some(map) = map.and_then(|map| text.maps.get(map)) else { continue };
            count += 1;
            if edge >= 0.0 {
                sum += map.get((at.top, edge.round() as usize)).copied().unwrap_or(0.0);
            }
        }
    }
    sum / count.max(1) as f32
}

/// The best mean correlation close to a line.
fn best_nearby(texts: &[TextMaps], at: &MatchedLine, advances: &Advances) -> f32 {
    let rows = at.top.saturating_sub(NEAR_ROWS)..=at.top + NEAR_ROWS;
    let lines = rows.flat_map(|top| {
        (-NEAR_COLS..=NEAR_COLS).map(move |right| MatchedLine {
            top,
            line: LayoutLine { position: at.line.position + right as f32, ..at.line },
            ..*at
        })
    });
    lines.map(|line| mean_correlation_at(texts, &line, advances)).fold(f32::NEG_INFINITY, f32::max)
}

/// The line with the best mean correlation in the window; `None` if there is no text.
fn best_line(texts: &[TextMaps], layout: &TextLayout) -> Option<MatchedLine> {
    let (rows, cols) = texts.first()?.maps.first()?.dim();
    let points: Vec<f32> = match any_mark(texts) {
        true => POINT_STEPS.map(|step| f32::from(step) * POINT_STEP * layout.advances.pitch).collect(),
        false => vec![layout.advances.point],
    };
    let lines = (0..=cols)
        .flat_map(|column| Anchor::ALL.map(|anchor| LayoutLine { anchor, position: column as f32 }));
    let lines: Vec<LayoutLine> = lines.collect();
    let best_of_line = |line: &LayoutLine| {
        let candidates = points.iter().flat_map(|point| (0..rows).map(move |top| (*point, top)));
        let matched = candidates.map(|(point, top)| {
            let at = MatchedLine { line: *line, top, point, correlation: 0.0 };
            MatchedLine { correlation: mean_correlation_at(texts, &at, &layout.advances), ..at }
        });
        matched.max_by(|one, other| one.correlation.total_cmp(&other.correlation))
    };
    let all: Vec<Option<MatchedLine>> = lines.par_iter().map(best_of_line).collect();
    all.into_iter().flatten().max_by(|one, other| one.correlation.total_cmp(&other.correlation))
}

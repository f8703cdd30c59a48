//! Location: where a region's text stands, by the shapes of the characters of the other regions.
//!
//! The strokes alone mislead about a text that a horizon crosses. Once the digits of other regions are cut, they are
//! correlated with every place of the region's labelled pictures; the line whose digits correlate best is taken.

use ndarray::Array2;
use rayon::prelude::*;

use super::align::{CharacterCut, class_means};
use super::group::{Group, ToldRegion};
use super::layout::{Advances, Layout, Line};
use crate::recognise::Anchor;
use crate::recognise::correlate;
use crate::recognise::is_separator;

/// Digits of the labels that must be known from other regions, as a share of all.
const LEAST_KNOWN_SHARE: f32 = 0.5;

/// Mean correlation that another line must have more than the present one.
const LEAST_GAIN: f32 = 0.04;

/// Widths of the decimal point tried, in hundredths of the pitch.
const POINT_WIDTHS: std::ops::RangeInclusive<u8> = 5..=20;
const POINT_STEP: f32 = 0.05;

/// Correlations of the digits of one labelled text with all places of its picture.
struct Picture {
    text: String,
    /// For every character of the text where its map is; `None` for marks and for digits not known.
    maps: Vec<Option<usize>>,
    /// Places (rows x columns of a top left corner) of every known digit.
    correlations: Vec<Array2<f32>>,
}

/// A line, the row of its cells' top edge, and the width of the decimal point, with the mean correlation.
#[derive(Debug, Clone, Copy)]
struct Located {
    line: Line,
    top: usize,
    point: f32,
    correlation: f32,
}

/// Moves the lines of regions to where the digits of the other regions say that they stand.
pub(super) fn relocate(group: &mut Group<'_>, mut layout: Layout, cuts: &[CharacterCut]) -> Layout {
    for region in 0..group.regions.len() {
        let Some(pictures) = pictures(group, cuts, region) else { continue };
        let now = Located {
            line: layout.lines[region],
            top: cuts
                .iter()
                .find(|cut| cut.region == region)
                .map_or(group.regions[region].top, |cut| cut.top),
            point: layout.advances.point,
            correlation: 0.0,
        };
        let now = Located { correlation: near(&pictures, &now, &layout.advances), ..now };
        let Some(best) = best(&pictures, &layout) else { continue };
        if best.correlation > now.correlation + LEAST_GAIN {
            layout.lines[region] = best.line;
            group.regions[region].top = best.top;
            if has_mark(&pictures) {
                layout.advances.point = best.point;
            }
        }
    }
    layout
}

fn has_mark(pictures: &[Picture]) -> bool {
    pictures.iter().any(|picture| picture.text.contains(is_separator))
}

/// The pictures of a region; `None` where too few of its digits are known from others.
fn pictures(group: &Group<'_>, cuts: &[CharacterCut], region: usize) -> Option<Vec<Picture>> {
    let others = cuts.iter().filter(|cut| cut.region != region && cut.character.is_ascii_digit());
    let means = class_means(others);
    let told: &ToldRegion<'_> = &group.regions[region];
    let labels = told.moments.iter().zip(&told.features);
    let picture = |(moment, features): (&&super::TrainingExample, &Array2<f32>)| {
        let text = moment.label.text.clone();
        let mut digits: Vec<char> = text.chars().filter(|digit| means.contains_key(digit)).collect();
        digits.sort_unstable();
        digits.dedup();
        let correlations = digits.iter().map(|digit| map(&means[digit], features)).collect();
        let maps =
            text.chars().map(|character| digits.iter().position(|digit| *digit == character)).collect();
        Picture { text, maps, correlations }
    };
    let pictures: Vec<Picture> = labels.collect::<Vec<_>>().into_par_iter().map(picture).collect();
    let digits =
        pictures.iter().flat_map(|picture| picture.text.chars().filter(char::is_ascii_digit)).count();
    let known = pictures.iter().flat_map(|picture| picture.maps.iter().flatten()).count();
    (known > 0 && known as f32 >= LEAST_KNOWN_SHARE * digits as f32).then_some(pictures)
}

/// Correlations of a shape with a picture, its top left corner at every row and column.
fn map(shape: &Array2<f32>, features: &Array2<f32>) -> Array2<f32> {
    let rows = (features.nrows() + 1).saturating_sub(shape.nrows());
    let mut map = Array2::zeros((rows, features.ncols()));
    for (top, mut row) in map.rows_mut().into_iter().enumerate() {
        if let Some(row) = row.as_slice_mut() {
            correlate(std::iter::once((0, shape)), features, top, row);
        }
    }
    map
}

/// Mean correlation of the digits of all pictures; 0 for digits that would stand outside.
fn correlation(pictures: &[Picture], at: &Located, advances: &Advances) -> f32 {
    let advances = Advances { point: at.point, ..*advances };
    let (mut sum, mut count) = (0.0, 0);
    for picture in pictures {
        let edges = advances.edges(&picture.text, &at.line);
        for (map, edge) in picture.maps.iter().zip(edges) {
            let Some(map) = map.and_then(|map| picture.correlations.get(map)) else { continue };
            count += 1;
            if edge >= 0.0 {
                sum += map.get((at.top, edge.round() as usize)).copied().unwrap_or(0.0);
            }
        }
    }
    sum / count.max(1) as f32
}

/// The same at the best place a row and some columns from there, as aligning goes on to move texts.
fn near(pictures: &[Picture], at: &Located, advances: &Advances) -> f32 {
    let rows = at.top.saturating_sub(1)..=at.top + 1;
    let places = rows.flat_map(|top| {
        (-2..=2).map(move |right| Located {
            top,
            line: Line { position: at.line.position + right as f32, ..at.line },
            ..*at
        })
    });
    places.map(|place| correlation(pictures, &place, advances)).fold(f32::NEG_INFINITY, f32::max)
}

fn best(pictures: &[Picture], layout: &Layout) -> Option<Located> {
    let (rows, cols) = pictures.first()?.correlations.first()?.dim();
    let points: Vec<f32> = match has_mark(pictures) {
        true => POINT_WIDTHS.map(|step| f32::from(step) * POINT_STEP * layout.advances.pitch).collect(),
        false => vec![layout.advances.point],
    };
    let lines =
        (0..=cols).flat_map(|column| Anchor::ALL.map(|anchor| Line { anchor, position: column as f32 }));
    let lines: Vec<Line> = lines.collect();
    let of_line = |line: &Line| {
        let places = points.iter().flat_map(|point| (0..rows).map(move |top| (*point, top)));
        let located = places.map(|(point, top)| {
            let at = Located { line: *line, top, point, correlation: 0.0 };
            Located { correlation: correlation(pictures, &at, &layout.advances), ..at }
        });
        located.max_by(|one, other| one.correlation.total_cmp(&other.correlation))
    };
    let all: Vec<Option<Located>> = lines.par_iter().map(of_line).collect();
    all.into_iter().flatten().max_by(|one, other| one.correlation.total_cmp(&other.correlation))
}

//! Finds the readouts around the parts that change: the digits without icon, label and unit.

use image::GrayImage;
use rayon::prelude::*;

use super::cells::run_certainty;
use super::changing_parts::find_changing;
use super::columns::Columns;
use super::gradients::PersistentGradients;
use super::line_shapes::LineShapes;
use super::variation::Variation;
use super::votes::{MIN_CERTAINTY, Votes};
use crate::geometry::PixelRect;
use crate::stats::nearest_rank;

// Widths, heights and gaps are in heights of the digits.

/// Maximum number of changing areas that are examined, the largest first.
const MAX_EXAMINED: usize = 160;
/// Number of frames in which the digits of an area are looked at.
const EXAMINED_FRAMES: usize = 6;
/// Number of frames after which an area without digits is given up.
const FIRST_FRAMES: usize = 3;
/// The same for an area that may hold other text as well.
const MIN_FIRST_CERTAINTY: f32 = 0.42;
/// Width of the last digit.
const LAST_DIGIT: f32 = 0.6;
/// Minimum number of strokes in a row of digits, as a share of the median row.
const MIN_ROW_SHARE: f32 = 0.45;
/// Maximum share of an area's rows without digits.
const MAX_SURPLUS_ROWS: f32 = 0.08;
/// Maximum width of the soft edges of strokes.
const MAX_SOFT_EDGE: f32 = 0.1;
/// Columns examined on each side of what changes.
const REACH: f32 = 2.5;

/// Maximum width of a single digit.
const MAX_SINGLE_WIDTH: f32 = 0.95;
/// Minimum number of readouts that show which height is usual.
const MIN_NUMBERS: usize = 2;
/// Maximum difference from the usual height, as a share of it.
const MAX_HEIGHT_DIFFERENCE: f32 = 0.15;

/// Digits found in a line.
#[derive(Debug, Clone)]
pub(super) struct Readout {
    /// The rectangle of the digits, including the spread of the gradients.
    pub(super) rect: PixelRect,
    /// Certainty of the digits, 0 to 1.
    pub(super) certainty: f32,
    /// Share of the steps from one frame to the next at which the text differs.
    pub(super) changed_share: f32,
    /// Whether the last digit stays the same.
    pub(super) last_digit_constant: bool,
    /// Width of the constant text after the digits, in heights of the line: the unit.
    pub(super) label: f32,
}

/// Finds the readouts. `originals` are the frames with the overlay, as they were given.
pub(super) fn find_readouts(gradients: &PersistentGradients, originals: &[&GrayImage]) -> Vec<Readout> {
    let mut areas: Vec<PixelRect> = Vec::new();
    for area in find_changing(gradients) {
        let digits = with_rows_of_strokes(gradients, area);
        if !areas.contains(&digits) {
            areas.push(digits);
        }
    }
    areas.sort_by_key(|area| std::cmp::Reverse(area.area_px()));
    areas.truncate(MAX_EXAMINED);
    let mut lines: Vec<(PixelRect, LineShapes, f32)> = areas
        .par_iter()
        .filter_map(|area| {
            let shapes = line_of(gradients, originals, *area, false);
            let (area, shapes) = match rows_of_digits(&shapes, *area) {
                Some(rows) => (rows, line_of(gradients, originals, rows, false)),
                None => (*area, shapes),
            };
            let certainty = certainty_within(&shapes, area)?;
            (certainty >= MIN_FIRST_CERTAINTY).then_some((area, shapes, certainty))
        })
        .collect();
    // Of two equally certain areas the larger one holds more of the value.
    let merit = |area: &PixelRect, certainty: f32| {
        certainty + 0.02 * (area.width as f32 / area.height as f32).min(4.0)
    };
    lines.sort_by(|one, other| merit(&other.0, other.2).total_cmp(&merit(&one.0, one.2)));
    let mut found: Vec<Readout> = Vec::new();
    let mut examined: Vec<PixelRect> = Vec::new();
    for (area, shapes, _) in &lines {
        let is_known = |readout: &Readout| readout.rect.overlap_px(*area) * 2 > area.area_px();
        let was_examined = |line: &PixelRect| {
            line.shared_columns(*area) * 5 >= area.width * 4
                && line.shared_rows(*area) as f32 >= 0.85 * line.height.max(area.height) as f32
        };
        if found.iter().any(is_known) || examined.iter().any(was_examined) {
            continue;
        }
        examined.push(shapes.digits);
        for readout in readouts_of(gradients, originals, shapes, *area) {
            if !found.iter().any(|other| {
                other.rect.overlap_px(readout.rect) * 8 > readout.rect.area_px().min(other.rect.area_px())
            }) {
                found.push(readout);
            }
        }
    }
    without_stray_digits(found)
}

/// The readouts without single digits of another height than the numbers have: moving patterns look like these.
fn without_stray_digits(mut readouts: Vec<Readout>) -> Vec<Readout> {
    let is_single =
        |readout: &Readout| (readout.rect.width as f32) < MAX_SINGLE_WIDTH * readout.rect.height as f32;
    let numbers = readouts.iter().filter(|readout| !is_single(readout));
    let mut heights: Vec<f32> = numbers.map(|readout| readout.rect.height as f32).collect();
    if heights.len() >= MIN_NUMBERS {
        let usual = nearest_rank(&mut heights, 0.5);
        let has_usual_height =
            |readout: &Readout| (readout.rect.height as f32 - usual).abs() <= MAX_HEIGHT_DIFFERENCE * usual;
        readouts.retain(|readout| !is_single(readout) || has_usual_height(readout));
    }
    readouts
}

/// The area with all rows of the strokes that its changing parts belong to.
fn with_rows_of_strokes(gradients: &PersistentGradients, area: PixelRect) -> PixelRect {
    let strongest = |y: u32| {
        (area.left..area.right()).map(|x| gradients.per_pixel.at(x as usize, y as usize)).fold(0.0, f32::max)
    };
    let mut inner: Vec<f32> = (area.top..area.bottom()).map(strongest).collect();
    let least = 0.3 * nearest_rank(&mut inner, 0.5);
    let has = |y: &u32| strongest(*y) >= least;
    let limit = (0.5 * area.height as f32) as u32;
    let height = gradients.strength.height as u32;
    let top = (area.top.saturating_sub(limit)..area.top).rev().take_while(has).last().unwrap_or(area.top);
    let bottom = (area.bottom()..(area.bottom() + limit).min(height))
        .take_while(has)
        .last()
        .map_or(area.bottom(), |y| y + 1);
    let top = if area.top - top >= limit { area.top } else { top };
    let bottom = if bottom - area.bottom() >= limit { area.bottom() } else { bottom };
    let first = (top..bottom).find(has).unwrap_or(top);
    let last = (top..bottom).rev().find(has).map_or(bottom, |y| y + 1);
    area.with_rows(first, last)
}

/// The area with the longest stretch of rows with many strokes, if it is shorter: the area may hold a border or another
/// line as well.
fn rows_of_digits(shapes: &LineShapes, area: PixelRect) -> Option<PixelRect> {
    let profile = shapes.row_profile(area, (shapes.frames() / EXAMINED_FRAMES).max(1));
    let least = MIN_ROW_SHARE * nearest_rank(&mut profile.clone(), 0.5);
    let mut longest = 0..0;
    let mut start = 0;
    for stretch in profile.chunk_by(|one, next| (*one >= least) == (*next >= least)) {
        let end = start + stretch.len();
        if stretch.iter().all(|strokes| *strokes >= least) && stretch.len() > longest.len() {
            longest = start..end;
        }
        start = end;
    }
    let surplus = profile.len() - longest.len();
    let rows = (area.top + longest.start as u32, area.top + longest.end as u32);
    (longest.len() >= 6 && surplus as f32 > MAX_SURPLUS_ROWS * profile.len() as f32)
        .then(|| area.with_rows(rows.0, rows.1))
}

/// The line of some digits, with columns on both sides of them.
fn line_of(
    gradients: &PersistentGradients,
    originals: &[&GrayImage],
    digits: PixelRect,
    rare: bool,
) -> LineShapes {
    let reach = (REACH * digits.height as f32) as u32;
    let frame = (gradients.strength.width as u32, gradients.strength.height as u32);
    let line = PixelRect::from_edges(
        digits.left.saturating_sub(reach),
        digits.top,
        digits.right() + reach,
        digits.bottom(),
    )
    .clipped_to(frame);
    LineShapes::of(gradients, originals, line, digits, rare)
}

/// The mean certainty of the digits in some frames; `None` if the first ones have none.
fn certainty_within(shapes: &LineShapes, digits: PixelRect) -> Option<f32> {
    let step = (shapes.frames() / EXAMINED_FRAMES).max(1);
    let mut sum = 0.0;
    let mut weight = 0.0;
    for (number, frame) in (0..shapes.frames()).step_by(step).enumerate() {
        for run in shapes.runs(frame) {
            let shared =
                run.columns.end.min(digits.right()).saturating_sub(run.columns.start.max(digits.left));
            if shared * 2 < run.columns.width() || run.height() * 5 < digits.height * 2 {
                continue;
            }
            let width = run.columns.width() as f32;
            sum += width * run_certainty(shapes, frame, run);
            weight += width;
        }
        if number + 1 == FIRST_FRAMES && sum < MIN_FIRST_CERTAINTY * weight {
            return None;
        }
    }
    (weight > 0.0).then(|| sum / weight)
}

/// The readouts in a line.
fn readouts_of(
    gradients: &PersistentGradients,
    originals: &[&GrayImage],
    shapes: &LineShapes,
    digits: PixelRect,
) -> Vec<Readout> {
    let rare = line_of(gradients, originals, digits, true);
    let votes = Votes::of(shapes, &rare);
    votes
        .segments()
        .into_iter()
        .filter_map(|columns| {
            let certainty = votes.certainty(columns);
            let changes = votes.changes(columns);
            let variation = Variation::of(shapes, columns);
            if certainty < MIN_CERTAINTY || !changes || !variation.changes() {
                return None;
            }
            let columns = votes.with_full_first_digit(votes.with_rare_digits(columns, &rare));
            let rect = with_soft_edges(gradients, digits.with_columns(columns.start, columns.end));
            let last = Columns::new(
                columns
                    .end
                    .saturating_sub((LAST_DIGIT * shapes.digits.height as f32) as u32)
                    .max(columns.start),
                columns.end,
            );
            Some(Readout {
                rect,
                certainty,
                changed_share: variation.changed_share,
                last_digit_constant: !Variation::of(shapes, last).changes(),
                label: votes.label_width(columns.end),
            })
        })
        .collect()
}

/// The rectangle with the soft edges of its strokes: columns and rows beside it with persistent gradients.
fn with_soft_edges(gradients: &PersistentGradients, rect: PixelRect) -> PixelRect {
    let most = (MAX_SOFT_EDGE * rect.height as f32).ceil() as u32;
    let is_text = |x: u32, y: u32| gradients.strength.at(x as usize, y as usize) > 0.0;
    let column = |x: &u32| (rect.top..rect.bottom()).any(|y| is_text(*x, y));
    let row = |y: &u32| (rect.left..rect.right()).any(|x| is_text(x, *y));
    let before = |edge: u32, has: &dyn Fn(&u32) -> bool| {
        (edge.saturating_sub(most)..edge).rev().take_while(has).last().unwrap_or(edge)
    };
    let after = |edge: u32, has: &dyn Fn(&u32) -> bool| {
        (edge..edge + most).take_while(has).last().map_or(edge, |last| last + 1)
    };
    PixelRect::from_edges(
        before(rect.left, &column),
        before(rect.top, &row),
        after(rect.right(), &column),
        after(rect.bottom(), &row),
    )
    .clipped_to((gradients.strength.width as u32, gradients.strength.height as u32))
}

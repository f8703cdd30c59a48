//! Finds the readouts around the changing areas: the boxes of the digits, without icon, caption and unit.

use image::GrayImage;
use rayon::prelude::*;

use super::changing_parts::{find_changing, find_constant};
use super::gradients::PersistentGradients;
use super::number_votes::{LineReadout, NumberVotes};
use super::numbers::LineNumbers;
use crate::geometry::PixelRect;
use crate::stats::nearest_rank;

// Widths and heights are in heights of the digits.

/// Maximum number of changing areas that are examined, the largest first.
const MAX_EXAMINED: usize = 160;
/// Number of frames that are read first to decide whether an area has numbers.
const FIRST_FRAMES: usize = 4;
/// Minimum certainty, 0 to 1, of the numbers in the frames that are read first, for the area to be read in all frames.
const MIN_FIRST_CERTAINTY: f32 = 0.4;
/// Minimum certainty of the numbers of a readout that changes, 0 to 1.
const MIN_CERTAINTY: f32 = 0.5;
/// Maximum distance from the centre of the first digit to the left edge of the box, in pitches.
const BEFORE_FIRST: f32 = 0.75;

/// Maximum distance from the centre of the last digit to the right edge of the box, in pitches. It is not half a pitch
/// because in some faces a 1 is at the right edge of its cell.
const AFTER_LAST: f32 = 0.6;

/// Distance from the centre of a digit, to either side, within which the columns certainly belong to the digit, in
/// pitches.
const INNER_HALF_WIDTH: f32 = 0.3;
/// Maximum edge strength of a blank column, as a share of the median edge strength of the columns of the digits.
const BLANK_SHARE: f32 = 0.25;
/// Maximum distance by which the rows of a text extend above and below its area, in heights of the area.
const ROW_RANGE: f32 = 0.4;
/// Minimum edge strength of a row of text, as a share of the edge strength of the strongest rows.
const MIN_ROW_SHARE: f32 = 0.2;
/// Maximum height of a blank gap inside a line of text, such as between the segments of a display, in heights of
/// the area.
const MAX_BLANK_ROWS: f32 = 0.03;

/// Minimum share of the frames with the same text for a number that never changes, 0 to 1.
const MIN_CONSTANT_SHARE: f32 = 0.8;

/// Minimum certainty of a number that never changes, 0 to 1.
const MIN_CONSTANT_CERTAINTY: f32 = 0.85;
/// Maximum width of the box of a single digit, as a multiple of its height.
const MAX_SINGLE_WIDTH: f32 = 0.95;
/// Minimum number of readouts that are wider than a single digit, for their median height to be used.
const MIN_NUMBERS: usize = 2;
/// Minimum number of readouts, for their median height to be used to correct the rows of higher ones.
const MIN_COMMON_ROWS: usize = 3;
/// Maximum difference between the height of a readout and the usual height, as a share of the usual height.
const MAX_HEIGHT_DIFFERENCE: f32 = 0.15;

/// The digits of one readout in the frames.
#[derive(Debug, Clone)]
pub(super) struct Readout {
    /// The rectangle of the digits with the blank columns beside them, in pixels of the frame.
    pub(super) rect: PixelRect,
    /// Certainty of the digits, 0 to 1.
    pub(super) certainty: f32,
    /// Whether the digits change over the clip.
    pub(super) changes: bool,
}

/// Finds the readouts. `originals` are the frames that have the overlay, not smoothed.
pub(super) fn find_readouts(gradients: &PersistentGradients, originals: &[&GrayImage]) -> Vec<Readout> {
    let mut areas: Vec<PixelRect> = Vec::new();
    for area in find_changing(gradients) {
        let digits = rows_of_text(gradients, area);
        if !areas.contains(&digits) {
            areas.push(digits);
        }
    }
    areas.sort_by_key(|area| std::cmp::Reverse(area.area_px()));
    areas.truncate(MAX_EXAMINED);
    let mut likely: Vec<(PixelRect, f32)> = areas
        .into_par_iter()
        .map(|area| (area, first_certainty(originals, area)))
        .filter(|(_, certainty)| *certainty >= MIN_FIRST_CERTAINTY)
        .collect();
    likely.sort_by(|one, other| other.1.total_cmp(&one.1));
    let mut found: Vec<Readout> = Vec::new();
    for (area, _) in likely {
        if found.iter().any(|readout| readout.rect.overlap_px(area) * 2 > area.area_px()) {
            continue;
        }
        let is_readout = |line: &LineReadout| line.changes && line.certainty >= MIN_CERTAINTY;
        add_clear_of(&mut found, readouts_of(gradients, originals, area, is_readout));
    }
    let mut found = in_common_rows(without_stray_digits(found));
    let constant = constant_readouts(gradients, originals, &found);
    add_clear_of(&mut found, constant);
    found
}

/// Adds those readouts of `more` that overlap no readout of `found` by more than an eighth of the smaller one's area.
fn add_clear_of(found: &mut Vec<Readout>, more: Vec<Readout>) {
    for readout in more {
        let overlaps = |other: &Readout| {
            other.rect.overlap_px(readout.rect) * 8 > readout.rect.area_px().min(other.rect.area_px())
        };
        if !found.iter().any(overlaps) {
            found.push(readout);
        }
    }
}

/// Readouts whose numbers never change and whose heights are similar to that of a readout in `found`.
fn constant_readouts(
    gradients: &PersistentGradients,
    originals: &[&GrayImage],
    found: &[Readout],
) -> Vec<Readout> {
    let is_as_high = |rect: PixelRect, tolerance: f32| {
        found.iter().any(|readout| {
            rect.height.abs_diff(readout.rect.height) as f32 <= tolerance * readout.rect.height as f32
        })
    };
    let is_free = |area: &PixelRect| !found.iter().any(|readout| readout.rect.overlaps(*area));
    let mut areas = find_constant(gradients);
    areas.retain(|area| is_free(area) && is_as_high(*area, 2.0 * MAX_HEIGHT_DIFFERENCE));
    let is_constant = |line: &LineReadout| {
        !line.changes && line.constant_share >= MIN_CONSTANT_SHARE && line.certainty >= MIN_CONSTANT_CERTAINTY
    };
    let readouts =
        areas.par_iter().flat_map_iter(|area| readouts_of(gradients, originals, *area, is_constant));
    readouts.filter(|readout| is_as_high(readout.rect, MAX_HEIGHT_DIFFERENCE)).collect()
}

/// Mean certainty, 0 to 1, over some of the frames. The certainty of a frame is the probability of the most probable
/// number that overlaps the columns of the area; 0 if there is none.
fn first_certainty(originals: &[&GrayImage], area: PixelRect) -> f32 {
    let step = (originals.len() / FIRST_FRAMES).max(1);
    let certainty = |frame: &&GrayImage| {
        let line = LineNumbers::read(frame, area);
        let inside = line
            .numbers
            .iter()
            .filter(|number| number.last_px() > area.left as f32 && number.first_px() < area.right() as f32);
        inside.map(|number| number.probability).fold(0.0, f32::max)
    };
    let certainties: Vec<f32> = originals.iter().skip(step / 2).step_by(step).map(certainty).collect();
    certainties.iter().sum::<f32>() / certainties.len().max(1) as f32
}

/// The readouts in the line of an area that satisfy `is_wanted`.
fn readouts_of(
    gradients: &PersistentGradients,
    originals: &[&GrayImage],
    area: PixelRect,
    is_wanted: impl Fn(&LineReadout) -> bool,
) -> Vec<Readout> {
    let mut found = Vec::new();
    for line in NumberVotes::of(originals, area).readouts() {
        let first = box_of(gradients, &line, area);
        // The line is read again in its own rows, and its box is determined from that.
        let again = NumberVotes::of(originals, first).readouts().into_iter();
        let overlaps = |line: &LineReadout| {
            line.centers_px.0 < first.right() as f32 && line.centers_px.1 > first.left as f32
        };
        let Some(line) =
            again.filter(overlaps).max_by(|one, other| one.certainty.total_cmp(&other.certainty))
        else {
            continue;
        };
        if is_wanted(&line) {
            let rect = box_of(gradients, &line, first);
            found.push(Readout { rect, certainty: line.certainty, changes: line.changes });
        }
    }
    found
}

/// The box of a readout in the line of an area: its digits, clear of the characters beside them.
fn box_of(gradients: &PersistentGradients, line: &LineReadout, area: PixelRect) -> PixelRect {
    let half = INNER_HALF_WIDTH * line.pitch_px;
    let (first, last) = line.centers_px;
    let inner = area.with_columns((first - half).max(0.0) as u32, (last + half).max(0.0) as u32);
    let rows = rows_of_text(gradients, inner);
    let (before, after) = (first - BEFORE_FIRST * line.pitch_px, last + AFTER_LAST * line.pitch_px);
    let least = line.neighbours_px.0.map_or(before, |neighbour| neighbour.max(before)).max(0.0) as u32;
    let most = line.neighbours_px.1.map_or(after, |neighbour| neighbour.min(after)) as u32;
    let left = clear_column(gradients, rows, (least..rows.left).rev()).unwrap_or(rows.left);
    let right = clear_column(gradients, rows, rows.right()..most).map_or(rows.right(), |x| x + 1);
    let frame = (gradients.strength.width as u32, gradients.strength.height as u32);
    rows.with_columns(left, right).clipped_to(frame)
}

/// The outermost column that belongs to the box. `outwards` are the columns from a digit outwards. The box includes
/// the strokes of the digit and the blank columns beside them, or half of the blank columns if other strokes follow.
/// `None` if `outwards` is empty.
fn clear_column(
    gradients: &PersistentGradients,
    rows: PixelRect,
    outwards: impl Iterator<Item = u32>,
) -> Option<u32> {
    let energy = |x: u32| rows.rows().map(|y| gradients.per_pixel.at(x as usize, y)).sum::<f32>();
    let mut inner: Vec<f32> = (rows.left..rows.right()).map(energy).collect();
    let limit = BLANK_SHARE * nearest_rank(&mut inner, 0.5);
    let columns: Vec<(u32, f32)> = outwards.map(|x| (x, energy(x))).collect();
    let is_blank = |(_, energy): &&(u32, f32)| *energy < limit;
    let Some(first) = columns.iter().position(|column| is_blank(&column)) else {
        // The next character touches the digit.
        return columns.iter().min_by(|one, other| one.1.total_cmp(&other.1)).map(|(x, _)| *x);
    };
    let blank = columns.iter().skip(first).take_while(is_blank).count();
    let place = if first + blank < columns.len() { first + (blank - 1) / 2 } else { first + blank - 1 };
    columns.get(place).map(|(x, _)| *x)
}

/// Returns a rectangle with the columns of `columns` and all rows of the text in these columns, found up and down
/// from the rows with the strongest edges.
fn rows_of_text(gradients: &PersistentGradients, columns: PixelRect) -> PixelRect {
    let range_px = (ROW_RANGE * columns.height as f32) as u32;
    let frame_height = gradients.strength.height as u32;
    let first = columns.top.saturating_sub(range_px);
    let energy = |y: u32| columns.columns().map(|x| gradients.per_pixel.at(x, y as usize)).sum::<f32>();
    let energies: Vec<f32> = (first..(columns.bottom() + range_px).min(frame_height)).map(energy).collect();
    // The band of rows with the most edges, a third as high as the area.
    let band = (columns.height as usize / 3).max(1);
    let strength = |start: &usize| energies.iter().skip(*start).take(band).sum::<f32>();
    let Some(start) = (0..energies.len().saturating_sub(band) + 1)
        .max_by(|one, other| strength(one).total_cmp(&strength(other)))
    else {
        return columns;
    };
    let least = MIN_ROW_SHARE * strength(&start) / band as f32;
    let max_blank = 1 + (MAX_BLANK_ROWS * columns.height as f32) as usize;
    let has = |row: &usize| energies.get(*row).is_some_and(|energy| *energy >= least);
    let walked = |rows: &mut dyn Iterator<Item = usize>| {
        let mut last = None;
        let mut blank = 0;
        for row in rows {
            if has(&row) {
                (last, blank) = (Some(row), 0);
            } else {
                blank += 1;
                if blank > max_blank {
                    break;
                }
            }
        }
        last
    };
    let top = walked(&mut (0..=start).rev()).unwrap_or(start);
    let bottom = walked(&mut (start..energies.len())).unwrap_or(start);
    columns.with_rows(first + top as u32, first + bottom as u32 + 1)
}

/// Corrects the rows of readouts that are higher than the median, because they include scenery or a caption above or
/// below the text. Each gets the rows of a readout of usual height on the same line, if there is one.
fn in_common_rows(mut readouts: Vec<Readout>) -> Vec<Readout> {
    let mut heights: Vec<f32> = readouts.iter().map(|readout| readout.rect.height as f32).collect();
    if heights.len() < MIN_COMMON_ROWS {
        return readouts;
    }
    let usual = nearest_rank(&mut heights, 0.5);
    let tolerance = MAX_HEIGHT_DIFFERENCE * usual;
    let is_usual = |rect: &PixelRect| (rect.height as f32 - usual).abs() <= tolerance;
    let lines: Vec<PixelRect> = readouts.iter().map(|readout| readout.rect).filter(is_usual).collect();
    for readout in &mut readouts {
        let rect = readout.rect;
        let is_inside = |line: &&PixelRect| {
            line.top as f32 >= rect.top as f32 - tolerance
                && line.bottom() as f32 <= rect.bottom() as f32 + tolerance
        };
        if rect.height as f32 > usual + tolerance
            && let Some(line) = lines.iter().find(is_inside)
        {
            readout.rect = rect.with_rows(line.top, line.bottom());
        }
    }
    readouts
}

/// Removes single digits whose height differs from that of the numbers: moving patterns look like single digits.
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

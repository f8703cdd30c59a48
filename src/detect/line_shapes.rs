//! The shapes along a line of text in every frame: which columns have strokes, and what digit a cell shows.

use image::GrayImage;
use image::imageops::{FilterType, crop_imm, resize};
use ndarray::{Array2, s};

use super::columns::Columns;
use super::gradients::PersistentGradients;
use crate::geometry::PixelRect;
use crate::recognise::{HighPass, ShapePrior};

/// Height of a digit in the features that the network sees, in pixels.
const SCALED_HEIGHT: f32 = 22.0;
/// Usual width of a digit, in heights: the filter of the features is made for it.
const USUAL_WIDTH: f32 = 0.62;
/// Rows above and below the digits that a line is examined in, in heights.
const ROOM_HEIGHTS: f32 = 0.5;
/// Narrowest cell that the network sees, in heights: a 1 is shown with the space beside it.
const MIN_CELL_WIDTH: f32 = 0.55;
/// A column has strokes if at least this share of its rows has edges.
const MIN_COLUMN_SHARE: f32 = 0.06;

/// Weakest edge that counts, as a share of the usual one of the digits.
const MIN_EDGE_SHARE: f32 = 0.35;

/// Maximum gap between rows of one digit, in heights: between the segments of a display.
const MAX_ROW_GAP: f32 = 0.035;
/// Minimum share of a run's columns with strokes in a row above or below the digits that belongs to the run.
const MIN_OUTER_SHARE: f32 = 0.25;

/// A run of columns with strokes in one frame.
#[derive(Debug, Clone, Copy)]
pub(super) struct Run {
    pub(super) columns: Columns,
    /// The rows of its strokes.
    pub(super) top: u32,
    pub(super) bottom: u32,
}

impl Run {
    pub(super) fn height(self) -> u32 {
        self.bottom - self.top
    }
}

/// A line of text in every frame.
pub(super) struct LineShapes {
    /// The rows of the digits, and the columns examined.
    pub(super) digits: PixelRect,
    /// The area examined: the digits with room above and below.
    area: PixelRect,
    /// For each frame, whether each pixel of the area has its edge.
    present: Vec<Vec<bool>>,
    /// For each frame, the area's grey levels.
    levels: Vec<GrayImage>,
}

impl LineShapes {
    /// The shapes in a line: `digits` has the rows of the digits and the columns to examine, `core` the columns that change.
    pub(super) fn of(
        gradients: &PersistentGradients,
        originals: &[&GrayImage],
        digits: PixelRect,
        core: PixelRect,
        rare: bool,
    ) -> Self {
        let room = (ROOM_HEIGHTS * digits.height as f32).ceil() as u32;
        let frame = (gradients.strength.width as u32, gradients.strength.height as u32);
        let area = digits.with_margin(room).clipped_to(frame);
        let least = MIN_EDGE_SHARE * gradients.usual_edge(core);
        let present =
            gradients.frames.iter().map(|frame| gradients.present(frame, area, least, rare)).collect();
        let cut =
            |frame: &&GrayImage| crop_imm(*frame, area.left, area.top, area.width, area.height).to_image();
        Self { digits, area, present, levels: originals.iter().map(cut).collect() }
    }

    /// Number of frames.
    pub(super) fn frames(&self) -> usize {
        self.levels.len()
    }

    /// The runs of columns with strokes in a frame, from left to right.
    pub(super) fn runs(&self, frame: usize) -> Vec<Run> {
        let Some(present) = self.present.get(frame) else { return Vec::new() };
        let width = self.area.width as usize;
        let rows = self.digits.top - self.area.top..self.digits.bottom() - self.area.top;
        let least = (MIN_COLUMN_SHARE * rows.len() as f32).ceil().max(1.0) as usize;
        let is_at = |x: u32, y: u32| present.get(y as usize * width + x as usize).copied().unwrap_or(false);
        let has_strokes = |x: &u32| rows.clone().filter(|y| is_at(*x, *y)).count() >= least;
        let mut runs = Vec::new();
        let mut columns = (0..self.area.width).peekable();
        while let Some(start) = columns.find(has_strokes) {
            let mut end = start + 1;
            while columns.next_if(has_strokes).is_some() {
                end += 1;
            }
            let has_row = |y: u32| {
                let strokes = (start..end).filter(|x| is_at(*x, y)).count();
                strokes > 0 && (rows.contains(&y) || strokes as f32 >= MIN_OUTER_SHARE * (end - start) as f32)
            };
            let Some((top, bottom)) = self.strokes_rows(has_row) else { continue };
            runs.push(Run {
                columns: Columns::new(self.area.left + start, self.area.left + end),
                top: self.area.top + top,
                bottom: self.area.top + bottom,
            });
        }
        runs
    }

    /// How much the strokes of two frames agree in some columns, 0 to 1: pixels with an edge in both, as a share of those
    /// with an edge in at least one. `None` without strokes.
    pub(super) fn agreement(&self, one: usize, other: usize, columns: Columns) -> Option<f32> {
        let (one, other) = (self.present.get(one)?, self.present.get(other)?);
        let width = self.area.width as usize;
        let range = (columns.start - self.area.left) as usize
            ..(columns.end.min(self.area.right()) - self.area.left) as usize;
        let (mut both, mut any) = (0_u32, 0_u32);
        for row in self.digits.top - self.area.top..self.digits.bottom() - self.area.top {
            let start = row as usize * width;
            let part = start + range.start..start + range.end;
            for (one, other) in one.get(part.clone())?.iter().zip(other.get(part)?) {
                both += u32::from(*one && *other);
                any += u32::from(*one || *other);
            }
        }
        (any > 0).then(|| both as f32 / any as f32)
    }

    /// Mean number of columns with strokes in each row of an area with the rows of the digits.
    pub(super) fn row_profile(&self, area: PixelRect, step: usize) -> Vec<f32> {
        let width = self.area.width as usize;
        let columns = (area.left - self.area.left) as usize
            ..(area.right().min(self.area.right()) - self.area.left) as usize;
        let frames = || self.present.iter().step_by(step);
        let strokes = |row: u32| {
            let start = (row - self.area.top) as usize * width;
            let count = |present: &Vec<bool>| {
                present
                    .get(start + columns.start..start + columns.end)
                    .map_or(0, |row| row.iter().filter(|one| **one).count())
            };
            frames().map(count).sum::<usize>() as f32 / frames().len().max(1) as f32
        };
        (area.top..area.bottom()).map(strokes).collect()
    }

    /// The longest stretch of rows with strokes that has rows of the digits, across small gaps.
    fn strokes_rows(&self, has_row: impl Fn(u32) -> bool) -> Option<(u32, u32)> {
        let gap = (MAX_ROW_GAP * self.digits.height as f32) as u32;
        let mut stretches: Vec<(u32, u32)> = Vec::new();
        for row in (0..self.area.height).filter(|row| has_row(*row)) {
            match stretches.last_mut() {
                Some((_, end)) if row - *end <= gap => *end = row + 1,
                _ => stretches.push((row, row + 1)),
            }
        }
        let (top, bottom) = (self.digits.top - self.area.top, self.digits.bottom() - self.area.top);
        let inside = |(first, end): &(u32, u32)| (*end).min(bottom).saturating_sub((*first).max(top));
        stretches.into_iter().filter(|one| inside(one) > 0).max_by_key(inside)
    }

    /// The probabilities of the digits in a cell of a frame.
    fn probabilities(&self, frame: usize, cell: Columns) -> Option<[f32; 10]> {
        let levels = self.levels.get(frame)?;
        let height = self.digits.height as f32;
        let room = self.digits.top - self.area.top;
        let left = cell.start.saturating_sub(room).max(self.area.left);
        let right = (cell.end + room).min(self.area.right());
        if left >= right || cell.start < left || cell.end > right {
            return None;
        }
        let scale = SCALED_HEIGHT / height;
        let scaled = |length: u32| ((length as f32 * scale).round() as u32).max(1);
        let part = crop_imm(levels, left - self.area.left, 0, right - left, self.area.height).to_image();
        let part = resize(&part, scaled(right - left), scaled(self.area.height), FilterType::Triangle);
        let (rows, columns) = (part.height() as usize, part.width() as usize);
        let part =
            Array2::from_shape_vec((rows, columns), part.iter().map(|level| f32::from(*level)).collect())
                .ok()?;
        let features = HighPass::for_cell_width(USUAL_WIDTH * SCALED_HEIGHT).apply(&part);
        let first_row = (scaled(room) as usize).saturating_sub(1);
        let last_row = (scaled(room + self.digits.height) as usize + 1).min(rows);
        let first = (scaled(cell.start - left + 1) as usize).saturating_sub(1);
        let last = (scaled(cell.end - left) as usize).min(columns);
        if first >= last || first_row >= last_row {
            return None;
        }
        let cell = features.slice(s![first_row..last_row, first..last]).to_owned();
        Some(ShapePrior::embedded().log_probabilities(&cell).map(f32::exp))
    }

    /// The most probable digit of a cell and its probability. A narrow run may be a 1 with the space on either side.
    pub(super) fn digit(&self, frame: usize, cell: Columns) -> (usize, f32) {
        let missing = ((MIN_CELL_WIDTH * self.digits.height as f32) as u32).saturating_sub(cell.width());
        let shown = |before: u32| {
            let cell = Columns::new(cell.start.saturating_sub(before), cell.end + missing - before);
            let digits = self.probabilities(frame, cell)?;
            digits.into_iter().enumerate().max_by(|one, other| one.1.total_cmp(&other.1))
        };
        let shifts: &[u32] =
            if missing * 3 > cell.width() { &[missing / 2, missing] } else { &[missing / 2] };
        shifts
            .iter()
            .filter_map(|before| shown(*before))
            .max_by(|one, other| one.1.total_cmp(&other.1))
            .unwrap_or((0, 0.0))
    }
}

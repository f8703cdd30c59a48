//! The cells of a line in one frame: which digit each shows.

use super::columns::Columns;
use super::line_shapes::{LineShapes, Run};

// Widths, heights and gaps are in heights of the digits.

/// Minimum height of a digit's strokes in a frame.
const MIN_HIGH: f32 = 0.78;
/// Maximum width of a digit.
pub(super) const MAX_DIGIT_WIDTH: f32 = 1.0;
/// Usual width of a digit.
pub(super) const USUAL_DIGIT_WIDTH: f32 = 0.68;

/// A cell of a frame that is as high as the digits, with the most probable digit.
#[derive(Clone, Copy)]
pub(super) struct Cell {
    pub(super) columns: Columns,
    pub(super) digit: usize,
    pub(super) certainty: f32,
    /// Whether its strokes are as high as digits.
    pub(super) is_high: bool,
}

#[derive(Clone, Copy, PartialEq)]
pub(super) enum RunKind {
    /// Inside the rows of the digits.
    Glyph,
    /// Low, on the base line: a point.
    Point,
    /// Reaches out of the rows of the digits: an icon, or scenery.
    Other,
}

pub(super) fn kind_of(shapes: &LineShapes, run: Run) -> RunKind {
    let height = shapes.digits.height as f32;
    let tolerance = (0.13 * height).ceil() as u32;
    if run.top + tolerance < shapes.digits.top || run.bottom > shapes.digits.bottom() + tolerance {
        return RunKind::Other;
    }
    let share = run.height().saturating_sub(2) as f32 / (height - 2.0);
    let is_on_base_line = shapes.digits.bottom().abs_diff(run.bottom) as f32 <= 0.15 * height;
    if share <= 0.62 && run.columns.width() as f32 <= 0.6 * height && is_on_base_line {
        RunKind::Point
    } else {
        RunKind::Glyph
    }
}

/// The cells of a run with their digits: of several divisions the one with the most certain cells.
pub(super) fn certain_cells(shapes: &LineShapes, frame: usize, run: Run) -> Vec<Cell> {
    let is_high = run.height() as f32 >= MIN_HIGH * shapes.digits.height as f32;
    let divisions = cells_of(run.columns, shapes.digits.height).into_iter().map(|cells| {
        let cells: Vec<Cell> = cells
            .into_iter()
            .map(|columns| {
                let (digit, certainty) = shapes.digit(frame, columns);
                Cell { columns, digit, certainty, is_high }
            })
            .collect();
        (mean_certainty(&cells), cells)
    });
    divisions.max_by(|one, other| one.0.total_cmp(&other.0)).map(|(_, cells)| cells).unwrap_or_default()
}

/// Cells of a run: the run itself, or equal parts of it if it is wider than a digit.
fn cells_of(run: Columns, height: u32) -> Vec<Vec<Columns>> {
    let width = run.width() as f32 / height as f32;
    if width <= MAX_DIGIT_WIDTH {
        return vec![vec![run]];
    }
    let usual = (width / USUAL_DIGIT_WIDTH).round() as u32;
    (usual.saturating_sub(1).max(1)..=usual + 1)
        .map(|count| {
            (0..count)
                .map(|n| {
                    Columns::new(
                        run.start + run.width() * n / count,
                        run.start + run.width() * (n + 1) / count,
                    )
                })
                .collect()
        })
        .collect()
}

/// The mean certainty of the digits of a run.
pub(super) fn run_certainty(shapes: &LineShapes, frame: usize, run: Run) -> f32 {
    mean_certainty(&certain_cells(shapes, frame, run))
}

fn mean_certainty(cells: &[Cell]) -> f32 {
    cells.iter().map(|cell| cell.certainty).sum::<f32>() / cells.len().max(1) as f32
}

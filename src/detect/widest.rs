//! Extends the columns of a value to the widest one of the clip.

use super::cells::{Cell, MAX_DIGIT_WIDTH};
use super::columns::Columns;
use super::line_shapes::{LineShapes, Run};
use super::votes::{CERTAIN, Votes};
use crate::stats::nearest_rank;

// Widths, heights and gaps are in heights of the digits.

/// Maximum number of digits that are shown in few frames, on each side.
const MAX_RARE_DIGITS: usize = 2;
/// Maximum gap before or after such a digit.
const MAX_RARE_GAP: f32 = 0.4;
/// Minimum certainty of such a digit.
const MIN_RARE_CERTAINTY: f32 = 0.93;
/// Minimum share of frames that show it.
const MIN_RARE_FRAMES: f32 = 0.06;
/// Maximum width of a narrow digit, as a share of the usual ones.
const MAX_NARROW_DIGIT: f32 = 0.45;

impl Votes {
    /// The columns with the digits beside them that are shown in few frames.
    pub(super) fn with_rare_digits(&self, mut columns: Columns, rare: &LineShapes) -> Columns {
        for _ in 0..MAX_RARE_DIGITS {
            let beside = |before: bool| {
                let mut edges: Vec<f32> = Vec::new();
                let mut aligned = 0;
                for frame in 0..rare.frames() {
                    let runs = rare.runs(frame);
                    let is_beside = |run: &&Run| {
                        let gap = if before {
                            columns.start as f32 - run.columns.end as f32
                        } else {
                            run.columns.start as f32 - columns.end as f32
                        };
                        let width = run.columns.width() as f32;
                        (-0.1 * self.height..=MAX_RARE_GAP * self.height).contains(&gap)
                            && (0.1 * self.height..=MAX_DIGIT_WIDTH * self.height).contains(&width)
                            && run.top.abs_diff(rare.digits.top) as f32 <= 0.13 * self.height
                            && run.bottom.abs_diff(rare.digits.bottom()) as f32 <= 0.13 * self.height
                            && !(run.columns.start..run.columns.end).any(|x| self.is_usual(x))
                    };
                    let Some(run) = runs.iter().find(is_beside) else { continue };
                    aligned += 1;
                    if rare.digit(frame, run.columns).1 >= MIN_RARE_CERTAINTY {
                        edges.push(if before { run.columns.start } else { run.columns.end } as f32);
                    }
                }
                let is_enough = edges.len() as f32 >= (MIN_RARE_FRAMES * rare.frames() as f32).max(2.0)
                    && edges.len() * 10 >= 7 * aligned;
                is_enough.then(|| nearest_rank(&mut edges, if before { 0.1 } else { 0.9 }) as u32)
            };
            let extended = Columns::new(
                beside(true).unwrap_or(columns.start).min(columns.start),
                beside(false).unwrap_or(columns.end).max(columns.end),
            );
            if extended == columns {
                break;
            }
            columns = extended;
        }
        columns
    }

    /// The columns with the whole width of the first digit: a 1 in front may be narrower than other digits.
    pub(super) fn with_full_first_digit(&self, columns: Columns) -> Columns {
        let mut widths: Vec<f32> = self
            .within(columns)
            .filter(|cell| cell.certainty >= CERTAIN)
            .map(|cell| cell.columns.width() as f32)
            .collect();
        let width = nearest_rank(&mut widths, 0.85).min(MAX_DIGIT_WIDTH * self.height);
        let first = Columns::new(columns.start, columns.start + (0.5 * width) as u32);
        let cells: Vec<&Cell> = self.within(first).collect();
        let middle = |edge: fn(&Cell) -> u32| {
            nearest_rank(&mut cells.iter().map(|cell| edge(cell) as f32).collect::<Vec<f32>>(), 0.5)
        };
        let end = middle(|cell| cell.columns.end);
        if cells.is_empty() || middle(|cell| cell.columns.width()) > MAX_NARROW_DIGIT * width {
            return columns;
        }
        let wanted = (end - width).max(0.0) as u32;
        let free = (wanted..columns.start).rev().take_while(|x| !self.is_other(*x)).last();
        Columns::new(free.unwrap_or(columns.start).min(columns.start), columns.end)
    }
}

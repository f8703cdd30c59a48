//! Extends the columns of a value to the widest one of the clip.

use super::cells::MAX_DIGIT_WIDTH;
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
const MIN_RARE_CERTAINTY: f32 = 0.88;
/// Minimum share of frames that show it.
const MIN_RARE_FRAMES: f32 = 0.06;
/// Minimum share of certain digits among the runs as high as digits.
const MIN_RARE_SHARE: f32 = 0.6;
/// Maximum distance of the top and bottom of such a digit from those of the others.
const MAX_RARE_OFFSET: f32 = 0.13;
/// Maximum width of a narrow digit, as a share of the usual ones.
const MAX_NARROW_DIGIT: f32 = 0.45;
/// Minimum number of frames that show a narrow digit in front.
const MIN_NARROW_FRAMES: usize = 3;

/// A side of a value.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Side {
    Left,
    Right,
}

impl Side {
    /// Distance of a run from a value on this side, in pixels; negative where they overlap.
    fn gap(self, columns: Columns, run: Columns) -> f32 {
        match self {
            Self::Left => columns.start as f32 - run.end as f32,
            Self::Right => run.start as f32 - columns.end as f32,
        }
    }

    fn outer_edge(self, run: Columns) -> u32 {
        match self {
            Self::Left => run.start,
            Self::Right => run.end,
        }
    }
}

impl Votes {
    /// The columns with the digits beside them that are shown in few frames.
    pub(super) fn with_rare_digits(&self, columns: Columns, rare: &LineShapes) -> Columns {
        let wider = |columns: &Columns| {
            let left = self.rare_edge(*columns, rare, Side::Left).unwrap_or(columns.start);
            let right = self.rare_edge(*columns, rare, Side::Right).unwrap_or(columns.end);
            let wider = Columns::new(left.min(columns.start), right.max(columns.end));
            (wider != *columns).then_some(wider)
        };
        std::iter::successors(Some(columns), wider).take(1 + MAX_RARE_DIGITS).last().unwrap_or(columns)
    }

    /// The outer edge of the digits beside a value that are shown in few frames.
    fn rare_edge(&self, columns: Columns, rare: &LineShapes, side: Side) -> Option<u32> {
        let is_beside = |run: &&Run| {
            let width = run.columns.width() as f32 / self.height;
            let gap = side.gap(columns, run.columns) / self.height;
            let offset = run.top.abs_diff(rare.digits.top).max(run.bottom.abs_diff(rare.digits.bottom()));
            (-0.1..=MAX_RARE_GAP).contains(&gap)
                && (0.1..=MAX_DIGIT_WIDTH).contains(&width)
                && offset as f32 <= MAX_RARE_OFFSET * self.height
                && !(run.columns.start..run.columns.end).any(|x| self.is_usual(x))
        };
        let mut edges: Vec<f32> = Vec::new();
        let mut aligned = 0.0;
        for frame in 0..rare.frames() {
            let runs = rare.runs(frame);
            let Some(run) = runs.iter().find(is_beside) else { continue };
            aligned += 1.0;
            if rare.digit(frame, run.columns).1 >= MIN_RARE_CERTAINTY {
                edges.push(side.outer_edge(run.columns) as f32);
            }
        }
        let count = edges.len() as f32;
        let is_enough =
            count >= (MIN_RARE_FRAMES * rare.frames() as f32).max(2.0) && count >= MIN_RARE_SHARE * aligned;
        is_enough.then(|| nearest_rank(&mut edges, if side == Side::Left { 0.1 } else { 0.9 }) as u32)
    }

    /// The columns with the whole width of the first digit: a 1 in front may be narrower than other digits.
    pub(super) fn with_full_first_digit(&self, columns: Columns) -> Columns {
        let certain = self.within(columns).filter(|cell| cell.certainty >= CERTAIN);
        let mut widths: Vec<f32> = certain.map(|cell| cell.columns.width() as f32).collect();
        let width = nearest_rank(&mut widths, 0.85).min(MAX_DIGIT_WIDTH * self.height);
        let first: Vec<Columns> = self
            .within(Columns::new(columns.start, columns.start + (0.75 * width) as u32))
            .filter(|cell| cell.certainty >= CERTAIN)
            .map(|cell| cell.columns)
            .collect();
        let middle = |value: fn(&Columns) -> u32| {
            nearest_rank(&mut first.iter().map(|one| value(one) as f32).collect::<Vec<f32>>(), 0.5)
        };
        if first.len() < MIN_NARROW_FRAMES || middle(|one| one.width()) > MAX_NARROW_DIGIT * width {
            return columns;
        }
        let wanted = (middle(|one| one.end) - width).max(0.0) as u32;
        let free = (wanted..columns.start).rev().take_while(|x| !self.is_usual(*x)).last();
        Columns::new(free.unwrap_or(columns.start).min(columns.start), columns.end)
    }
}

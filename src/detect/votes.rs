//! What the frames show along a line: where digits are, and where other glyphs.

use super::cells::{Cell, RunKind, certain_cells, kind_of};
use super::columns::Columns;
use super::line_shapes::LineShapes;
use crate::stats::nearest_rank;

// Widths, heights and gaps are in heights of the digits.

/// Maximum number of frames in which the columns of a line are examined.
const PROFILE_FRAMES: usize = 60;
/// A cell with at least this probability is certainly a digit.
pub(super) const CERTAIN: f32 = 0.8;
/// Minimum share of the frames with other glyphs than digits at a column that ends a value.
const MIN_OTHER_SHARE: f32 = 0.3;
/// Glyphs are usual at a column from this share of the frames on.
const MIN_USUAL_SHARE: f32 = 0.6;
/// A place shown less often than this share of the glyphs on both sides is blank inside a number.
const MAX_DIP: f32 = 0.6;
/// Minimum share of the frames that show the strokes of a digit as high as digits are.
const MIN_HIGH_SHARE: f32 = 0.3;
/// Maximum gap between a value and its unit.
const MAX_UNIT_GAP: f32 = 1.2;
/// Maximum gap inside a value with a decimal point in it.
const MAX_GAP_WITH_POINT: f32 = 1.2;
/// Number of frames that must show a point.
const MIN_POINTS: usize = 3;
/// Maximum gap inside a value without a point.
const MAX_INNER_GAP: f32 = 0.6;
/// Maximum width of columns that are no digits inside a value.
const MAX_OTHER: f32 = 0.15;
/// Minimum width of a readout.
const MIN_WIDTH: f32 = 0.3;
/// Minimum certainty of digits, averaged over cells and frames.
pub(super) const MIN_CERTAINTY: f32 = 0.6;

/// What the frames show along a line.
pub(super) struct Votes {
    left: u32,
    /// Height of the digits in pixels.
    pub(super) height: f32,
    columns: Vec<ColumnVotes>,
    cells: Vec<Cell>,
    points: Vec<Columns>,
    frames: usize,
}

/// The cells and points of a line in one frame.
struct FrameCells {
    cells: Vec<Cell>,
    points: Vec<Columns>,
}

impl FrameCells {
    fn of(shapes: &LineShapes, frame: usize) -> Self {
        let (mut cells, mut points) = (Vec::new(), Vec::new());
        for run in shapes.runs(frame) {
            match kind_of(shapes, run) {
                RunKind::Point => points.push(run.columns),
                RunKind::Glyph => cells.extend(certain_cells(shapes, frame, run)),
                RunKind::Other => {
                    cells.push(Cell { columns: run.columns, digit: 0, certainty: 0.0, is_high: false });
                }
            }
        }
        Self { cells, points }
    }

    /// Number of certain digits, less half the number of other cells.
    fn merit(&self) -> f32 {
        let certain = self.cells.iter().filter(|cell| cell.certainty >= CERTAIN).count() as f32;
        1.5 * certain - 0.5 * self.cells.len() as f32
    }
}

/// Number of cells at a column, and of those that are certainly digits.
#[derive(Clone, Copy, Default)]
struct ColumnVotes {
    cells: f32,
    digits: f32,
    certainty: f32,
    high: f32,
}

impl Votes {
    /// What the frames show along a line. `rare` is the same line with all strong edges.
    pub(super) fn of(shapes: &LineShapes, rare: &LineShapes) -> Self {
        let step = (shapes.frames() / PROFILE_FRAMES).max(1);
        let height = shapes.digits.height as f32;
        let (mut cells, mut points, mut frames) = (Vec::new(), Vec::new(), 0);
        for frame in (0..shapes.frames()).step_by(step) {
            frames += 1;
            let mut shown = FrameCells::of(shapes, frame);
            if shown.cells.iter().any(|cell| cell.certainty < CERTAIN) {
                let other = FrameCells::of(rare, frame);
                if other.merit() > shown.merit() {
                    shown = other;
                }
            }
            cells.append(&mut shown.cells);
            points.append(&mut shown.points);
        }
        let left = shapes.digits.left;
        let mut columns = vec![ColumnVotes::default(); shapes.digits.width as usize + 1];
        for cell in &cells {
            let first = cell.columns.start.saturating_sub(left) as usize;
            for vote in columns.iter_mut().skip(first).take(cell.columns.width() as usize) {
                vote.cells += 1.0;
                vote.certainty += cell.certainty;
                vote.high += f32::from(u8::from(cell.is_high));
                vote.digits += f32::from(u8::from(cell.certainty >= CERTAIN));
            }
        }
        Self { left, height, columns, cells, points, frames }
    }

    /// The stretches of columns with digits.
    pub(super) fn segments(&self) -> Vec<Columns> {
        let is_digit = |vote: &ColumnVotes| {
            vote.digits >= 2.0
                && vote.certainty >= MIN_CERTAINTY * vote.cells
                && vote.high >= MIN_HIGH_SHARE * vote.cells
        };
        let is_other = |vote: &ColumnVotes| vote.cells >= self.min_other_cells() && !is_digit(vote);
        let mut found: Vec<Columns> = Vec::new();
        let mut others = 0.0;
        for (x, vote) in (self.left..).zip(&self.columns) {
            others += f32::from(u8::from(is_other(vote)));
            if !is_digit(vote) {
                continue;
            }
            match found.last_mut() {
                Some(last) if others <= MAX_OTHER * self.height && self.is_inner_gap(last.end, x) => {
                    last.end = x + 1
                }
                _ => found.push(Columns::new(x, x + 1)),
            }
            others = 0.0;
        }
        found.retain(|columns| columns.width() as f32 >= MIN_WIDTH * self.height);
        let most = (0.3 * self.height) as u32;
        let is_shown = |x: &u32| {
            self.vote_at(*x)
                .is_some_and(|vote| vote.digits >= 1.0 && vote.certainty >= MIN_CERTAINTY * vote.cells)
        };
        let widened = |columns: Columns| {
            let start = (columns.start.saturating_sub(most).max(self.left)..columns.start)
                .rev()
                .take_while(is_shown)
                .last();
            let end = (columns.end..columns.end + most).take_while(is_shown).last();
            Columns::new(start.unwrap_or(columns.start), end.map_or(columns.end, |x| x + 1))
        };
        let found = found.into_iter().map(widened).flat_map(|columns| self.parts_between_dips(columns));
        found.map(|columns| self.without_leading_zero(columns)).collect()
    }

    /// The parts of a stretch between places that are shown less often than glyphs on both sides of them: a number has no
    /// blank place inside, so the glyph before it is an icon.
    fn parts_between_dips(&self, columns: Columns) -> Vec<Columns> {
        let mut shown: Vec<f32> = (columns.start..columns.end)
            .map(|x| self.columns.get((x - self.left) as usize).map_or(0.0, |vote| vote.cells))
            .collect();
        for point in &self.points {
            let inside =
                shown.iter_mut().zip(columns.start..).filter(|(_, x)| (point.start..point.end).contains(x));
            inside.for_each(|(shown, _)| *shown += 1.0);
        }
        let reach = (0.28 * self.height) as usize;
        let most = |from: usize, to: usize| {
            shown
                .get(from.min(shown.len())..to.min(shown.len()))
                .unwrap_or_default()
                .iter()
                .copied()
                .fold(0.0, f32::max)
        };
        let smooth: Vec<f32> =
            (0..shown.len()).map(|x| most(x.saturating_sub(reach), x + reach + 1)).collect();
        let after: Vec<f32> = smooth
            .iter()
            .rev()
            .scan(0.0, |most, shown| {
                *most = f32::max(*most, *shown);
                Some(*most)
            })
            .collect();
        let mut before = 0.0;
        for (x, (here, after)) in smooth.iter().zip(after.iter().rev()).enumerate() {
            before = f32::max(before, *here);
            if *here < MAX_DIP * f32::min(before, *after) {
                let end = (0..x)
                    .rev()
                    .find(|x| shown.get(*x).is_some_and(|shown| *shown >= MAX_DIP * before))
                    .map_or(0, |last| last + 1);
                let middle = columns.start + end as u32;
                let next = (end..shown.len())
                    .find(|x| {
                        self.columns
                            .get((columns.start - self.left) as usize + x)
                            .is_some_and(|vote| vote.digits >= 2.0)
                    })
                    .map_or(middle, |x| columns.start + x as u32);
                let mut parts = vec![Columns::new(columns.start, middle)];
                parts.extend(self.parts_between_dips(Columns::new(next.max(middle), columns.end)));
                return parts;
            }
        }
        vec![columns]
    }

    /// Whether a gap is inside a value: narrow, or with a decimal point.
    fn is_inner_gap(&self, start: u32, end: u32) -> bool {
        let width = (end - start) as f32;
        let has_point = |point: &&Columns| start <= point.start + 1 && point.end <= end + 1;
        let limit = if self.points.iter().filter(has_point).count() >= MIN_POINTS {
            MAX_GAP_WITH_POINT
        } else {
            MAX_INNER_GAP
        };
        width <= limit * self.height
    }

    /// The columns without a 0 in front that never changes: an icon beside a value looks like one.
    fn without_leading_zero(&self, columns: Columns) -> Columns {
        let first = Columns::new(columns.start, columns.start + (0.45 * self.height) as u32);
        let cells: Vec<&Cell> = self.within(first).collect();
        let zeros: Vec<&&Cell> = cells.iter().filter(|cell| cell.digit == 0).collect();
        let mut ends: Vec<f32> = zeros.iter().map(|cell| cell.columns.end as f32).collect();
        let end = nearest_rank(&mut ends, 0.5) as u32;
        let next = self
            .columns
            .iter()
            .skip(end.saturating_sub(self.left) as usize)
            .position(|vote| vote.cells >= 2.0);
        let is_point = next.is_none_or(|gap| gap as f32 > 0.3 * self.height);
        let is_constant = zeros.len() * 10 >= cells.len() * 9 && zeros.len() * 10 >= self.frames * 8;
        let rest = next.map_or(end, |gap| end + gap as u32);
        if is_constant && !is_point && rest < columns.end { Columns::new(rest, columns.end) } else { columns }
    }

    /// What the frames show at a column; `None` behind the last one.
    fn vote_at(&self, x: u32) -> Option<&ColumnVotes> {
        self.columns.get(x.saturating_sub(self.left) as usize)
    }

    /// Minimum number of cells at a column that ends a value with glyphs other than digits.
    fn min_other_cells(&self) -> f32 {
        (MIN_OTHER_SHARE * self.frames as f32).max(2.0)
    }

    /// Whether glyphs other than digits are usual at a column.
    pub(super) fn is_other(&self, x: u32) -> bool {
        self.vote_at(x).is_some_and(|vote| {
            vote.cells >= self.min_other_cells() && vote.certainty < MIN_CERTAINTY * vote.cells
        })
    }

    /// Whether glyphs are usual at a column.
    pub(super) fn is_usual(&self, x: u32) -> bool {
        self.vote_at(x).is_some_and(|vote| vote.cells >= (MIN_USUAL_SHARE * self.frames as f32).max(2.0))
    }

    fn is_digit_at(&self, x: u32) -> bool {
        self.is_usual(x) && !self.is_other(x)
    }

    pub(super) fn within(&self, columns: Columns) -> impl Iterator<Item = &Cell> {
        self.cells.iter().filter(move |cell| {
            let middle = u32::midpoint(cell.columns.start, cell.columns.end);
            (columns.start..columns.end).contains(&middle)
        })
    }

    pub(super) fn certainty(&self, columns: Columns) -> f32 {
        let (count, sum) =
            self.within(columns).fold((0.0, 0.0), |(count, sum), cell| (count + 1.0, sum + cell.certainty));
        sum / f32::max(count, 1.0)
    }

    /// Whether digits change: two different ones at one place, and three in all.
    pub(super) fn changes(&self, columns: Columns) -> bool {
        let certain: Vec<&Cell> = self.within(columns).filter(|cell| cell.certainty >= CERTAIN).collect();
        let mut digits: Vec<usize> = certain.iter().map(|cell| cell.digit).collect();
        digits.sort_unstable();
        digits.dedup();
        let place = |cell: &Cell| {
            (u32::midpoint(cell.columns.start, cell.columns.end) - columns.start) as f32 / (0.3 * self.height)
        };
        let differ = certain.iter().enumerate().any(|(number, one)| {
            certain
                .iter()
                .skip(number + 1)
                .any(|other| one.digit != other.digit && (place(one) - place(other)).abs() <= 0.5)
        });
        differ && digits.len() >= 3
    }

    /// Width of the glyphs behind a value that are no digits, up to the next digits, in heights of the line.
    pub(super) fn label_width(&self, end: u32) -> f32 {
        let behind = self.columns.iter().zip(self.left..).skip(end.saturating_sub(self.left) as usize);
        let is_blank = |(vote, _): &(&ColumnVotes, u32)| vote.cells < self.min_other_cells();
        let near = (MAX_UNIT_GAP * self.height) as usize;
        let text = behind.clone().take(near).position(|one| !is_blank(&one));
        let Some(start) = text else { return 0.0 };
        let last = behind.skip(start).take_while(|(_, x)| !self.is_digit_at(*x));
        let last = last.filter(|one| !is_blank(one)).last();
        last.map_or(0.0, |(_, x)| (x + 1 - end) as f32 / self.height - start as f32 / self.height)
    }
}

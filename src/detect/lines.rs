//! From the ghost to lines of text.

use image::{GrayImage, Luma};
use imageproc::region_labelling::{Connectivity, connected_components};

use super::plane::Plane;

/// The windows of the ghost widen everything by this much on each side.
pub(super) const SPREAD_PX: u32 = 2;
/// Lowest and highest text that is looked for, spread included.
const TEXT_HEIGHT_PX: (u32, u32) = (8 + 2 * SPREAD_PX, 64 + 2 * SPREAD_PX);
/// Lowest part of a text: a point.
const PART_HEIGHT_PX: u32 = 3 + 2 * SPREAD_PX;
/// Widest gap within a line, in heights of the line.
const GAP_HEIGHTS: f32 = 0.45;
/// Least share of the lower one's height that neighbours in a line stand side by side.
const BESIDE_SHARE: f32 = 0.6;
/// Least height of a neighbour in a line, seen from the higher one, unless it is a mere part.
const ALIKE_SHARE: f32 = 0.6;

/// Least share of its rectangle that a glyph fills, spread included; slanting edges fill less.
const FULL_SHARE: f32 = 0.4;

/// A rectangle with its ends: `left..right`, `top..bottom`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Span {
    pub(super) left: u32,
    pub(super) right: u32,
    pub(super) top: u32,
    pub(super) bottom: u32,
}

impl Span {
    pub(super) fn width(self) -> u32 {
        self.right - self.left
    }

    pub(super) fn height(self) -> u32 {
        self.bottom - self.top
    }

    /// The span without outer rows and columns that hold nothing of the ghost.
    pub(super) fn tight(self, strength: &Plane) -> Self {
        let inked = |x: u32, y: u32| strength.at(x as usize, y as usize) > 0.0;
        let row = |y: &u32| (self.left..self.right).any(|x| inked(x, *y));
        let column = |x: &u32| (self.top..self.bottom).any(|y| inked(*x, y));
        Self {
            left: (self.left..self.right).find(column).unwrap_or(self.left),
            right: (self.left..self.right).rev().find(column).map_or(self.right, |x| x + 1),
            top: (self.top..self.bottom).find(row).unwrap_or(self.top),
            bottom: (self.top..self.bottom).rev().find(row).map_or(self.bottom, |y| y + 1),
        }
    }

    /// The span with `room` more on each side, as far as the frame goes.
    pub(super) fn widened(self, room: u32, frame_width: u32, frame_height: u32) -> Self {
        Self {
            left: self.left.saturating_sub(room),
            right: (self.right + room).min(frame_width),
            top: self.top.saturating_sub(room),
            bottom: (self.bottom + room).min(frame_height),
        }
    }

    /// The span cut where it overlaps another, on the side where that costs least.
    pub(super) fn kept_off(self, other: Self) -> Self {
        let columns = self.right.min(other.right).saturating_sub(self.left.max(other.left));
        let rows = self.rows_shared(other);
        if columns == 0 || rows == 0 {
            return self;
        }
        let cuts = [
            Self { left: other.right.min(self.right), ..self },
            Self { right: other.left.max(self.left), ..self },
            Self { top: other.bottom.min(self.bottom), ..self },
            Self { bottom: other.top.max(self.top), ..self },
        ];
        cuts.into_iter().max_by_key(|cut| cut.width() * cut.height()).unwrap_or(self)
    }

    fn joined(self, other: Self) -> Self {
        Self {
            left: self.left.min(other.left),
            right: self.right.max(other.right),
            top: self.top.min(other.top),
            bottom: self.bottom.max(other.bottom),
        }
    }

    fn gap_to(self, other: Self) -> u32 {
        self.left.max(other.left).saturating_sub(self.right.min(other.right))
    }

    /// How many rows two spans have in common.
    pub(super) fn rows_shared(self, other: Self) -> u32 {
        self.bottom.min(other.bottom).saturating_sub(self.top.max(other.top))
    }
}

/// The lines of text in the ghost, from top to bottom.
pub(super) fn find_lines(strength: &Plane) -> Vec<Span> {
    let (low, high) = TEXT_HEIGHT_PX;
    let parts: Vec<Span> = parts_of(strength).into_iter().filter(|part| part.height() <= high).collect();
    let mut lines: Vec<Span> = Vec::new();
    for part in parts.iter().filter(|part| part.height() >= low) {
        add_to_lines(&mut lines, *part);
    }
    for part in parts.iter().filter(|part| (PART_HEIGHT_PX..low).contains(&part.height())) {
        if lines.iter().any(|line| is_part_of(*line, *part)) {
            add_to_lines(&mut lines, *part);
        }
    }
    lines.sort_by_key(|line| (line.top, line.left));
    lines
}

/// Joins a glyph, or a part of one such as a point, with every line that it continues.
fn add_to_lines(lines: &mut Vec<Span>, glyph: Span) {
    let mut joined = glyph;
    while let Some(at) =
        lines.iter().position(|line| is_neighbour(*line, joined) || is_part_of(*line, joined))
    {
        joined = joined.joined(lines.swap_remove(at));
    }
    lines.push(joined);
}

fn is_neighbour(line: Span, glyph: Span) -> bool {
    let (lower, higher) =
        (line.height().min(glyph.height()) as f32, line.height().max(glyph.height()) as f32);
    line.gap_to(glyph) as f32 <= GAP_HEIGHTS * lower
        && line.rows_shared(glyph) as f32 >= BESIDE_SHARE * higher
        && lower >= ALIKE_SHARE * higher
}

fn is_part_of(line: Span, part: Span) -> bool {
    line.gap_to(part) as f32 <= GAP_HEIGHTS * line.height() as f32
        && line.rows_shared(part) >= part.height().saturating_sub(1)
}

/// The connected parts of the ghost.
fn parts_of(strength: &Plane) -> Vec<Span> {
    let (width, height) = (strength.width as u32, strength.height as u32);
    let ink =
        GrayImage::from_fn(width, height, |x, y| Luma([u8::from(strength.at(x as usize, y as usize) > 0.0)]));
    let mut spans: Vec<Option<(Span, u32)>> = Vec::new();
    for (x, y, Luma([label])) in
        connected_components(&ink, Connectivity::Eight, Luma([0u8])).enumerate_pixels()
    {
        let Some(index) = (*label as usize).checked_sub(1) else { continue };
        if spans.len() <= index {
            spans.resize(index + 1, None);
        }
        let pixel = Span { left: x, right: x + 1, top: y, bottom: y + 1 };
        if let Some(span) = spans.get_mut(index) {
            *span = Some(span.map_or((pixel, 1), |(span, count)| (span.joined(pixel), count + 1)));
        }
    }
    let full =
        |(span, count): &(Span, u32)| *count as f32 >= FULL_SHARE * (span.width() * span.height()) as f32;
    spans.into_iter().flatten().filter(full).map(|(span, _)| span).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_span_is_cut_where_that_costs_least() {
        let one = Span { left: 10, right: 50, top: 10, bottom: 30 };
        let beside = Span { left: 45, right: 90, top: 0, bottom: 40 };
        let below = Span { left: 0, right: 90, top: 28, bottom: 60 };
        assert_eq!(one.kept_off(beside), Span { right: 45, ..one });
        assert_eq!(one.kept_off(below), Span { bottom: 28, ..one });
        assert_eq!(one.kept_off(Span { left: 50, ..beside }), one);
    }

    #[test]
    fn a_point_joins_the_digits_on_its_sides_to_one_line() {
        let mut strength = Plane::new(80, 40);
        let mut ink = |columns: std::ops::Range<usize>, rows: std::ops::Range<usize>| {
            for y in rows {
                for x in columns.clone() {
                    strength.values[y * 80 + x] = 9.0;
                }
            }
        };
        ink(5..17, 10..30);
        ink(24..31, 23..30);
        ink(38..50, 10..30);
        ink(70..79, 10..30);
        let (value, apart) = (
            Span { left: 5, right: 50, top: 10, bottom: 30 },
            Span { left: 70, right: 79, top: 10, bottom: 30 },
        );
        assert_eq!(find_lines(&strength), [value, apart]);
    }
}

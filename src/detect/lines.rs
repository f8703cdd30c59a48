//! From the ghost to lines of text.

use image::{GrayImage, Luma};
use imageproc::region_labelling::{Connectivity, connected_components};

use super::plane::Plane;
use crate::geometry::PixelRect;

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

/// The rectangle without outer rows and columns that hold nothing of the ghost.
pub(super) fn tight(rect: PixelRect, strength: &Plane) -> PixelRect {
    let inked = |x: u32, y: u32| strength.at(x as usize, y as usize) > 0.0;
    let (left, right, top, bottom) = (rect.left, rect.right(), rect.top, rect.bottom());
    let row = |y: &u32| (left..right).any(|x| inked(x, *y));
    let column = |x: &u32| (top..bottom).any(|y| inked(*x, y));
    PixelRect::from_edges(
        (left..right).find(column).unwrap_or(left),
        (top..bottom).find(row).unwrap_or(top),
        (left..right).rev().find(column).map_or(right, |x| x + 1),
        (top..bottom).rev().find(row).map_or(bottom, |y| y + 1),
    )
}

/// The rectangle cut where it overlaps another, on the side where that costs the fewest pixels.
pub(super) fn cut_clear_of(rect: PixelRect, other: PixelRect) -> PixelRect {
    if rect.overlap_px(other) == 0 {
        return rect;
    }
    let cuts = [
        rect.with_columns(other.right().min(rect.right()), rect.right()),
        rect.with_columns(rect.left, other.left.max(rect.left)),
        rect.with_rows(other.bottom().min(rect.bottom()), rect.bottom()),
        rect.with_rows(rect.top, other.top.max(rect.top)),
    ];
    cuts.into_iter().max_by_key(|cut| cut.area_px()).unwrap_or(rect)
}

/// The lines of text in the ghost, from top to bottom.
pub(super) fn find_lines(strength: &Plane) -> Vec<PixelRect> {
    let (low, high) = TEXT_HEIGHT_PX;
    let parts: Vec<PixelRect> = parts_of(strength).into_iter().filter(|part| part.height <= high).collect();
    let mut lines: Vec<PixelRect> = Vec::new();
    for part in parts.iter().filter(|part| part.height >= low) {
        add_to_lines(&mut lines, *part);
    }
    for part in parts.iter().filter(|part| (PART_HEIGHT_PX..low).contains(&part.height)) {
        if lines.iter().any(|line| is_part_of(*line, *part)) {
            add_to_lines(&mut lines, *part);
        }
    }
    lines.sort_by_key(|line| (line.top, line.left));
    lines
}

/// Joins a glyph, or a part of one such as a point, with every line that it continues.
fn add_to_lines(lines: &mut Vec<PixelRect>, glyph: PixelRect) {
    let mut joined = glyph;
    while let Some(at) =
        lines.iter().position(|line| is_neighbour(*line, joined) || is_part_of(*line, joined))
    {
        joined = joined.union(lines.swap_remove(at));
    }
    lines.push(joined);
}

fn is_neighbour(line: PixelRect, glyph: PixelRect) -> bool {
    let (lower, higher) = (line.height.min(glyph.height) as f32, line.height.max(glyph.height) as f32);
    line.column_gap(glyph) as f32 <= GAP_HEIGHTS * lower
        && line.shared_rows(glyph) as f32 >= BESIDE_SHARE * higher
        && lower >= ALIKE_SHARE * higher
}

fn is_part_of(line: PixelRect, part: PixelRect) -> bool {
    line.column_gap(part) as f32 <= GAP_HEIGHTS * line.height as f32
        && line.shared_rows(part) >= part.height.saturating_sub(1)
}

/// The connected parts of the ghost.
fn parts_of(strength: &Plane) -> Vec<PixelRect> {
    let (width, height) = (strength.width as u32, strength.height as u32);
    let ink =
        GrayImage::from_fn(width, height, |x, y| Luma([u8::from(strength.at(x as usize, y as usize) > 0.0)]));
    let mut spans: Vec<Option<(PixelRect, u32)>> = Vec::new();
    for (x, y, Luma([label])) in
        connected_components(&ink, Connectivity::Eight, Luma([0u8])).enumerate_pixels()
    {
        let Some(index) = (*label as usize).checked_sub(1) else { continue };
        if spans.len() <= index {
            spans.resize(index + 1, None);
        }
        let pixel = PixelRect::new(x, y, 1, 1);
        if let Some(span) = spans.get_mut(index) {
            *span = Some(span.map_or((pixel, 1), |(span, count)| (span.union(pixel), count + 1)));
        }
    }
    let full = |(span, count): &(PixelRect, u32)| *count as f32 >= FULL_SHARE * span.area_px() as f32;
    spans.into_iter().flatten().filter(full).map(|(span, _)| span).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_span_is_cut_where_that_costs_least() {
        let one = PixelRect::from_edges(10, 10, 50, 30);
        let beside = PixelRect::from_edges(45, 0, 90, 40);
        let below = PixelRect::from_edges(0, 28, 90, 60);
        assert_eq!(cut_clear_of(one, beside), one.with_columns(10, 45));
        assert_eq!(cut_clear_of(one, below), one.with_rows(10, 28));
        assert_eq!(cut_clear_of(one, beside.with_columns(50, 90)), one);
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
        let (value, apart) = (PixelRect::from_edges(5, 10, 50, 30), PixelRect::from_edges(70, 10, 79, 30));
        assert_eq!(find_lines(&strength), [value, apart]);
    }
}

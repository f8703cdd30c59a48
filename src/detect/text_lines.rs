//! Finds lines of text in the map of persistent gradients.

use image::{GrayImage, Luma};
use imageproc::region_labelling::{Connectivity, connected_components};

use super::plane::Plane;
use crate::geometry::PixelRect;

/// The strength of the gradients is averaged over windows, which enlarges everything by this on each side, in pixels.
pub(super) const SPREAD_PX: u32 = 2;
/// Minimum and maximum height of text, in pixels, including the spread.
const TEXT_HEIGHT_PX: (u32, u32) = (8 + 2 * SPREAD_PX, 64 + 2 * SPREAD_PX);
/// Minimum height of a part of a text, such as a point, in pixels, including the spread.
const MIN_PART_HEIGHT_PX: u32 = 3 + 2 * SPREAD_PX;
/// Maximum gap within a line, in heights of the line.
const MAX_GAP_HEIGHTS: f32 = 0.45;
/// Minimum number of rows that neighbours in a line share, as a share of the taller one's height.
const MIN_SHARED_ROWS: f32 = 0.6;
/// Minimum height of a neighbour in a line, as a share of the taller one's height.
const MIN_HEIGHT_RATIO: f32 = 0.6;

/// Minimum share of its rectangle that a glyph fills, including the spread. A slanting edge of the airframe fills less.
const MIN_FILL: f32 = 0.4;

/// The smallest rectangle inside `rect` with the same gradients: outer rows and columns without any are cut off.
pub(super) fn trimmed(rect: PixelRect, strength: &Plane) -> PixelRect {
    let has_gradient = |x: u32, y: u32| strength.at(x as usize, y as usize) > 0.0;
    let (left, right, top, bottom) = (rect.left, rect.right(), rect.top, rect.bottom());
    let row = |y: &u32| (left..right).any(|x| has_gradient(x, *y));
    let column = |x: &u32| (top..bottom).any(|y| has_gradient(*x, y));
    PixelRect::from_edges(
        (left..right).find(column).unwrap_or(left),
        (top..bottom).find(row).unwrap_or(top),
        (left..right).rev().find(column).map_or(right, |x| x + 1),
        (top..bottom).rev().find(row).map_or(bottom, |y| y + 1),
    )
}

/// The rectangle without its overlap with another one. It is cut on the side where the fewest pixels are lost.
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

/// The lines of text, from top to bottom.
pub(super) fn find_lines(strength: &Plane) -> Vec<PixelRect> {
    let (low, high) = TEXT_HEIGHT_PX;
    let parts: Vec<PixelRect> =
        connected_parts(strength).into_iter().filter(|part| part.height <= high).collect();
    let mut lines: Vec<PixelRect> = Vec::new();
    for part in parts.iter().filter(|part| part.height >= low) {
        add_to_lines(&mut lines, *part);
    }
    for part in parts.iter().filter(|part| (MIN_PART_HEIGHT_PX..low).contains(&part.height)) {
        if lines.iter().any(|line| is_part_of(*line, *part)) {
            add_to_lines(&mut lines, *part);
        }
    }
    lines.sort_by_key(|line| (line.top, line.left));
    lines
}

/// Joins a glyph, or a part of one such as a point, with every line that it belongs to.
fn add_to_lines(lines: &mut Vec<PixelRect>, glyph: PixelRect) {
    let mut joined = glyph;
    while let Some(at) =
        lines.iter().position(|line| is_neighbour(*line, joined) || is_part_of(*line, joined))
    {
        joined = joined.union(lines.swap_remove(at));
    }
    lines.push(joined);
}

/// Whether a glyph continues a line: beside it, at a similar height and of a similar size.
fn is_neighbour(line: PixelRect, glyph: PixelRect) -> bool {
    let (lower, higher) = (line.height.min(glyph.height) as f32, line.height.max(glyph.height) as f32);
    line.column_gap(glyph) as f32 <= MAX_GAP_HEIGHTS * lower
        && line.shared_rows(glyph) as f32 >= MIN_SHARED_ROWS * higher
        && lower >= MIN_HEIGHT_RATIO * higher
}

/// Whether a small part, such as a point, lies beside or in a line.
fn is_part_of(line: PixelRect, part: PixelRect) -> bool {
    line.column_gap(part) as f32 <= MAX_GAP_HEIGHTS * line.height as f32
        && line.shared_rows(part) >= part.height.saturating_sub(1)
}

/// The bounding boxes of the connected areas with gradients that are compact enough for glyphs.
fn connected_parts(strength: &Plane) -> Vec<PixelRect> {
    let (width, height) = (strength.width as u32, strength.height as u32);
    let mask =
        GrayImage::from_fn(width, height, |x, y| Luma([u8::from(strength.at(x as usize, y as usize) > 0.0)]));
    let mut parts: Vec<Option<(PixelRect, u32)>> = Vec::new();
    for (x, y, Luma([label])) in
        connected_components(&mask, Connectivity::Eight, Luma([0u8])).enumerate_pixels()
    {
        let Some(index) = (*label as usize).checked_sub(1) else { continue };
        if parts.len() <= index {
            parts.resize(index + 1, None);
        }
        let pixel = PixelRect::new(x, y, 1, 1);
        if let Some(part) = parts.get_mut(index) {
            *part = Some(part.map_or((pixel, 1), |(rect, count)| (rect.union(pixel), count + 1)));
        }
    }
    let is_compact = |(rect, count): &(PixelRect, u32)| *count as f32 >= MIN_FILL * rect.area_px() as f32;
    parts.into_iter().flatten().filter(is_compact).map(|(rect, _)| rect).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rectangle_is_cut_where_the_fewest_pixels_are_lost() {
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
        let mut fill = |columns: std::ops::Range<usize>, rows: std::ops::Range<usize>| {
            for y in rows {
                for x in columns.clone() {
                    strength.values[y * 80 + x] = 9.0;
                }
            }
        };
        fill(5..17, 10..30);
        fill(24..31, 23..30);
        fill(38..50, 10..30);
        fill(70..79, 10..30);
        let (value, apart) = (PixelRect::from_edges(5, 10, 50, 30), PixelRect::from_edges(70, 10, 79, 30));
        assert_eq!(find_lines(&strength), [value, apart]);
    }
}

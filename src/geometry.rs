//! Rectangles of pixels.

use std::fmt;
use std::ops::Range;

use image::{GrayImage, imageops};
use serde::{Deserialize, Serialize};

/// A rectangle of pixels in a frame. In files it is written as the list `[left, top, width, height]`.
///
/// All values are in pixels, counted from the frame's upper left corner. A rectangle that is read from a file
/// may lie outside any frame; its right and lower edges are then limited to the largest `u32`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(from = "[u32; 4]", into = "[u32; 4]")]
pub struct PixelRect {
    /// Index of the first column.
    pub left: u32,
    /// Index of the first row.
    pub top: u32,
    /// Number of columns.
    pub width: u32,
    /// Number of rows.
    pub height: u32,
}

impl PixelRect {
    /// A rectangle with the given first column, first row, width and height.
    #[must_use]
    pub const fn new(left: u32, top: u32, width: u32, height: u32) -> Self {
        Self { left, top, width, height }
    }

    /// The rectangle of the columns `left..right` and the rows `top..bottom`. It is empty if an end lies
    /// before its start.
    #[must_use]
    pub const fn from_edges(left: u32, top: u32, right: u32, bottom: u32) -> Self {
        Self::new(left, top, right.saturating_sub(left), bottom.saturating_sub(top))
    }

    /// Index of the column after the last one.
    #[must_use]
    pub const fn right(self) -> u32 {
        self.left.saturating_add(self.width)
    }

    /// Index of the row after the last one.
    #[must_use]
    pub const fn bottom(self) -> u32 {
        self.top.saturating_add(self.height)
    }

    /// Indices of the columns.
    #[must_use]
    pub const fn columns(self) -> Range<usize> {
        self.left as usize..self.right() as usize
    }

    /// Indices of the rows.
    #[must_use]
    pub const fn rows(self) -> Range<usize> {
        self.top as usize..self.bottom() as usize
    }

    /// The rectangle with the same rows and the columns `left..right`.
    #[must_use]
    pub const fn with_columns(self, left: u32, right: u32) -> Self {
        Self { left, width: right.saturating_sub(left), ..self }
    }

    /// The rectangle with the same columns and the rows `top..bottom`.
    #[must_use]
    pub const fn with_rows(self, top: u32, bottom: u32) -> Self {
        Self { top, height: bottom.saturating_sub(top), ..self }
    }

    /// The same rectangle in a frame that is `factor` times as wide and as high.
    #[must_use]
    pub fn times(self, factor: u32) -> Self {
        let Self { left, top, width, height } = self;
        let [left, top, width, height] = [left, top, width, height].map(|px| px.saturating_mul(factor));
        Self { left, top, width, height }
    }

    /// The number of pixels.
    #[must_use]
    pub fn area_px(self) -> u64 {
        u64::from(self.width) * u64::from(self.height)
    }

    /// The rectangle enlarged by `margin_px` on each side, but not beyond the frame's left and upper edge.
    #[must_use]
    pub const fn with_margin(self, margin_px: u32) -> Self {
        self.with_margins(margin_px, margin_px)
    }

    /// The rectangle enlarged by `across_px` on the left and right and by `down_px` above and below, but not beyond the frame's
    /// left and upper edge.
    #[must_use]
    pub const fn with_margins(self, across_px: u32, down_px: u32) -> Self {
        Self::from_edges(
            self.left.saturating_sub(across_px),
            self.top.saturating_sub(down_px),
            self.right().saturating_add(across_px),
            self.bottom().saturating_add(down_px),
        )
    }

    /// A copy of the part of an image that lies in the rectangle.
    #[must_use]
    pub fn crop(self, image: &GrayImage) -> GrayImage {
        imageops::crop_imm(image, self.left, self.top, self.width, self.height).to_image()
    }

    /// The part of the rectangle inside a frame with the given width and height; it may be empty.
    #[must_use]
    pub fn clipped_to(self, (width, height): (u32, u32)) -> Self {
        Self::from_edges(self.left, self.top, self.right().min(width), self.bottom().min(height))
    }

    /// The smallest rectangle that contains both rectangles.
    #[must_use]
    pub fn union(self, other: Self) -> Self {
        Self::from_edges(
            self.left.min(other.left),
            self.top.min(other.top),
            self.right().max(other.right()),
            self.bottom().max(other.bottom()),
        )
    }

    /// Whether the whole of another rectangle lies in this one.
    #[must_use]
    pub fn contains(self, other: Self) -> bool {
        self.left <= other.left
            && self.top <= other.top
            && other.right() <= self.right()
            && other.bottom() <= self.bottom()
    }

    /// Number of columns that the two rectangles have in common.
    #[must_use]
    pub fn shared_columns(self, other: Self) -> u32 {
        self.right().min(other.right()).saturating_sub(self.left.max(other.left))
    }

    /// Number of rows that the two rectangles have in common.
    #[must_use]
    pub fn shared_rows(self, other: Self) -> u32 {
        self.bottom().min(other.bottom()).saturating_sub(self.top.max(other.top))
    }

    /// Number of pixels that the two rectangles have in common.
    #[must_use]
    pub fn overlap_px(self, other: Self) -> u64 {
        u64::from(self.shared_columns(other)) * u64::from(self.shared_rows(other))
    }

    /// Whether the two rectangles have pixels in common.
    #[must_use]
    pub fn overlaps(self, other: Self) -> bool {
        self.overlap_px(other) > 0
    }

    /// Number of columns between two rectangles; 0 if they share columns or touch.
    #[must_use]
    pub fn column_gap(self, other: Self) -> u32 {
        self.left.max(other.left).saturating_sub(self.right().min(other.right()))
    }
}

impl fmt::Display for PixelRect {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "[{}, {}, {}, {}]", self.left, self.top, self.width, self.height)
    }
}

impl From<[u32; 4]> for PixelRect {
    fn from([left, top, width, height]: [u32; 4]) -> Self {
        Self { left, top, width, height }
    }
}

impl From<PixelRect> for [u32; 4] {
    fn from(rect: PixelRect) -> Self {
        [rect.left, rect.top, rect.width, rect.height]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RECT: PixelRect = PixelRect::new(10, 20, 30, 40);

    #[test]
    fn overlap_counts_the_shared_pixels() {
        assert_eq!(RECT.overlap_px(PixelRect::from_edges(35, 50, 90, 55)), 5 * 5);
        assert_eq!(RECT.overlap_px(PixelRect::from_edges(40, 20, 90, 60)), 0);
        assert!(RECT.overlaps(PixelRect::from_edges(39, 20, 90, 60)));
        assert!(!RECT.overlaps(PixelRect::from_edges(40, 20, 90, 60)), "they touch");
        assert_eq!(RECT.column_gap(PixelRect::from_edges(47, 0, 50, 9)), 7);
    }

    #[test]
    fn a_margin_stops_at_the_upper_left_corner() {
        assert_eq!(RECT.with_margin(15), PixelRect::from_edges(0, 5, 55, 75));
        assert_eq!(RECT.with_margin(15).clipped_to((50, 60)), PixelRect::from_edges(0, 5, 50, 60));
    }

    #[test]
    fn edges_beyond_the_largest_number_are_cut() {
        let huge = PixelRect::new(u32::MAX - 2, 0, 10, u32::MAX);
        assert_eq!((huge.right(), huge.bottom()), (u32::MAX, u32::MAX));
        assert_eq!(huge.with_margin(4).right(), u32::MAX);
    }
}

//! Parts of a picture.

/// A part of a picture, in pixels: columns `left..right` of rows `top..bottom`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Area {
    /// First column.
    pub left: usize,
    /// First row.
    pub top: usize,
    /// The column after the last.
    pub right: usize,
    /// The row after the last.
    pub bottom: usize,
}

impl Area {
    /// Whether all of another area lies in this one.
    pub(super) fn holds(&self, other: &Self) -> bool {
        let Self { left, top, right, bottom } = *self;
        left <= other.left && top <= other.top && other.right <= right && other.bottom <= bottom
    }
}

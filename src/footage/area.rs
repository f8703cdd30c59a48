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

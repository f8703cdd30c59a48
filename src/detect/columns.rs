//! A range of columns of the frame.

/// The columns `start..end` of the frame, in pixels.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Columns {
    pub(super) start: u32,
    pub(super) end: u32,
}

impl Columns {
    pub(super) fn new(start: u32, end: u32) -> Self {
        Self { start, end }
    }

    pub(super) fn width(self) -> u32 {
        self.end - self.start
    }
}

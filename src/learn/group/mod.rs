//! Training examples grouped by size: regions whose text has one height are learned together.

pub(super) mod repeated_frames;
pub(super) mod size_group;
pub(super) mod stroke_rows;

//! Groups the training examples by size: regions with the same text height are learned together.

pub(super) mod repeated_frames;
pub(super) mod size_group;
pub(super) mod stroke_rows;

//! Segmentation: cuts labelled texts into aligned cells of single characters, without static background.

pub(super) mod common_height;
pub(super) mod cut_group;
pub(super) mod hold_extent;
pub(super) mod split_faces;
pub(super) mod static_background;

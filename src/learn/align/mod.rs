//! Alignment: shifts the labelled texts onto each other, and decides between text layouts by how well the characters agree.

pub(super) mod align_texts;
pub(super) mod rank_layouts;
pub(super) mod relocate_lines;

//! Alignment: shifts the labelled texts onto each other, and chooses among text layouts by how well the cuts
//! of each character agree.

pub(super) mod align_texts;
pub(super) mod rank_layouts;
pub(super) mod relocate_lines;

//! Text layouts: pitch, widths and positions of the characters, computed from the strokes of the labelled
//! texts.

pub(super) mod search;
pub(super) mod stroke_profile;
pub(super) mod text_layout;

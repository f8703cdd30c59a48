//! Cuts the cells of single characters out of labelled texts, and measures how similar the cuts of one
//! character are.

pub(super) mod character;
pub(super) mod digit_prior;
pub(super) mod similarity;

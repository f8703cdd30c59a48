//! Cutting: the cells of single characters, and how similar the cells of one character are.

pub(super) mod character;
pub(super) mod digit_prior;
pub(super) mod similarity;

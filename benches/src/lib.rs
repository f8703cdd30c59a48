//! Scores of the reader on clips whose texts are known.

mod scoring;
mod truth;

pub use scoring::{Score, Tally, reliability, score};
pub use truth::{Truth, sampled, told_moments, truth_texts};

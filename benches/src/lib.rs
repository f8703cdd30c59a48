//! Scores of the reader on clips whose texts are known.

mod scoring;
mod truth;

pub use scoring::{Score, Tally, is_right, recalibration, reliability, score, thresholds};
pub use truth::{Truth, clips, sampled, told_moments, truth_texts};

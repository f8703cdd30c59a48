//! Scores of the reader on clips whose texts are known.

mod damage;
mod labelled_clip;
mod scoring;
mod truth;

pub use damage::{DamageComparison, DamagePlan, WrongReading, compare_with_truth, damage, picture_ranges};
pub use labelled_clip::{LabelledClip, Random, described, labelled_clips, true_regions};
pub use scoring::{ChannelScore, Score, is_right, recalibration, reliability, score, thresholds};
pub use truth::{Truth, clips, labelled_examples, sampled, truth_texts};

//! Why no glyphs can be learned.

use thiserror::Error;

use crate::advice::{Advice, Advised};

/// Why no glyphs can be learned.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum LearnError {
    /// No label was given.
    #[error("no reading is labelled: label at least one reading")]
    NoLabels,
    /// No label can be used.
    #[error("none of the labels can be used: {0}")]
    NoneUsable(String),
    /// Fewer than two labels agree.
    #[error(
        "{problem}, so nothing is learned; the first conflict: {first}",
        problem = too_few_agree(*labels)
    )]
    TooFewAgree {
        /// Number of labels that could be used.
        labels: usize,
        /// The first conflict between labels, in words.
        first: String,
    },
    /// No text layout fits the labelled texts of some channels.
    #[error(
        "the readings labelled for {channels} do not fit into their boxes: check these texts, and check that each box has room for the widest value"
    )]
    NoLayout {
        /// Names of the channels, separated by commas.
        channels: String,
    },
}

impl Advised for LearnError {
    fn advice(&self) -> Option<Advice> {
        match self {
            Self::NoLabels => Some(Advice::LabelReading),
            Self::TooFewAgree { .. } => Some(Advice::CheckLabels),
            Self::NoneUsable(_) | Self::NoLayout { .. } => None,
        }
    }
}

fn too_few_agree(labels: usize) -> String {
    match labels {
        1 => "the only label seems to be wrong".to_owned(),
        _ => format!("fewer than two of the {labels} labels agree with each other"),
    }
}

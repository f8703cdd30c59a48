//! Labels that cannot be used, with the reason.

use std::fmt;

use thiserror::Error;

use super::format::LabelFormatError;
use super::reading::LabelledReading;

/// A label that cannot be used.
#[derive(Debug, Clone, PartialEq)]
pub struct RejectedLabel {
    /// The label: text, channel and time.
    pub label: LabelledReading,
    /// Why the label cannot be used.
    pub problem: LabelProblem,
}

impl fmt::Display for RejectedLabel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.label, self.problem)
    }
}

/// Why a label cannot be used.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum LabelProblem {
    /// The setup of the region does not allow the labelled text.
    #[error(transparent)]
    Format(#[from] LabelFormatError),
    /// No strokes are visible in the region's box.
    #[error("no text is visible in the box of this channel: check the box")]
    NoText,
    /// The clip ends before the labelled time.
    #[error("{clip} ends at {end_s:.2} s: label an earlier time")]
    AfterTheEnd {
        /// File name of the clip.
        clip: String,
        /// Time of the clip's last frame, in seconds from the first.
        end_s: f64,
    },
    /// The decoder reported errors in the frame.
    #[error(
        "the frame of {clip} at this moment is damaged, so parts of it may show another moment: label a moment at \
         least one second away"
    )]
    DamagedFrame {
        /// File name of the clip.
        clip: String,
    },
    /// All boxes are empty: the video signal was probably lost.
    #[error(
        "all boxes are empty in the frame of {clip} at this moment; the video signal was probably lost: label a moment \
         that shows the overlay"
    )]
    EmptyFrame {
        /// File name of the clip.
        clip: String,
    },
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::channel::Channel;

    #[test]
    fn a_rejected_label_is_named_as_given_with_what_to_do_next() {
        let label = LabelledReading { channel: Channel::Speed, time_s: 99.5, text: "63".into() };
        let problem = LabelProblem::AfterTheEnd { clip: "flight.avi".into(), end_s: 75.96 };
        assert_eq!(
            RejectedLabel { label, problem }.to_string(),
            "speed@99.5=63: flight.avi ends at 75.96 s: label an earlier time"
        );
    }
}

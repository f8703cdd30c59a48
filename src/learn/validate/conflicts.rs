//! Labels that contradict the others: how they are found, and how they are shown to the pilot.

use std::fmt;

use image::GrayImage;

use super::leave_one_out::{LabelOdds, LeaveOneOut};
use crate::learn::examples::example::TrainingExample;
use crate::learn::labels::reading::LabelledReading;
use crate::learn::segment::cut_group::CutGroup;

/// Minimum log odds that a label is wrong (natural logarithm) for the label to be left out: it is more probably wrong than
/// right (docs/benchmarks.md states how many correct labels are suspected and how many wrong labels are missed).
const MIN_LOG_ODDS: f32 = 0.0;

/// The label that contradicts a suspect label most.
#[derive(Debug, Clone)]
pub struct ConflictingLabel {
    /// The label: text, channel and time.
    pub label: LabelledReading,
    /// Image of the label's region in the labelled frame.
    pub image: GrayImage,
}

/// A label that contradicts the other labels.
#[derive(Debug, Clone)]
pub struct SuspectLabel {
    /// The label: text, channel and time.
    pub label: LabelledReading,
    /// The most probable text of the image, judged by the digits of the other labels.
    pub likely_text: String,
    /// Image of the label's region in the labelled frame.
    pub image: GrayImage,
    /// Whether the label has more characters than fit into the readout's box.
    pub is_too_long: bool,
    /// The label that contradicts the suspect label most; `None` if no other label contradicts it, only its length or the shape
    /// prior.
    pub conflicting: Option<ConflictingLabel>,
}

impl fmt::Display for SuspectLabel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { label, likely_text, is_too_long, .. } = self;
        write!(f, "{label}: the readout seems to show {likely_text}")?;
        match &self.conflicting {
            Some(other) => write!(f, " (compare {})", other.label),
            None if *is_too_long => write!(f, ", because the label is too long for the box"),
            None => write!(f, ", judging by the shapes of its digits"),
        }
    }
}

impl SuspectLabel {
    /// Describes the label with the given odds as suspect, with its image from `examples`.
    pub(crate) fn of(odds: &LabelOdds, examples: &[TrainingExample]) -> Self {
        let example = &examples[odds.label_index];
        let conflicting = odds.conflicting.map(|index| &examples[index]);
        Self {
            label: example.label.clone(),
            likely_text: odds.likely_text.clone(),
            image: example.centre.crop(),
            is_too_long: odds.is_too_long,
            conflicting: conflicting
                .map(|other| ConflictingLabel { label: other.label.clone(), image: other.centre.crop() }),
        }
    }
}

/// The labels that contradict the others, except those that the pilot insists on. The most suspect label is removed
/// before the next one is searched for, since a wrong label distorts the class means. `is_insisted` is called with
/// the index of a label.
pub(crate) fn conflicting_labels(
    groups: &[CutGroup<'_>],
    is_insisted: impl Fn(usize) -> bool,
) -> Vec<LabelOdds> {
    let mut found = Vec::new();
    for group in groups {
        let mut labels = LeaveOneOut::of(group);
        while let Some(worst) = most_suspect(&labels, &is_insisted) {
            labels.remove(worst.label_index);
            found.push(worst);
        }
    }
    found
}

fn most_suspect(labels: &LeaveOneOut<'_>, is_insisted: impl Fn(usize) -> bool) -> Option<LabelOdds> {
    let all = labels.odds_of_all().into_iter();
    let mut suspects = all.take_while(|odds| odds.log_odds > MIN_LOG_ODDS);
    suspects.find(|odds| !is_insisted(odds.label_index))
}

//! A labelled reading with the images of its region.

use crate::learn::labels::reading::LabelledReading;
use crate::recognise::Patch;

/// A labelled reading with its region in the labelled frame and in some frames before and after it.
#[derive(Debug, Clone)]
pub struct TrainingExample {
    /// The label.
    pub label: LabelledReading,
    /// The region in the labelled frame.
    pub centre: Patch,
    /// The region in the frames before, nearest first.
    pub before: Vec<Patch>,
    /// The region in the frames after, nearest first.
    pub after: Vec<Patch>,
}

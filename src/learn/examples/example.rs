//! A labelled reading with the images of its region.

use crate::learn::labels::reading::LabelledReading;
use crate::recognise::Patch;

/// A labelled reading with its region in the labelled frame and in some frames before and after it.
#[derive(Debug, Clone)]
pub struct TrainingExample {
    /// The label: text, channel and time.
    pub label: LabelledReading,
    /// Pixels of the region in the labelled frame.
    pub centre: Patch,
    /// Pixels of the region in the frames before the labelled frame, nearest first.
    pub before: Vec<Patch>,
    /// Pixels of the region in the frames after the labelled frame, nearest first.
    pub after: Vec<Patch>,
}

//! Learns the glyphs of an overlay from a few labelled readings.
//!
//! The folders are in the order of the work; none imports from a later one:
//!
//! 1. `labels`: the labels of the pilot, their format and their file.
//! 2. `examples`: the images of the labelled regions, fetched from the clips.
//! 3. `group`: groups the regions by text height and computes their features.
//! 4. `layout`: computes pitch and positions of the characters from the strokes of the labelled texts.
//! 5. `cut`: cuts single characters, and measures how similar the cuts of each character are.
//! 6. `align`: shifts the texts onto each other, and chooses the layout with the best agreement.
//! 7. `segment`: does all of this for one group; selects frames, removes the static background, separates
//!    faces.
//! 8. `validate`: finds labels that contradict the others; these are left out.
//! 9. `average`: averages the cuts to first glyphs, and the characters that these read in the sample to final
//!    glyphs.
//! 10. `requests`: proposes what to label next.

mod align;
mod average;
mod cut;
mod error;
mod examples;
mod group;
mod labels;
mod layout;
mod requests;
mod segment;
mod train;
mod validate;

use crate::glyphs::GlyphSet;
use crate::model::channel::Channel;
use crate::recognise::Sample;
use crate::setup::Region;

pub use error::LearnError;
pub use examples::example::TrainingExample;
pub use examples::fetch::{ExampleError, FetchedExamples, fetch_examples, open_clip};
use group::stroke_rows::{StrokeRows, stroke_rows};
pub use labels::adapted::adapted_to;
pub use labels::file::{LabelFile, LabelFileError, StoredLabel};
pub use labels::format::LabelFormatError;
pub use labels::reading::{LabelMoment, LabelledReading};
pub use labels::rejected::{LabelProblem, RejectedLabel};
use requests::next_requests;
pub use requests::{LabelRequest, first_requests};
use train::{TrainedSet, Training};
pub use validate::conflicts::{ConflictingLabel, SuspectLabel};

/// Digits of a face without a glyph.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MissingDigits {
    /// The channels of the face; empty if the face is for all channels.
    pub channels: Vec<Channel>,
    /// The digits.
    pub digits: Vec<char>,
}

/// The result of learning.
#[derive(Debug, Clone)]
pub struct LearnedGlyphs {
    /// The glyph set.
    pub set: GlyphSet,
    /// Digits that still have no glyph, with the channels of their face. If the list of channels is empty, the face
    /// is for all channels.
    pub missing: Vec<MissingDigits>,
    /// Labels that contradict the other labels. Nothing was learned from them.
    pub suspects: Vec<SuspectLabel>,
    /// Labels that cannot be used, and why.
    pub rejected: Vec<RejectedLabel>,
    /// Frames to label next: first those that probably show missing digits, then those that are read least certainly.
    /// Empty if no digit is missing.
    pub requests: Vec<LabelRequest>,
}

/// Learns a glyph set from training examples and a sample of the whole clip.
///
/// `sample` holds one list of patches for each of `regions`, in the same order. `insisted` has the channels
/// and times, in seconds, of labels that are used even if others contradict them.
///
/// # Errors
///
/// [`LearnError`] says why no glyphs can be learned.
pub fn learn_glyphs(
    name: &str,
    regions: &[Region],
    examples: &[TrainingExample],
    insisted: &[LabelMoment],
    sample: &Sample,
) -> Result<LearnedGlyphs, LearnError> {
    if examples.is_empty() {
        return Err(LearnError::NoLabels);
    }
    let rows = stroke_rows(regions, sample);
    let (usable, rejected) = usable_examples(regions, examples, &rows);
    if usable.is_empty() {
        return Err(LearnError::NoneUsable(rejected.first().map(ToString::to_string).unwrap_or_default()));
    }
    let training = Training { name, regions, sample, insisted, rows };
    let TrainedSet { set, first_recogniser, suspects } = training.learn(usable)?;
    let missing = set
        .faces
        .iter()
        .map(|face| MissingDigits { channels: face.channels.clone(), digits: face.missing_digits() });
    let missing: Vec<_> = missing.filter(|missing| !missing.digits.is_empty()).collect();
    let requests =
        if missing.is_empty() { Vec::new() } else { next_requests(regions, &first_recogniser, sample) };
    Ok(LearnedGlyphs { set, missing, suspects, rejected, requests })
}

/// Divides the examples into those whose region can show their label, which are returned first, and the others, whose
/// labels are returned with the reason. `rows` are the rows of the regions' strokes.
fn usable_examples(
    regions: &[Region],
    examples: &[TrainingExample],
    rows: &[Option<StrokeRows>],
) -> (Vec<TrainingExample>, Vec<RejectedLabel>) {
    let (mut usable, mut rejected) = (Vec::new(), Vec::new());
    for example in examples {
        let region = regions.iter().position(|region| region.channel == example.label.channel);
        let has_text = region.and_then(|region| rows.get(region)).is_some_and(Option::is_some);
        let problem = match labels::format::check(regions, &example.label) {
            Err(problem) => LabelProblem::Format(problem),
            Ok(()) if has_text => {
                usable.push(example.clone());
                continue;
            }
            Ok(()) => LabelProblem::NoText,
        };
        rejected.push(RejectedLabel { label: example.label.clone(), problem });
    }
    (usable, rejected)
}

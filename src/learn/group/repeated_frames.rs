//! Finds the frames around a labelled one that show the same text, judged by their similarity to the labelled
//! frame.
//!
//! This is a first estimate. [`hold_extent`](crate::learn::segment::hold_extent) refines it once glyphs are
//! known.

use ndarray::Array2;

use crate::learn::examples::example::TrainingExample;
use crate::recognise::HighPass;
use crate::recognise::{Patch, correlation};

/// A frame shows the same text as the labelled frame if their correlation is at most this much lower than that of the
/// labelled frame with the more similar of its two adjacent frames (set by judgement).
const MAX_CORRELATION_DROP: f32 = 0.06;

/// The labelled frame, then the frames before and after it up to the first that shows another text.
pub(crate) fn frames_with_same_text<'a>(
    example: &'a TrainingExample,
    factor: usize,
    high_pass: &HighPass,
) -> Vec<&'a Patch> {
    let features = |patch: &Patch| high_pass.apply(&patch.levels(factor));
    let centre = features(&example.centre);
    let similarity = |patch: &Patch| correlation(&features(patch), &centre);
    let rated = |patches: &'a [Patch]| -> Vec<(&'a Patch, f32)> {
        patches.iter().map(|patch| (patch, similarity(patch))).collect()
    };
    let (before, after) = (rated(&example.before), rated(&example.after));
    let nearest = before.first().into_iter().chain(after.first()).map(|one| one.1).fold(0.0, f32::max);
    let is_same = |one: &&(&Patch, f32)| one.1 > nearest - MAX_CORRELATION_DROP;
    let neighbours = before.iter().take_while(is_same).chain(after.iter().take_while(is_same));
    std::iter::once(&example.centre).chain(neighbours.map(|one| one.0)).collect()
}

/// Mean of the features of several frames.
pub(crate) fn mean_features(mut features: impl Iterator<Item = Array2<f32>>) -> Array2<f32> {
    let first = features.next().unwrap_or_default();
    let (sum, count) = features.fold((first, 1.0), |(sum, count), other| (sum + other, count + 1.0_f32));
    sum / count
}

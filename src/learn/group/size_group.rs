//! Regions with text of one size, with their training examples as features.

use std::collections::BTreeSet;

use ndarray::Array2;

use super::repeated_frames::{frames_with_same_text, mean_features};
use super::stroke_rows::StrokeRows;
use crate::learn::examples::example::TrainingExample;
use crate::recognise::working_factor;
use crate::recognise::{Background, Patch};
use crate::recognise::{HighPass, MARGIN_PX};
use crate::setup::Region;
use crate::stats::upper_median;

/// Maximum relative difference of the text heights of one group. The limit is wide, since the static
/// background disturbs the measured heights (set by judgement).
const MAX_HEIGHT_DIFFERENCE: f32 = 0.3;

/// Blank rows of a cell above and below the strokes, in working pixels (set by judgement).
pub(crate) const ROW_PADDING_PX: usize = 1;

/// Width of a cell divided by its height, for the high-pass filter as long as the pitch is not known (a usual
/// proportion of digits, no source).
const USUAL_CELL_ASPECT: f32 = 0.6;

/// Maximum number of training examples of each region that the text layout is computed from. More examples
/// change the layout little and take proportionally longer (set by judgement).
const MAX_LAYOUT_EXAMPLES: usize = 8;

/// The training examples of one region, at the working resolution of its size group. The lists have one entry
/// for each example.
pub(crate) struct RegionExamples<'a> {
    /// Index of the region in the setup.
    pub(crate) setup_index: usize,
    pub(crate) region: &'a Region,
    pub(crate) examples: Vec<&'a TrainingExample>,
    /// Index of each example among the examples of all regions.
    pub(crate) label_indices: Vec<usize>,
    /// For each example the frames that show its text, the labelled frame first.
    pub(crate) frames: Vec<Vec<&'a Patch>>,
    /// For each example the mean features of its `frames`, with `background` removed, in grey levels.
    pub(crate) features: Vec<Array2<f32>>,
    /// Static background and contrast by which the features were corrected.
    pub(crate) background: Background,
    /// Row of the region's window at which the cells begin, in working pixels.
    pub(crate) top: usize,
}

/// Regions with text of one size.
pub(crate) struct SizeGroup<'a> {
    pub(crate) regions: Vec<RegionExamples<'a>>,
    /// Height of a cell in working pixels.
    pub(crate) rows: usize,
    /// Frame pixels per working pixel, in each direction.
    pub(crate) factor: usize,
    pub(crate) high_pass: HighPass,
}

/// A region to be assigned to a size group.
#[derive(Clone, Copy)]
pub(crate) struct MeasuredRegion<'a> {
    /// Index of the region in the setup.
    pub(crate) setup_index: usize,
    pub(crate) region: &'a Region,
    pub(crate) rows: StrokeRows,
}

impl<'a> RegionExamples<'a> {
    fn of(
        member: &MeasuredRegion<'a>,
        examples: &'a [TrainingExample],
        rows: usize,
        factor: usize,
        high_pass: &HighPass,
    ) -> Self {
        let MeasuredRegion { setup_index, region, rows: StrokeRows { top_px, height_px } } = *member;
        let own = examples.iter().enumerate().filter(|(_, example)| example.label.channel == region.channel);
        let (label_indices, examples): (Vec<usize>, Vec<&TrainingExample>) = own.unzip();
        let frames: Vec<Vec<&Patch>> =
            examples.iter().map(|example| frames_with_same_text(example, factor, high_pass)).collect();
        let features = |patch: &&Patch| high_pass.apply(&patch.levels(factor));
        let features = frames.iter().map(|frames| mean_features(frames.iter().map(features))).collect();
        let middle = (top_px + 0.5 * height_px) / factor as f32 + MARGIN_PX as f32;
        let top = (middle - 0.5 * rows as f32).round().max(0.0) as usize;
        let background = Background::none();
        Self { setup_index, region, examples, label_indices, frames, features, background, top }
    }

    /// Indices of the examples that the text layout is computed from, at most [`MAX_LAYOUT_EXAMPLES`]. An example is
    /// preferred if its text has a character or a length that no earlier example has.
    fn layout_examples(&self) -> Vec<usize> {
        let (mut known, mut informative, mut others) = (BTreeSet::new(), Vec::new(), Vec::new());
        for (number, example) in self.examples.iter().enumerate() {
            let text = &example.label.text;
            let length = char::from_u32(text.len() as u32).unwrap_or_default();
            let new = text.chars().chain([length]).filter(|one| known.insert(*one)).count();
            if new > 0 { informative.push(number) } else { others.push(number) }
        }
        informative.extend(others);
        informative.truncate(MAX_LAYOUT_EXAMPLES);
        informative.sort_unstable();
        informative
    }

    fn with_layout_examples(&self) -> Self {
        let numbers = self.layout_examples();
        Self {
            examples: numbers.iter().map(|number| self.examples[*number]).collect(),
            label_indices: numbers.iter().map(|number| self.label_indices[*number]).collect(),
            frames: numbers.iter().map(|number| self.frames[*number].clone()).collect(),
            features: numbers.iter().map(|number| self.features[*number].clone()).collect(),
            background: self.background.clone(),
            ..*self
        }
    }
}

impl<'a> SizeGroup<'a> {
    /// A size group of some regions; its text height is the median height of their strokes.
    pub(crate) fn of(members: &[MeasuredRegion<'a>], examples: &'a [TrainingExample]) -> Self {
        let mut heights_px: Vec<f32> = members.iter().map(|member| member.rows.height_px).collect();
        let height_px = upper_median(&mut heights_px).unwrap_or(1.0);
        let factor = working_factor(height_px);
        let rows = (height_px / factor as f32).round() as usize + 2 * ROW_PADDING_PX;
        let high_pass = HighPass::for_cell_width(USUAL_CELL_ASPECT * rows as f32);
        let region = |member| RegionExamples::of(member, examples, rows, factor, &high_pass);
        let regions = members.iter().map(region).collect();
        Self { regions, rows, factor, high_pass }
    }

    /// The same group with at most [`MAX_LAYOUT_EXAMPLES`] examples of each region.
    pub(crate) fn with_layout_examples(&self) -> Self {
        let regions = self.regions.iter().map(RegionExamples::with_layout_examples).collect();
        Self { regions, high_pass: self.high_pass.clone(), ..*self }
    }

    /// Features of the window of a patch.
    pub(crate) fn features(&self, patch: &Patch) -> Array2<f32> {
        self.high_pass.apply(&patch.levels(self.factor))
    }

    /// Height of the strokes in frame pixels.
    pub(crate) fn height_px(&self) -> f32 {
        ((self.rows - 2 * ROW_PADDING_PX) * self.factor) as f32
    }

    /// First row of the strokes, in frame pixels from the top of the box. `top` is the row of the window at
    /// which the cells begin, in working pixels.
    pub(crate) fn stroke_top_px(&self, top: usize) -> f32 {
        ((top + ROW_PADDING_PX) as f32 - MARGIN_PX as f32) * self.factor as f32
    }
}

/// Groups the labelled regions by the height of their strokes.
pub(crate) fn group_by_height<'a>(
    regions: &'a [Region],
    examples: &'a [TrainingExample],
    rows: &[Option<StrokeRows>],
) -> Vec<SizeGroup<'a>> {
    let mut by_height: Vec<(f32, Vec<MeasuredRegion<'_>>)> = Vec::new();
    for (setup_index, (region, rows)) in regions.iter().zip(rows).enumerate() {
        if !examples.iter().any(|example| example.label.channel == region.channel) {
            continue;
        }
        let Some(rows) = *rows else { continue };
        let is_same = |(height, _): &&mut (f32, Vec<_>)| {
            (rows.height_px / *height - 1.0).abs() <= MAX_HEIGHT_DIFFERENCE
        };
        let member = MeasuredRegion { setup_index, region, rows };
        match by_height.iter_mut().find(is_same) {
            Some((_, members)) => members.push(member),
            None => by_height.push((rows.height_px, vec![member])),
        }
    }
    by_height.into_iter().map(|(_, members)| SizeGroup::of(&members, examples)).collect()
}

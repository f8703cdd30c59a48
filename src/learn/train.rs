//! Training: computes glyphs from examples and sample, and leaves conflicting labels out.

use super::average::{first_face, refine_glyphs};
use super::error::LearnError;
use super::examples::example::TrainingExample;
use super::group::size_group::group_by_height;
use super::group::stroke_rows::StrokeRows;
use super::labels::reading::LabelMoment;
use super::segment::common_height::common_heights;
use super::segment::cut_group::CutGroup;
use super::segment::split_faces::cut_by_face;
use super::validate::conflicts::{SuspectLabel, conflicting_labels};
use super::validate::leave_one_out::LabelOdds;
use crate::glyphs::{Face, GlyphSet};
use crate::recognise::{Recogniser, Sample};
use crate::setup::Region;

/// Maximum number of times that conflicting labels are left out and the remaining examples are cut again.
/// Repeating is needed because a wrong label can spoil the layout of all texts (set by judgement).
const MAX_ROUNDS: usize = 3;

/// Inputs of learning other than the training examples.
pub(crate) struct Training<'a> {
    /// Name of the glyph set.
    pub(crate) name: &'a str,
    pub(crate) regions: &'a [Region],
    pub(crate) sample: &'a Sample,
    /// Channels and times, in seconds, of the labels that are used although others contradict them.
    pub(crate) insisted: &'a [LabelMoment],
    /// Measured rows of the strokes of every region; `None` where no strokes are visible.
    pub(crate) rows: Vec<Option<StrokeRows>>,
}

/// The training examples of all regions, cut into characters.
struct CutExamples<'a> {
    groups: Vec<CutGroup<'a>>,
    /// Rows of the strokes of every region, corrected for static background.
    rows: Vec<Option<StrokeRows>>,
}

/// The result of a training.
pub(crate) struct TrainedSet {
    pub(crate) set: GlyphSet,
    /// The recogniser that read the sample with the first glyphs, which were made from the examples alone.
    pub(crate) first_recogniser: Recogniser,
    /// Labels that contradict the other labels. Nothing was learned from them.
    pub(crate) suspects: Vec<SuspectLabel>,
}

impl Training<'_> {
    /// Learns a glyph set from the labels that agree with each other.
    ///
    /// # Errors
    ///
    /// [`LearnError::TooFewAgree`] if fewer than two labels agree, or if there is only one and it contradicts
    /// the shape prior, and [`LearnError::NoLayout`] if texts do not fit into their boxes.
    pub(crate) fn learn(&self, mut examples: Vec<TrainingExample>) -> Result<TrainedSet, LearnError> {
        let (labels, mut suspects) = (examples.len(), Vec::new());
        for round in 0.. {
            let cut = self.cut(&examples)?;
            let is_insisted = |label: usize| self.is_insisted(&examples[label]);
            let found =
                if round < MAX_ROUNDS { conflicting_labels(&cut.groups, is_insisted) } else { Vec::new() };
            if found.is_empty() {
                let (set, first_recogniser) = self.glyphs_of(&cut);
                return Ok(TrainedSet { set, first_recogniser, suspects });
            }
            suspects.extend(found.iter().map(|odds| SuspectLabel::of(odds, &examples)));
            drop(cut);
            examples = without(examples, &found);
            if examples.len() < labels.min(2) {
                break;
            }
        }
        let first = suspects.first().map(SuspectLabel::to_string).unwrap_or_default();
        Err(LearnError::TooFewAgree { labels, first })
    }

    fn is_insisted(&self, TrainingExample { label, .. }: &TrainingExample) -> bool {
        self.insisted
            .iter()
            .any(|insisted| insisted.channel == label.channel && insisted.time_s == label.time_s)
    }

    fn cut<'a>(&'a self, examples: &'a [TrainingExample]) -> Result<CutExamples<'a>, LearnError> {
        let rows = common_heights(self.regions, examples, &self.rows)?;
        let mut groups = Vec::new();
        for group in group_by_height(self.regions, examples, &rows) {
            groups.extend(cut_by_face(group, examples, &rows)?);
        }
        Ok(CutExamples { groups, rows })
    }

    /// Makes the first glyphs by averaging the cuts, reads the sample with them, and averages the characters that are
    /// read with confidence. Returns the final glyph set, and the recogniser with the first glyphs.
    fn glyphs_of(&self, CutExamples { groups, rows }: &CutExamples<'_>) -> (GlyphSet, Recogniser) {
        let mut faces: Vec<Face> = groups.iter().map(first_face).collect();
        assign_channels(&mut faces, self.regions, rows);
        let set = GlyphSet { name: self.name.to_owned(), faces, any_size: false };
        let first = Recogniser::calibrate(self.regions, std::slice::from_ref(&set), self.sample);
        let set = refine_glyphs(set, groups, self.regions, &first, self.sample);
        (set, first)
    }
}

/// The examples without those whose labels are in `found`.
fn without(examples: Vec<TrainingExample>, found: &[LabelOdds]) -> Vec<TrainingExample> {
    let is_kept = |index: &usize| found.iter().all(|odds| odds.label_index != *index);
    let kept = examples.into_iter().enumerate().filter(|(index, _)| is_kept(index));
    kept.map(|(_, example)| example).collect()
}

/// Assigns the channels to the faces. A single face is used for all channels, and its list of channels stays empty.
/// If there are several faces, a channel without labels gets the face with the nearest text height.
fn assign_channels(faces: &mut [Face], regions: &[Region], rows: &[Option<StrokeRows>]) {
    if let [only] = faces {
        only.channels.clear();
        return;
    }
    for (region, rows) in regions.iter().zip(rows) {
        let known = faces.iter().any(|face| face.channels.contains(&region.channel));
        let Some(rows) = rows.as_ref().filter(|_| !known) else { continue };
        let distance = |face: &&mut Face| (face.cell.1 as f32 - rows.height_px).abs();
        if let Some(face) = faces.iter_mut().min_by(|a, b| distance(a).total_cmp(&distance(b))) {
            face.channels.push(region.channel.clone());
        }
    }
}

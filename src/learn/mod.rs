//! Learning the shapes of an overlay's characters from a few labelled readings.
//!
//! The labelled texts say where strokes must be ([`layout`]); the characters cut there are aligned to each other
//! ([`align`]). A label that the digits of the other readings contradict is left out ([`evidence`]); from the others the
//! sample of the whole clip is read, and the characters that are read surely are averaged into clean glyphs ([`faces`]).

mod align;
mod apart;
mod ask;
mod behind;
mod evidence;
mod faces;
mod form;
mod group;
mod heights;
mod hold;
mod layout;
mod locate;
mod moments;
mod rejected;
mod suspects;
mod told_file;

use image::GrayImage;
use thiserror::Error;

use crate::glyphs::{Face, GlyphSet};
use crate::model::channel::Channel;
use crate::recognise::{Patch, Recogniser, Sample};
use crate::setup::Region;

use align::CharacterCut;
pub use ask::first_requests;
use faces::{cleaned, face_of};
pub use form::LabelFormatError;
use group::{Group, group_by_height};
use heights::{InkRows, heights_agreed, text_rows};
pub use moments::{ExampleError, FetchedExamples, fetch_examples, open_clip};
pub use rejected::{LabelProblem, RejectedLabel};
pub use suspects::{ConflictingLabel, SuspectLabel};
pub use told_file::{LabelFile, LabelFileError, StoredLabel};

/// A reading labelled by the pilot.
#[derive(Debug, Clone, PartialEq)]
pub struct LabelledReading {
    /// The channel.
    pub channel: Channel,
    /// Time in seconds from the clip's first frame.
    pub time_s: f64,
    /// What the overlay shows there.
    pub text: String,
}

impl std::fmt::Display for LabelledReading {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}@{}={}", self.channel.name(), self.time_s, self.text)
    }
}

/// A labelled reading with the pictures of its region: the frame labelled and some before and after it.
#[derive(Debug, Clone)]
pub struct TrainingExample {
    /// The label.
    pub label: LabelledReading,
    /// The region at the labelled time.
    pub centre: Patch,
    /// The region in the frames before, nearest first.
    pub before: Vec<Patch>,
    /// The region in the frames after, nearest first.
    pub after: Vec<Patch>,
}

/// A moment worth labelling next.
#[derive(Debug, Clone)]
pub struct LabelRequest {
    /// The channel.
    pub channel: Channel,
    /// Time in seconds from the clip's first frame.
    pub time_s: f64,
    /// What the region shows then.
    pub image: GrayImage,
}

/// What was learned.
#[derive(Debug, Clone)]
pub struct LearnedGlyphs {
    /// The glyph set.
    pub set: GlyphSet,
    /// Digits not seen yet, with the channels of their face (empty: all channels).
    pub missing: Vec<(Vec<Channel>, Vec<char>)>,
    /// Labels that the others contradict; nothing was learned from them.
    pub suspects: Vec<SuspectLabel>,
    /// Labels that cannot be used, and why.
    pub rejected: Vec<RejectedLabel>,
    /// Moments that show shapes not known yet, most useful first.
    pub requests: Vec<LabelRequest>,
}

/// Why nothing could be learned.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum LearnError {
    /// No label was given.
    #[error("no reading is labelled: give at least one, for example --say speed@12.4=63")]
    NoLabels,
    /// No label can be used.
    #[error("none of the labels can be used: {0}")]
    NoneUsable(String),
    /// Fewer than two labels agree.
    #[error(
        "{}, so nothing is learned: {first}. Look again with `pairspeed inspect CLIP --setup FILE --at SECONDS`, or \
         insist with `--insist CHANNEL@SECONDS`",
        too_few_agree(*labels)
    )]
    NoneAgree {
        /// Labels that could be used.
        labels: usize,
        /// What is said of the first of them.
        first: String,
    },
    /// The labelled texts fit no layout.
    #[error(
        "the readings labelled for {channels} do not fit into their boxes: check the texts and whether the boxes hold the widest value"
    )]
    NoLayout {
        /// The channels.
        channels: String,
    },
}

fn too_few_agree(labels: usize) -> String {
    match labels {
        1 => "the only label is contradicted".to_owned(),
        _ => format!("fewer than two of {labels} labels agree"),
    }
}

/// Learns a glyph set from labelled readings and a sample of the whole clip.
///
/// `sample` holds a list of patches for each of `regions`, in their order. Labels at the moments in `insisted` are
/// learned from whatever speaks against them.
///
/// # Errors
/// [`LearnError`] says what is unusable and why.
pub fn learn_glyphs(
    name: &str,
    regions: &[Region],
    moments: &[TrainingExample],
    insisted: &[(Channel, f64)],
    sample: &Sample,
) -> Result<LearnedGlyphs, LearnError> {
    if moments.is_empty() {
        return Err(LearnError::NoLabels);
    }
    let rows = text_rows(regions, sample);
    let (usable, rejected) = usable(regions, moments, &rows);
    if usable.is_empty() {
        return Err(LearnError::NoneUsable(rejected.first().map(ToString::to_string).unwrap_or_default()));
    }
    let course = Course { name, regions, sample, insisted, rows };
    let (Learned { set, first }, suspects) = course.learn_from_agreeing(usable)?;
    let missing = set.faces.iter().map(|face| (face.channels.clone(), face.missing_digits()));
    let missing: Vec<_> = missing.filter(|(_, digits)| !digits.is_empty()).collect();
    let requests = if missing.is_empty() { Vec::new() } else { ask::requests(regions, &first, sample) };
    Ok(LearnedGlyphs { set, missing, suspects, rejected, requests })
}

/// Labels that can be texts of their regions, and those that cannot. `rows` are those of the regions' texts.
fn usable(
    regions: &[Region],
    moments: &[TrainingExample],
    rows: &[Option<InkRows>],
) -> (Vec<TrainingExample>, Vec<RejectedLabel>) {
    let (mut usable, mut rejected) = (Vec::new(), Vec::new());
    for moment in moments {
        let region = regions.iter().position(|region| region.channel == moment.label.channel);
        let has_text = region.and_then(|region| rows.get(region)).is_some_and(Option::is_some);
        let problem = match form::check(regions, &moment.label) {
            Err(problem) => LabelProblem::Format(problem),
            Ok(()) if has_text => {
                usable.push(moment.clone());
                continue;
            }
            Ok(()) => LabelProblem::NoText,
        };
        rejected.push(RejectedLabel { label: moment.label.clone(), problem });
    }
    (usable, rejected)
}

/// What is learned from, labels apart.
struct Course<'a> {
    name: &'a str,
    regions: &'a [Region],
    sample: &'a Sample,
    insisted: &'a [(Channel, f64)],
    /// Rows of the text of every region, as far as strokes stand out.
    rows: Vec<Option<InkRows>>,
}

/// Regions of one size of type with the characters cut from their labels.
type CutGroup<'a> = (Group<'a>, Vec<CharacterCut>);

/// All of these, and the rows of every region's text.
type AllCut<'a> = (Vec<CutGroup<'a>>, Vec<Option<InkRows>>);

/// A glyph set, and the recogniser that read the sample for it with the first, unclean glyphs.
struct Learned {
    set: GlyphSet,
    first: Recogniser,
}

impl Course<'_> {
    fn cut<'a>(&'a self, moments: &'a [TrainingExample]) -> Result<AllCut<'a>, LearnError> {
        let heights = heights_agreed(self.regions, moments, &self.rows)?;
        let mut groups = Vec::new();
        for group in group_by_height(self.regions, moments, &heights) {
            groups.extend(apart::cut_by_face(group, moments, &heights)?);
        }
        Ok((groups, heights))
    }

    fn learn(&self, (groups, heights): &AllCut<'_>) -> Learned {
        let mut faces: Vec<Face> = groups.iter().map(|(group, cuts)| face_of(group, cuts)).collect();
        name_channels(&mut faces, self.regions, heights);
        let set = GlyphSet { name: self.name.to_owned(), faces, any_size: false };
        let first = Recogniser::calibrate(self.regions, std::slice::from_ref(&set), self.sample);
        let set = cleaned(set, groups, self.regions, &first, self.sample);
        Learned { set, first }
    }
}

/// One face serves every channel; of several, each channel not told goes with the nearest height.
fn name_channels(faces: &mut [Face], regions: &[Region], heights: &[Option<InkRows>]) {
    if let [only] = faces {
        only.channels.clear();
        return;
    }
    for (region, rows) in regions.iter().zip(heights) {
        let known = faces.iter().any(|face| face.channels.contains(&region.channel));
        let Some(rows) = rows.as_ref().filter(|_| !known) else { continue };
        let distance = |face: &&mut Face| (face.cell.1 as f32 - rows.height_px).abs();
        if let Some(face) = faces.iter_mut().min_by(|a, b| distance(a).total_cmp(&distance(b))) {
            face.channels.push(region.channel.clone());
        }
    }
}

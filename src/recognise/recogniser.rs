//! The recogniser: reads the regions of a setup in the frames of one recording.

use arrayvec::ArrayVec;
use rayon::prelude::*;

use super::decode::Decoder;
use super::decode::decoded::{Decoded, DecodedCharacter};
use super::decode::legibility::{evaluate_shape_prior, is_legible, is_refuted_by_shape};
use super::decode::margins::{DigitMargins, penalise_unseen};
use super::features::high_pass::HighPass;
use super::features::sample::{Patch, Sample};
use super::features::scratch;
use super::features::window::Window;
use super::observation::{
    CONFIDENT, LikelihoodModel, Observation, RegionReading, TextLegibility, confidence_of,
};
use super::region_cache::RegionCache;
use super::registration::register_all;
use super::score::background::Background;
use super::templates::alphabet::Alphabet;
use super::templates::column_mask::ColumnMask;
use super::text::grammar::Grammar;
use super::text::placement::Placement;
use super::training::lines::TrainingLine;
use super::training::pseudo_labels::is_pseudo_label;
use super::training::{FaceModel, train};
use crate::footage::{LumaImage as _, LumaPlane};
use crate::geometry::PixelRect;
use crate::glyphs::GlyphSet;
use crate::model::channel::Channel;
use crate::setup::Region;

/// One region, with the results of its calibration.
#[derive(Debug, Clone)]
struct RegionModel {
    channel: Channel,
    grammar: Grammar,
    /// Position and face of the region's text; `None` if no known glyphs fit.
    location: Option<RegionLocation>,
    background: Background,
    /// Digits that occur fewer than twice in this region's pseudo-labels. Margins over these digits get the
    /// margin penalty.
    unseen: ArrayVec<char, 10>,
}

/// Position and face of a region's text.
#[derive(Debug, Clone)]
struct RegionLocation {
    window: Window,
    placement: Placement,
    mask: ColumnMask,
    /// Index of the region's face in `Recogniser::faces`.
    face: usize,
}

/// Reads the regions of a setup in the frames of one recording.
#[derive(Debug, Clone)]
pub struct Recogniser {
    faces: Vec<FaceModel>,
    regions: Vec<RegionModel>,
}

impl Recogniser {
    /// Prepares for a recording: finds the face and position of every region's text in the sample, then
    /// trains the templates and the noise on the sample.
    #[must_use]
    pub fn calibrate(regions: &[Region], sets: &[GlyphSet], sample: &Sample) -> Self {
        let registered = register_all(regions, sets, sample);
        let mut models = Vec::new();
        let alphabets = registered.faces.into_iter().map(|known| known.alphabet);
        let faces: Vec<FaceModel> = alphabets.filter_map(FaceModel::new).collect();
        for (region, found) in regions.iter().zip(&registered.regions) {
            let (channel, grammar) = (region.channel.clone(), Grammar::of(region));
            let location = found.as_ref().map(|found| {
                let (alphabet, placement) = (&faces[found.face].alphabet, found.registration.placement);
                let window = Window::new(region.rect, alphabet.factor);
                let mask = ColumnMask::new(alphabet, &grammar, &placement, window.cols);
                RegionLocation { window, placement, mask, face: found.face }
            });
            let (background, unseen) = (Background::none(), ArrayVec::new());
            models.push(RegionModel { channel, grammar, location, background, unseen });
        }
        let mut recogniser = Self { faces, regions: models };
        for face in 0..recogniser.faces.len() {
            recogniser.train_face(face, sample);
        }
        recogniser
    }

    /// Trains one face on the samples of all regions whose text has this face.
    fn train_face(&mut self, index: usize, sample: &Sample) {
        let Some(face) = self.faces.get(index) else { return };
        let samples = self.regions.iter().zip(&sample.regions).enumerate();
        let lines = samples.filter_map(|(number, (region, patches))| {
            let RegionLocation { window, placement, mask, face: face_index } = region.location.as_ref()?;
            (*face_index == index).then_some(())?;
            let features_of = |patch: &Patch| face.alphabet.high_pass.apply(&patch.levels(window.factor));
            let features: Vec<_> = patches.par_iter().map(features_of).collect();
            Some(TrainingLine {
                index: number,
                grammar: &region.grammar,
                placement: *placement,
                mask,
                foreground: features.clone(),
                features,
                background: Background::none(),
                margins: DigitMargins::default(),
            })
        });
        let (model, trained) = train(face, lines.collect());
        for region in trained {
            self.regions[region.index].background = region.background;
            self.regions[region.index].unseen = region.unseen;
        }
        self.faces[index] = model;
    }

    /// Channels whose regions show no known glyphs.
    #[must_use]
    pub fn unread_channels(&self) -> Vec<&Channel> {
        let unread = self.regions.iter().filter(|region| region.location.is_none());
        unread.map(|region| &region.channel).collect()
    }

    /// Digits without a glyph in the face of a channel, in ascending order; empty if all have one, or if the
    /// channel's region shows no known glyphs.
    #[must_use]
    pub fn unknown_digits(&self, channel: &Channel) -> String {
        let region = self.regions.iter().find(|region| region.channel == *channel);
        let alphabet = region.and_then(|region| self.alphabet_of(region));
        alphabet.into_iter().flat_map(Alphabet::missing_digits).collect()
    }

    fn alphabet_of(&self, region: &RegionModel) -> Option<&Alphabet> {
        Some(&self.faces.get(region.location.as_ref()?.face)?.alphabet)
    }

    /// The rectangles of a frame that are needed to read the regions.
    #[must_use]
    pub fn areas(&self) -> Vec<PixelRect> {
        self.regions.iter().filter_map(|region| Some(region.location.as_ref()?.window.area())).collect()
    }

    /// Reads all regions of a frame, in the order of the setup.
    #[must_use]
    pub fn read(&self, luma: LumaPlane<'_>) -> Vec<RegionReading> {
        self.regions.iter().map(|region| self.read_region(region, luma)).collect()
    }

    /// Observes all regions of a frame, in the order of the setup. A region whose pixels equal those of the
    /// previous frame keeps its observation.
    #[must_use]
    pub fn observe(&self, cache: &mut RegionCache, luma: LumaPlane<'_>) -> Vec<Observation> {
        let observation = |(number, region): (usize, &RegionModel)| match &region.location {
            Some(RegionLocation { window, .. }) => {
                cache.get_or_observe(number, (window, luma), || self.observe_region(region, luma))
            }
            None => Observation::nothing(),
        };
        self.regions.iter().enumerate().map(observation).collect()
    }

    fn observe_region(&self, region: &RegionModel, luma: LumaPlane<'_>) -> Observation {
        let observation = || {
            let RegionLocation { window, face, .. } = region.location.as_ref()?;
            let FaceModel { alphabet, matcher, .. } = &self.faces[*face];
            let decoded = self.decoded(region, luma, window)?;
            let legibility = match is_legible(&decoded, alphabet) {
                true => TextLegibility::Legible,
                false if alphabet.has_all_digits() => TextLegibility::Illegible,
                false => TextLegibility::UnknownDigit,
            };
            let model = LikelihoodModel { alphabet, matcher, contrast: region.background.contrast };
            Some(Observation::of(&decoded, legibility, &region.grammar, &model))
        };
        observation().unwrap_or_else(Observation::nothing)
    }

    /// Reads all regions of a frame given as an image, in the order of the setup.
    #[must_use]
    pub fn read_frame(&self, frame: &image::GrayImage) -> Vec<RegionReading> {
        self.read(LumaPlane::of(frame))
    }

    fn read_region(&self, region: &RegionModel, luma: LumaPlane<'_>) -> RegionReading {
        let Some(RegionLocation { window, .. }) = &region.location else { return RegionReading::Nothing };
        self.reading(region, self.decoded(region, luma, window))
    }

    fn reading(&self, region: &RegionModel, decoded: Option<Decoded>) -> RegionReading {
        match (decoded, self.alphabet_of(region)) {
            (Some(decoded), Some(alphabet)) => RegionReading::of(&decoded, &region.grammar, alphabet),
            _ => RegionReading::Nothing,
        }
    }

    /// Decodes the text of a region at its window in a luma plane. Only the rows of the window that contain
    /// the text are processed. `None` if the text was not located in the sample, or none scores above 0.
    fn decoded(&self, region: &RegionModel, luma: LumaPlane<'_>, window: &Window) -> Option<Decoded> {
        let RegionLocation { placement, mask, face, .. } = region.location.as_ref()?;
        let FaceModel { alphabet, matcher, unseen_margin_penalty, .. } = &self.faces[*face];
        let radius = alphabet.high_pass.radius();
        let first = placement.top.saturating_sub(radius);
        let levels = window.cut_rows(luma, first..(placement.top + alphabet.rows + radius).min(window.rows));
        let top = placement.top - first;
        let features = alphabet.high_pass.apply_to_rows(&levels, top..top + alphabet.rows);
        scratch::recycle(levels);
        let rows = placement.top..placement.top + alphabet.rows;
        let features = region.background.subtract_from_rows(features, rows);
        let decoder = Decoder { alphabet, scorer: matcher, grammar: &region.grammar, mask: Some(mask) };
        let decoded = decoder.decode(&features, &Placement { top: 0, ..*placement });
        let decoded = decoded.map(|decoded| {
            let mut decoded = decoded.at_contrast(region.background.contrast);
            penalise_unseen(&mut decoded.characters, alphabet, &region.unseen, *unseen_margin_penalty);
            evaluate_shape_prior(&mut decoded, alphabet, (&features, 0));
            decoded
        });
        scratch::recycle(features);
        decoded.filter(|decoded| decoded.score > 0.0)
    }

    fn decoded_patch(&self, region: &RegionModel, patch: &Patch) -> Option<Decoded> {
        let factor = region.location.as_ref()?.window.factor;
        self.decoded(region, patch.luma(), &patch.window(factor))
    }

    /// Reads a region in one frame of the sample.
    pub fn read_patch(&self, region: usize, patch: &Patch) -> RegionReading {
        let Some(region) = self.regions.get(region) else { return RegionReading::Nothing };
        self.reading(region, self.decoded_patch(region, patch))
    }

    /// Measures what a region shows in one frame of the sample, to decide what to label next; `None` if it
    /// shows no text.
    pub(crate) fn assess_patch(&self, region: usize, patch: &Patch) -> Option<PatchAssessment> {
        let region = self.regions.get(region)?;
        let alphabet = self.alphabet_of(region)?;
        let decoded = self.decoded_patch(region, patch)?;
        let mut missing_digits = [0.0; 10];
        for digit in alphabet.missing_digits().filter_map(|digit| digit.to_digit(10)) {
            let digit = digit as usize;
            let by_character =
                decoded.characters.iter().filter_map(|character| character.shape_probabilities);
            missing_digits[digit] =
                by_character.map(|probabilities| probabilities[digit]).fold(0.0, f32::max);
        }
        let min_correlation = decoded.min_correlation();
        let reading = RegionReading::of(&decoded, &region.grammar, alphabet);
        Some(PatchAssessment { reading, min_correlation, missing_digits })
    }

    /// Whether the texts of two regions have the same face.
    pub(crate) fn share_face(&self, one: usize, other: usize) -> bool {
        let face = |region: usize| Some(self.regions.get(region)?.location.as_ref()?.face);
        one == other || (face(one).is_some() && face(one) == face(other))
    }

    /// Static background of a region, the high-pass filter of its features, and the number of frame pixels
    /// per working pixel in each direction; `None` if the region shows no known glyphs.
    pub(crate) fn background_of(&self, region: usize) -> Option<(&Background, &HighPass, usize)> {
        let region = self.regions.get(region)?;
        let Alphabet { high_pass, factor, .. } = self.alphabet_of(region)?;
        Some((&region.background, high_pass, *factor))
    }

    /// The characters that a region shows in one frame of the sample, with their positions; empty unless the text is
    /// read with high confidence.
    pub(crate) fn confident_characters(&self, region: usize, patch: &Patch) -> Vec<CharacterPosition> {
        let characters = || {
            let region = self.regions.get(region)?;
            let RegionLocation { placement, face, .. } = region.location.as_ref()?;
            let FaceModel { alphabet, max_t2, .. } = &self.faces[*face];
            let decoded = self.decoded_patch(region, patch)?;
            let is_confident = confidence_of(&decoded) > CONFIDENT
                && is_pseudo_label(&decoded, *max_t2)
                && !is_refuted_by_shape(&decoded, alphabet);
            let position = |found: &DecodedCharacter| CharacterPosition {
                character: found.character,
                top: placement.top,
                left: found.left,
            };
            is_confident.then(|| decoded.characters.iter().map(position).collect())
        };
        characters().unwrap_or_default()
    }
}

/// A character, and the row and column of the top left corner of its cell in the region's window, in working
/// pixels.
#[derive(Debug, Clone, Copy)]
pub(crate) struct CharacterPosition {
    pub(crate) character: char,
    pub(crate) top: usize,
    pub(crate) left: f32,
}

/// What a region shows in one frame of the sample, measured to decide what to label next.
pub(crate) struct PatchAssessment {
    pub(crate) reading: RegionReading,
    /// Smallest correlation of a character of the text with its template, -1 to 1.
    pub(crate) min_correlation: f32,
    /// One entry for each of the digits 0 to 9. For a digit without a glyph, the entry is the probability
    /// from the shape prior that a character of the text is this digit, the largest over the characters. For
    /// a digit with a glyph it is 0.
    pub(crate) missing_digits: [f32; 10],
}

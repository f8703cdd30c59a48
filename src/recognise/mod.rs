//! Recognition: one region of one frame -> the text it shows, with a probability, or nothing.
//!
//! [`Recogniser::calibrate`] learns from a [`Sample`] of the clip where each text stands, what the
//! noise is like and how the glyphs look in this clip; [`Recogniser::read`] then reads frames.

pub mod alphabet;
mod blur;
mod calibrate;
pub mod decode;
mod drawn;
pub mod feature;
mod goodness_of_fit;
pub mod grammar;
pub mod ink;
mod legibility;
mod line;
mod margins;
pub mod matcher;
pub mod noise;
mod observation;
mod patches;
mod reach;
mod region_cache;
mod register;
mod sample;
mod scenery;
mod scores;
mod scratch;
mod shape_prior;
mod slide;
mod strokes;

use arrayvec::ArrayVec;
use ndarray::Array2;
use rayon::prelude::*;

use crate::footage::LumaPlane;
use crate::geometry::PixelRect;
use crate::glyphs::GlyphSet;
use crate::model::channel::Channel;
use crate::setup::Region;

use alphabet::Alphabet;
use calibrate::{Believed, is_believed};
use decode::{Decoded, Decoder, Placement};
use feature::{HighPass, Window};
use grammar::Grammar;
use legibility::{MOST_BESIDE, is_legible};
use line::Line;
use margins::DigitMargins;
use matcher::Matcher;
pub(crate) use matcher::correlate;
use noise::Noise;
use observation::Evidence;
pub use observation::{Candidate, MAX_DEFICIT, Observation, TextLegibility};
pub(crate) use patches::{correlation, patch_at, product};
use reach::Reach;
pub use region_cache::RegionCache;
pub use sample::{Patch, Sample};
pub(crate) use scenery::{Backdrop, Behind, CONTRASTS};
pub(crate) use shape_prior::ShapePrior;

/// Share of a log-likelihood ratio that is taken as evidence. The noise model is Gaussian and
/// assumes that differences are independent of the text; real differences are neither, and would
/// make the ratios overconfident.
const EVIDENCE_SHARE: f32 = 0.25;

/// Confidence above which a single picture is read surely, and a reading of the sample may teach.
pub(crate) const SURE: f32 = 0.95;

/// Margin penalty for digits never seen in a region, in between-digit standard deviations: an unseen digit may lie as far
/// off its template as the digits seen there, and on the unfavourable side.
const UNSEEN_MARGIN_PENALTY: f32 = 2.0;

/// Self-training iterations over the sample; one more where the glyph set lacks digits, since an unknown digit may pass
/// for a known one until the noise is estimated well.
const LEARNING_ROUNDS: usize = 2;
const LEARNING_ROUNDS_WITH_UNKNOWN: usize = 3;

/// The reading of a region in one frame.
#[derive(Debug, Clone, PartialEq)]
pub enum RegionReading {
    /// No text stands out.
    Nothing,
    /// A text that is not clear enough to be given a value.
    Unclear {
        /// The best guess, for looking at.
        text: String,
        /// Probability that it is right, 0 to 1.
        confidence: f32,
        /// A character is unlike every known glyph, and not all digits are known: it may be one of the others.
        digit_unknown: bool,
    },
    /// A text.
    Text {
        /// The text.
        text: String,
        /// The number it stands for.
        value: f64,
        /// Probability that it is right, 0 to 1.
        confidence: f32,
    },
}

/// One face prepared for this clip.
#[derive(Debug, Clone)]
struct FaceModel {
    alphabet: Alphabet,
    matcher: Matcher,
    /// T-square distance up to which characters of the sample are used for self-training.
    max_t2: f32,
    /// Margin penalty for digits never seen in a region.
    unseen_margin_penalty: f32,
}

impl FaceModel {
    fn new(alphabet: Alphabet) -> Option<Self> {
        let noise = Noise::white(alphabet.rows, 20.0);
        let matcher = Matcher::new(&alphabet, &noise)?;
        Some(Self { alphabet, matcher, max_t2: f32::INFINITY, unseen_margin_penalty: 0.0 })
    }
}

/// One region prepared for this clip.
#[derive(Debug, Clone)]
struct RegionModel {
    channel: Channel,
    grammar: Grammar,
    /// What the search found; `None` where no glyphs known fit.
    found: Option<Found>,
    backdrop: Backdrop,
    /// Digits that the sample hardly shows in this region.
    unseen: ArrayVec<char, 10>,
}

/// Where the text of a region was found.
#[derive(Debug, Clone)]
struct Found {
    window: Window,
    placement: Placement,
    reach: Reach,
    /// Its place among the faces.
    face: usize,
}

/// Reads the regions of a setup in the frames of one flight.
#[derive(Debug, Clone)]
pub struct Recogniser {
    faces: Vec<FaceModel>,
    regions: Vec<RegionModel>,
}

/// The texts of the sample of some lines, written in one face.
fn decoded_lines(lines: &[Line<'_>], model: &FaceModel) -> Vec<Vec<Option<Decoded>>> {
    let decoded_line = |line: &Line<'_>| {
        let (grammar, reach) = (line.grammar, Some(line.reach));
        let decoder = Decoder { alphabet: &model.alphabet, scorer: &model.matcher, grammar, reach };
        let decode = |features: &Array2<f32>| {
            Some(decoder.decode(features, &line.placement)?.at_contrast(line.backdrop.contrast))
        };
        line.bare.par_iter().map(decode).collect()
    };
    lines.par_iter().map(decoded_line).collect()
}

impl Recogniser {
    /// Prepares for a clip: finds for every region the face that fits and its place, then learns
    /// the noise and the look of the glyphs from the sample.
    #[must_use]
    pub fn calibrate(regions: &[Region], sets: &[GlyphSet], sample: &Sample) -> Self {
        let registered = register::register_all(regions, sets, sample);
        let mut models = Vec::new();
        let alphabets = registered.known.into_iter().map(|known| known.alphabet);
        let faces: Vec<FaceModel> = alphabets.filter_map(FaceModel::new).collect();
        for (region, found) in regions.iter().zip(&registered.regions) {
            let (channel, grammar) = (region.channel.clone(), Grammar::of(region));
            let found = found.as_ref().map(|found| {
                let (alphabet, placement) = (&faces[found.alphabet].alphabet, found.registration.placement);
                let window = Window::new(region.place, alphabet.factor);
                let reach = Reach::of(alphabet, &grammar, &placement, window.cols);
                Found { window, placement, reach, face: found.alphabet }
            });
            let (backdrop, unseen) = (Backdrop::plain(), ArrayVec::new());
            models.push(RegionModel { channel, grammar, found, backdrop, unseen });
        }
        let mut recogniser = Self { faces, regions: models };
        for face in 0..recogniser.faces.len() {
            recogniser.learn(face, sample);
        }
        recogniser
    }

    /// Learns the noise, the look of one face's glyphs and the scenery behind them from all regions written in it.
    fn learn(&mut self, number: usize, sample: &Sample) {
        let Some(face) = self.faces.get(number) else { return };
        let mut lines: Vec<Line<'_>> = (0..)
            .zip(self.regions.iter().zip(&sample.regions))
            .filter_map(|(index, (region, patches))| {
                let Found { window, placement, reach, face: face_number } = region.found.as_ref()?;
                let of = |patch: &Patch| face.alphabet.high_pass.apply(&patch.levels(window.factor));
                let line = || {
                    let features: Vec<_> = patches.par_iter().map(of).collect();
                    let bare = features.clone();
                    Line {
                        index,
                        grammar: &region.grammar,
                        placement: *placement,
                        reach,
                        features,
                        bare,
                        backdrop: Backdrop::plain(),
                        margins: DigitMargins::default(),
                    }
                };
                (*face_number == number).then(line)
            })
            .collect();
        let mut model = face.clone();
        model.alphabet.even_out();
        let rounds = match model.alphabet.has_all_digits() {
            true => LEARNING_ROUNDS,
            false => LEARNING_ROUNDS_WITH_UNKNOWN,
        };
        for round in 0..rounds {
            let mut texts = decoded_lines(&lines, &model);
            if round == 0 && line::find_contrasts(&mut lines, &model.alphabet, &texts) {
                texts = decoded_lines(&lines, &model);
            }
            let max_t2 = calibrate::max_t2(texts.iter().flatten().flatten());
            model.max_t2 = max_t2;
            for (line, texts) in lines.iter().zip(&mut texts) {
                let top = line.placement.top;
                texts.par_iter_mut().zip(&line.bare).for_each(|(text, features)| {
                    let is_sure =
                        |decoded: &Decoded| is_believed(decoded, max_t2) && decoded.beside <= MOST_BESIDE;
                    *text = text.take().filter(is_sure).and_then(|decoded| {
                        legibility::without_unknown_digits(decoded, &model.alphabet, (features, top))
                    });
                });
            }
            line::look_behind(&mut lines, &model.alphabet, &texts);
            let believed_of = |(line, texts): (&Line<'_>, &Vec<Option<Decoded>>)| {
                let (placement, contrast) = (&line.placement, line.backdrop.contrast);
                Believed::of(&model.alphabet, &line.bare, (placement, contrast), texts)
            };
            let believed = Believed::all(lines.par_iter().zip(&texts).map(believed_of).collect());
            believed.refine(&mut model.alphabet, &face.alphabet.shapes);
            for (line, texts) in lines.iter_mut().zip(&texts) {
                line.margins = DigitMargins::of(texts.iter().flatten());
            }
            if line::stands_still(&lines) {
                calibrate::keep_contrasts(&mut model.alphabet.shapes, &face.alphabet.shapes);
            }
            let matcher =
                believed.noise(&model.alphabet).and_then(|noise| Matcher::new(&model.alphabet, &noise));
            let Some(matcher) = matcher else { break };
            model.matcher = matcher;
        }
        model.unseen_margin_penalty =
            UNSEEN_MARGIN_PENALTY * margins::unevenness(lines.iter().map(|line| &line.margins));
        let learnt: Vec<_> =
            lines.into_iter().map(|line| (line.index, line.backdrop, line.margins)).collect();
        for (index, backdrop, margins) in learnt {
            self.regions[index].backdrop = backdrop;
            self.regions[index].unseen = margins.unseen();
        }
        self.faces[number] = model;
    }

    /// Channels for which no known glyphs fit what the clip shows.
    #[must_use]
    pub fn unread_channels(&self) -> Vec<&Channel> {
        self.regions.iter().filter(|region| region.found.is_none()).map(|region| &region.channel).collect()
    }

    /// Digits missing from the glyphs that a channel is read with, in ascending order; empty where all are known and
    /// where no known glyphs fit.
    #[must_use]
    pub fn unknown_digits(&self, channel: &Channel) -> String {
        let region = self.regions.iter().find(|region| region.channel == *channel);
        let found = region.and_then(|region| region.found.as_ref());
        let alphabet = found.and_then(|found| self.faces.get(found.face)).map(|face| &face.alphabet);
        let is_missing = |digit: &char| alphabet.is_some_and(|alphabet| alphabet.index_of(*digit).is_none());
        ('0'..='9').filter(is_missing).collect()
    }

    /// The parts of a frame that are looked at.
    #[must_use]
    pub fn areas(&self) -> Vec<PixelRect> {
        self.regions.iter().filter_map(|region| Some(region.found.as_ref()?.window.area())).collect()
    }

    /// Reads all regions of a frame, in the setup's order.
    #[must_use]
    pub fn read(&self, luma: LumaPlane<'_>) -> Vec<RegionReading> {
        self.regions.iter().map(|region| self.read_region(region, luma)).collect()
    }

    /// Observes all regions of a frame, in the setup's order. Regions whose pixels have not changed since the frame
    /// before keep their observation.
    #[must_use]
    pub fn observe(&self, cache: &mut RegionCache, luma: LumaPlane<'_>) -> Vec<Observation> {
        let observation = |(number, region): (usize, &RegionModel)| match &region.found {
            Some(Found { window, .. }) => {
                cache.get_or_observe(number, (window, luma), || self.observe_region(region, luma))
            }
            None => Observation::nothing(),
        };
        self.regions.iter().enumerate().map(observation).collect()
    }

    fn observe_region(&self, region: &RegionModel, luma: LumaPlane<'_>) -> Observation {
        let observation = || {
            let Found { window, face, .. } = region.found.as_ref()?;
            let face = &self.faces[*face];
            let decoded = self.decoded(region, luma, window)?;
            let all_digits = face.alphabet.has_all_digits();
            let legibility = match is_legible(&decoded, &face.alphabet) {
                true => TextLegibility::Legible,
                false if all_digits => TextLegibility::Illegible,
                false => TextLegibility::UnknownDigit,
            };
            let FaceModel { alphabet, matcher, .. } = face;
            let contrast = region.backdrop.contrast;
            let evidence = Evidence { alphabet, matcher, share: EVIDENCE_SHARE, contrast };
            Some(Observation::of(&decoded, legibility, &region.grammar, &evidence))
        };
        observation().unwrap_or_else(Observation::nothing)
    }

    /// Reads all regions of a whole picture, in the setup's order.
    #[must_use]
    pub fn read_picture(&self, picture: &image::GrayImage) -> Vec<RegionReading> {
        self.read(LumaPlane::of(picture))
    }

    fn read_region(&self, region: &RegionModel, luma: LumaPlane<'_>) -> RegionReading {
        let Some(Found { window, .. }) = &region.found else { return RegionReading::Nothing };
        self.judged(region, self.decoded(region, luma, window))
    }

    fn judged(&self, region: &RegionModel, decoded: Option<Decoded>) -> RegionReading {
        match (decoded, &region.found) {
            (Some(decoded), Some(found)) => {
                judge(&decoded, &region.grammar, &self.faces[found.face].alphabet)
            }
            _ => RegionReading::Nothing,
        }
    }

    /// Decodes a region that stands in a picture where `window` says. Of the window only the rows are
    /// worked on that the text stands in.
    fn decoded(&self, region: &RegionModel, luma: LumaPlane<'_>, window: &Window) -> Option<Decoded> {
        let Found { placement, reach, face, .. } = region.found.as_ref()?;
        let FaceModel { alphabet, matcher, unseen_margin_penalty, .. } = &self.faces[*face];
        let around = alphabet.high_pass.reach();
        let first = placement.top.saturating_sub(around);
        let levels = window.cut_rows(luma, first..(placement.top + alphabet.rows + around).min(window.rows));
        let top = placement.top - first;
        let features = alphabet.high_pass.apply_to_rows(&levels, top..top + alphabet.rows);
        scratch::recycle(levels);
        let features = region.backdrop.bare_rows(features, placement.top..placement.top + alphabet.rows);
        let decoder = Decoder { alphabet, scorer: matcher, grammar: &region.grammar, reach: Some(reach) };
        let decoded = decoder.decode(&features, &Placement { top: 0, ..*placement });
        let decoded = decoded.map(|decoded| {
            let mut decoded = decoded.at_contrast(region.backdrop.contrast);
            margins::penalise_unseen(&mut decoded.places, alphabet, &region.unseen, *unseen_margin_penalty);
            legibility::ask_shape_prior(&mut decoded, alphabet, (&features, 0));
            decoded
        });
        scratch::recycle(features);
        decoded.filter(|decoded| decoded.total > 0.0)
    }

    fn decoded_patch(&self, region: &RegionModel, patch: &Patch) -> Option<Decoded> {
        let factor = region.found.as_ref()?.window.factor;
        self.decoded(region, patch.luma(), &patch.window(factor))
    }

    /// Reads a region in a frame of the sample.
    pub fn read_patch(&self, region: usize, patch: &Patch) -> RegionReading {
        let Some(region) = self.regions.get(region) else { return RegionReading::Nothing };
        self.judged(region, self.decoded_patch(region, patch))
    }

    /// Probability by shape alone that a region in a frame of the sample shows each digit that its glyphs lack, 0 to 9;
    /// `None` where no text stands out, or all digits are known.
    pub(crate) fn unknown_digits_shown(&self, region: usize, patch: &Patch) -> Option<[f32; 10]> {
        let region = self.regions.get(region)?;
        let alphabet = &self.faces[region.found.as_ref()?.face].alphabet;
        let decoded = self.decoded_patch(region, patch).filter(|_| !alphabet.has_all_digits())?;
        let places: Vec<[f32; 10]> = decoded.places.iter().filter_map(|place| place.by_shape).collect();
        Some(std::array::from_fn(|digit| {
            let is_known =
                char::from_digit(digit as u32, 10).and_then(|digit| alphabet.index_of(digit)).is_some();
            let most = places.iter().map(|by_shape| by_shape[digit]).fold(0.0, f32::max);
            if is_known { 0.0 } else { most }
        }))
    }

    /// Whether two regions are written in one face.
    pub(crate) fn share_face(&self, one: usize, other: usize) -> bool {
        let face = |region: usize| Some(self.regions.get(region)?.found.as_ref()?.face);
        one == other || (face(one).is_some() && face(one) == face(other))
    }

    /// Correlation of the least known character of a region in a frame of the sample.
    pub(crate) fn least_fit(&self, region: usize, patch: &Patch) -> Option<f32> {
        let decoded = self.decoded_patch(self.regions.get(region)?, patch)?;
        Some(calibrate::fit_of(&decoded))
    }

    /// What the text of a region stands before, the high-pass that its features were taken with, and frame pixels to
    /// one of its working pixels; `None` where no glyphs known fit.
    pub(crate) fn behind(&self, region: usize) -> Option<(&Backdrop, &HighPass, usize)> {
        let region = self.regions.get(region)?;
        let face = region.found.as_ref()?.face;
        let Alphabet { high_pass, factor, .. } = &self.faces[face].alphabet;
        Some((&region.backdrop, high_pass, *factor))
    }

    /// Characters of a sample frame that are read surely: character, row and column of the cell's top left corner in
    /// the window.
    pub(crate) fn sure_characters(&self, region: usize, patch: &Patch) -> Vec<(char, usize, f32)> {
        let sure = || {
            let region = self.regions.get(region)?;
            let Found { placement, face, .. } = region.found.as_ref()?;
            let decoded = self.decoded_patch(region, patch)?;
            let sure = confidence_of(&decoded) > SURE
                && is_believed(&decoded, self.faces[*face].max_t2)
                && !legibility::is_refuted_by_shape(&decoded, &self.faces[*face].alphabet);
            let places = decoded.places.iter().map(|place| (place.character, placement.top, place.left));
            sure.then(|| places.collect())
        };
        sure().unwrap_or_default()
    }
}

/// Turns a decoded text into what is reported of it.
fn judge(decoded: &Decoded, grammar: &Grammar, alphabet: &Alphabet) -> RegionReading {
    let confidence = confidence_of(decoded);
    let (known_shapes, all_digits) = (is_legible(decoded, alphabet), alphabet.has_all_digits());
    match grammar.value(&decoded.text) {
        Some(value) if known_shapes => {
            RegionReading::Text { text: decoded.text.to_string(), value, confidence }
        }
        _ => RegionReading::Unclear {
            text: decoded.text.to_string(),
            confidence: if known_shapes { confidence } else { 0.0 },
            digit_unknown: !known_shapes && !all_digits,
        },
    }
}

/// Probability of the text against the same text with one character changed, and against texts of
/// other lengths.
fn confidence_of(decoded: &Decoded) -> f32 {
    let length = logistic(EVIDENCE_SHARE * decoded.length_margin);
    decoded.places.iter().fold(length, |product, place| product * place_confidence(place))
}

fn place_confidence(place: &decode::Place) -> f32 {
    let best = place.scores.iter().copied().fold(f32::NEG_INFINITY, f32::max);
    let others: f32 = place.scores.iter().map(|score| (EVIDENCE_SHARE * (score - best)).exp()).sum();
    1.0 / others.max(1.0)
}

fn logistic(log_odds: f32) -> f32 {
    1.0 / (1.0 + (-log_odds).exp())
}

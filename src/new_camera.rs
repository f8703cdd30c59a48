//! Prepares an unknown camera without the pilot: finds the readouts of its overlay, deciphers them, names them, and learns
//! their glyphs.

use std::path::Path;

use image::GrayImage;
use thiserror::Error;

use crate::advice::{Advice, Advised};
use crate::decipher::{
    ChannelGuess, DecipheredReadout, DecipheredText, SampledFrames, TextPair, TimedText, agreement,
    contradicted_digits, decipher, doubtful_digits, name_channels,
};
use crate::detect::{Proposal, propose};
use crate::files::{Existing, file_name};
use crate::footage::{Clip, FootageError, FrameSource as _, LumaImage as _, LumaPlane, sample_with};
use crate::geometry::PixelRect;
use crate::glyphs::{Face, GlyphFileError, GlyphSet};
use crate::learn::{
    ExampleError, LabelFile, LabelFileError, LabelledReading, LearnError, LearnedGlyphs, fetch_examples,
    learn_glyphs,
};
use crate::model::channel::Channel;
use crate::model::units::Unit;
use crate::recognise::{Recogniser, RegionReading, Sample};
use crate::setup::{Camera, LoadedSetup, Region, Setup, SetupError, setup_name};

/// Smallest and largest number of frames searched, and of bytes that they may take.
const MIN_FRAMES: usize = 24;
const MAX_FRAMES: usize = 120;
const MAX_BYTES: usize = 200 << 20;
/// Minimum number of labels of a readout: with fewer, the learned glyphs cannot be checked against each other.
const MIN_LABELS: usize = 4;
/// Probability from which a deciphered text counts as evidence for or against a glyph.
const MIN_CERTAIN: f32 = 0.9;
/// Probabilities from which deciphered texts are compared with the readings of the learned glyphs, and minimum share of them
/// that must agree; otherwise the readout is left out. Of the texts at 0.5 to 0.9, three quarters are right, of those above 0.9,
/// 98 in a hundred.
const MIN_AGREEMENT: [(f32, f64); 2] = [(0.5, 0.7), (0.9, 0.95)];

/// A camera whose overlay was found and deciphered.
#[derive(Debug)]
pub struct NewCamera {
    /// The setup, not saved yet, and the path where it belongs.
    pub setup: LoadedSetup,
    /// The glyphs, without those of doubtful digits.
    pub set: GlyphSet,
    /// The labels that the glyphs were learned from.
    pub labels: LabelFile,
    /// The readouts, in the order of the setup's regions.
    pub readouts: Vec<NamedReadout>,
    /// Boxes that may hold a readout but could not be deciphered.
    pub undeciphered: Vec<PixelRect>,
    /// Digits that are not known for some of the channels, in ascending order.
    pub missing_digits: Vec<char>,
    /// A frame, to draw the boxes on.
    pub still: GrayImage,
}

/// A readout with its channel.
#[derive(Debug, Clone, PartialEq)]
pub struct NamedReadout {
    /// The channel, its probability and the reasons.
    pub guess: ChannelGuess,
    /// The box.
    pub rect: PixelRect,
    /// The most certain text.
    pub example: DecipheredText,
}

/// Why a camera could not be prepared.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum NewCameraError {
    /// The clip cannot be read.
    #[error(transparent)]
    Footage(#[from] FootageError),
    /// No readout was found.
    #[error("{clip}: no readouts were found in the overlay")]
    NoReadouts {
        /// The clip.
        clip: String,
    },
    /// No readout could be deciphered.
    #[error(
        "{clip}: {boxes} boxes that may be readouts were found, but their digits could not be deciphered"
    )]
    Undeciphered {
        /// The clip.
        clip: String,
        /// Number of boxes.
        boxes: usize,
    },
    /// No glyphs can be learned from the deciphered texts.
    #[error("the deciphered texts cannot be learned: {0}")]
    Learn(#[from] LearnError),
    /// The labelled frames cannot be fetched.
    #[error(transparent)]
    Examples(#[from] ExampleError),
    /// The setup cannot be saved.
    #[error(transparent)]
    Setup(#[from] SetupError),
    /// The glyphs cannot be saved.
    #[error(transparent)]
    Glyphs(#[from] GlyphFileError),
    /// The labels cannot be saved.
    #[error(transparent)]
    Labels(#[from] LabelFileError),
}

impl Advised for NewCameraError {
    fn advice(&self) -> Option<Advice> {
        match self {
            Self::NoReadouts { .. } => Some(Advice::WriteSetup),
            Self::Undeciphered { .. } | Self::Learn(_) => Some(Advice::InspectMarkOrTeach),
            Self::Setup(error) => error.advice(),
            _ => None,
        }
    }
}

/// What was found in the overlay of a clip.
struct OverlaySearch {
    frames: SampledFrames,
    /// The boxes found, with what was deciphered in them.
    found: Vec<(Proposal, Option<DecipheredReadout>)>,
}

impl OverlaySearch {
    fn of(clip: &mut Clip, progress: &(dyn Fn(f64) + Sync)) -> Result<Self, FootageError> {
        let frame_bytes = clip.info().width as usize * clip.info().height as usize;
        let count = (MAX_BYTES / frame_bytes.max(1)).clamp(MIN_FRAMES, MAX_FRAMES);
        let frames = SampledFrames::from(sample_with(clip, count, progress)?);
        let deciphered = |proposal: Proposal| {
            let found = decipher(&frames, proposal.rect).filter(|found| found.labels.len() >= MIN_LABELS);
            (proposal, found)
        };
        let found = propose(&frames.images).into_iter().map(deciphered).collect();
        Ok(Self { frames, found })
    }

    /// The deciphered readouts.
    fn readouts(&self) -> Vec<&DecipheredReadout> {
        self.found.iter().filter_map(|(_, readout)| readout.as_ref()).collect()
    }

    /// The boxes in which nothing was deciphered.
    fn undeciphered(&self) -> impl Iterator<Item = &Proposal> {
        self.found.iter().filter(|(_, readout)| readout.is_none()).map(|(proposal, _)| proposal)
    }

    /// A frame from the middle of the clip.
    fn still(&self) -> Option<&GrayImage> {
        self.frames.images.get(self.frames.images.len() / 2)
    }
}

/// Regions to start marking from.
#[derive(Debug, Clone)]
pub struct ProposedRegions {
    /// The deciphered readouts, then boxes that may hold a readout.
    pub regions: Vec<Region>,
    /// A frame, to draw the boxes on; `None` for a clip without frames.
    pub still: Option<GrayImage>,
}

/// Proposes regions for a clip, for the pilot to check. `progress` is called as by [`prepare_camera`].
///
/// # Errors
/// If the clip cannot be read.
pub fn propose_regions(
    clip: &mut Clip,
    progress: &(dyn Fn(f64) + Sync),
) -> Result<ProposedRegions, FootageError> {
    let search = OverlaySearch::of(clip, progress)?;
    let readouts = search.readouts();
    let guesses = name_channels(&readouts);
    let mut regions: Vec<Region> =
        readouts.iter().zip(guesses).map(|(readout, guess)| region_of(readout, guess.channel)).collect();
    for proposal in search.undeciphered() {
        let mut numbered = (regions.len() + 1..).map(|number| Channel::Other(format!("channel-{number}")));
        let free = numbered.find(|channel| regions.iter().all(|region| region.channel != *channel));
        regions.extend(free.map(|channel| Region { channel, ..proposal.region() }));
    }
    Ok(ProposedRegions { regions, still: search.still().cloned() })
}

/// Prepares the camera of a clip. Nothing is written; `setup_path` is where the setup belongs. `progress` is called with the
/// share of the frames fetched, 0 to 1, from several threads.
///
/// # Errors
/// [`NewCameraError`] says what could not be found.
pub fn prepare_camera(
    clip: &mut Clip,
    setup_path: &Path,
    progress: &(dyn Fn(f64) + Sync),
) -> Result<NewCamera, NewCameraError> {
    let path = clip.info().path.clone();
    let name = path.display().to_string();
    let search = OverlaySearch::of(clip, progress)?;
    let (readouts, boxes) = (search.readouts(), search.found.len());
    let Some(still) = search.still().filter(|_| boxes > 0) else {
        return Err(NewCameraError::NoReadouts { clip: name });
    };
    if readouts.is_empty() {
        return Err(NewCameraError::Undeciphered { clip: name, boxes });
    }
    let mut camera = DecipheredCamera::new(readouts, still.dimensions(), setup_path, &file_name(&path));
    let sample = camera.sample(&search.frames);
    let mut set = camera.learn(clip, &sample)?.set;
    let doubtful = camera.leave_out_doubtful(&mut set, &search.frames, &sample);
    if camera.readouts.is_empty() {
        return Err(NewCameraError::Undeciphered { clip: name, boxes });
    }
    let mut missing_digits: Vec<char> = set.faces.iter().flat_map(Face::missing_digits).collect();
    missing_digits.sort_unstable();
    missing_digits.dedup();
    Ok(NewCamera {
        setup: camera.setup,
        set,
        labels: camera.labels,
        readouts: camera.readouts,
        undeciphered: search.undeciphered().map(|proposal| proposal.rect).chain(doubtful).collect(),
        missing_digits,
        still: still.clone(),
    })
}

/// Deciphered readouts as a setup with labels.
struct DecipheredCamera<'a> {
    deciphered: Vec<&'a DecipheredReadout>,
    setup: LoadedSetup,
    labels: LabelFile,
    readouts: Vec<NamedReadout>,
}

impl<'a> DecipheredCamera<'a> {
    fn new(deciphered: Vec<&'a DecipheredReadout>, frame: (u32, u32), setup_path: &Path, clip: &str) -> Self {
        let guesses = name_channels(&deciphered);
        let (mut regions, mut readouts, mut labels) = (Vec::new(), Vec::new(), LabelFile::default());
        for (readout, guess) in deciphered.iter().zip(guesses) {
            regions.push(region_of(readout, guess.channel.clone()));
            for DecipheredText { time_s, text, .. } in &readout.labels {
                let (channel, time_s, text) = (guess.channel.clone(), *time_s, text.clone());
                labels.add(clip, &LabelledReading { channel, time_s, text });
            }
            let best =
                readout.labels.iter().max_by(|one, other| one.probability.total_cmp(&other.probability));
            let Some(example) = best.cloned() else { continue };
            readouts.push(NamedReadout { guess, rect: readout.rect, example });
        }
        let camera = Camera { name: setup_name(setup_path), frame, glyphs: None };
        let setup = Setup { camera, aircraft: None, regions };
        Self { deciphered, setup: LoadedSetup { setup, path: setup_path.to_owned() }, labels, readouts }
    }

    fn learn(&self, clip: &mut Clip, sample: &Sample) -> Result<LearnedGlyphs, NewCameraError> {
        let fetched = fetch_examples(clip, &self.setup, &self.labels, &|_| ())?;
        let Setup { camera, regions, .. } = &self.setup.setup;
        Ok(learn_glyphs(&camera.name, regions, &fetched.examples, &[], sample)?)
    }

    /// The regions in all frames.
    fn sample(&self, frames: &SampledFrames) -> Sample {
        let regions = &self.setup.setup.regions;
        let mut sample = Sample::new(regions.len());
        for (image, time_s) in frames.images.iter().zip(&frames.times_s) {
            sample.add(Sample::cut(regions, LumaPlane::of(image)), *time_s);
        }
        sample
    }

    /// Takes away what the two readers do not agree on: the glyphs of doubtful digits, and regions. Returns the boxes of these
    /// regions.
    fn leave_out_doubtful(
        &mut self,
        set: &mut GlyphSet,
        frames: &SampledFrames,
        sample: &Sample,
    ) -> Vec<PixelRect> {
        let regions = &self.setup.setup.regions;
        let recogniser = Recogniser::calibrate(regions, std::slice::from_ref(&*set), sample);
        let read: Vec<Vec<RegionReading>> =
            frames.images.iter().map(|image| recogniser.read_frame(image)).collect();
        for face in &mut set.faces {
            let shows = |region: &usize| {
                let named = self.readouts.get(*region);
                face.channels.is_empty()
                    || named.is_some_and(|named| face.channels.contains(&named.guess.channel))
            };
            let regions: Vec<usize> = (0..self.readouts.len()).filter(shows).collect();
            let certain = |region: &usize| self.pairs(*region, frames, &read, MIN_CERTAIN);
            let pairs: Vec<TextPair> = regions.iter().flat_map(certain).collect();
            let texts: Vec<Vec<TimedText>> =
                regions.iter().map(|region| timed_texts(*region, frames, &read)).collect();
            let doubtful = [doubtful_digits(&pairs), contradicted_digits(&texts)].concat();
            face.glyphs.retain(|glyph| !doubtful.contains(&glyph.character));
        }
        let agrees = |region: usize| {
            MIN_AGREEMENT.iter().all(|(probability, min_share)| {
                agreement(&self.pairs(region, frames, &read, *probability))
                    .is_some_and(|share| share >= *min_share)
            })
        };
        let doubtful: Vec<usize> = (0..self.readouts.len()).filter(|region| !agrees(*region)).collect();
        doubtful.into_iter().rev().map(|region| self.remove(region)).collect()
    }

    /// Removes a region with its labels and returns its box.
    fn remove(&mut self, region: usize) -> PixelRect {
        let NamedReadout { guess, rect, .. } = self.readouts.remove(region);
        self.deciphered.remove(region);
        self.setup.setup.regions.remove(region);
        self.labels.labels.retain(|label| label.channel != guess.channel);
        rect
    }

    /// What both readers found in a region, where the line reader is certain enough.
    fn pairs(
        &self,
        region: usize,
        frames: &SampledFrames,
        read: &[Vec<RegionReading>],
        min_probability: f32,
    ) -> Vec<TextPair> {
        let texts = self.deciphered.get(region).map_or(&[][..], |readout| &readout.texts);
        let pair = |text: &DecipheredText| {
            let frame = frames.times_s.iter().position(|time_s| *time_s == text.time_s)?;
            let RegionReading::Text { text: read, .. } = read.get(frame)?.get(region)? else { return None };
            Some(TextPair { deciphered: text.text.clone(), read: read.clone() })
        };
        texts.iter().filter(|text| text.probability >= min_probability).filter_map(pair).collect()
    }
}

/// The texts that the learned glyphs read in a region.
fn timed_texts(region: usize, frames: &SampledFrames, read: &[Vec<RegionReading>]) -> Vec<TimedText> {
    let text = |(time_s, readings): (&f64, &Vec<RegionReading>)| match readings.get(region)? {
        RegionReading::Text { text, .. } => Some((*time_s, text.clone())),
        _ => None,
    };
    frames.times_s.iter().zip(read).filter_map(text).collect()
}

fn region_of(readout: &DecipheredReadout, channel: Channel) -> Region {
    let unit = (readout.separator == Some(':')).then_some(Unit::MinutesAndSeconds);
    let decimals = if unit.is_some() { 0 } else { readout.decimals };
    Region { decimals, digits: Some(readout.digits), ..Region::new(channel, readout.rect, unit) }
}

impl NewCamera {
    /// Saves setup, glyphs and labels.
    ///
    /// # Errors
    /// If one of them cannot be written.
    pub fn save(&self, existing: Existing) -> Result<(), NewCameraError> {
        self.setup.setup.save(&self.setup.path, existing)?;
        let folder = self.setup.glyph_folder();
        self.set.save(&folder, Existing::ReplaceOwn)?;
        self.labels.save(&folder)?;
        Ok(())
    }
}

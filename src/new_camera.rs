//! Prepares an unknown camera without the pilot: finds the readouts of its overlay, deciphers them, names them, and learns
//! their glyphs.

use std::path::Path;

use image::GrayImage;
use thiserror::Error;

use crate::advice::{Advice, Advised};
use crate::decipher::{
    ChannelGuess, DecipheredReadout, DecipheredText, TextPair, TimedText, contradicted_digits, decipher,
    doubtful_digits, name_channels,
};
use crate::detect::propose;
use crate::files::{Existing, file_name};
use crate::footage::{Clip, FootageError, FoundFrame, FrameSource as _, LumaPlane, sample_with};
use crate::geometry::PixelRect;
use crate::glyphs::{GlyphFileError, GlyphSet};
use crate::learn::{
    ExampleError, LabelFile, LabelFileError, LabelledReading, LearnError, LearnedGlyphs, fetch_examples,
    learn_glyphs,
};
use crate::model::channel::Channel;
use crate::model::units::Unit;
use crate::recognise::{Recogniser, RegionReading, Sample};
use crate::setup::{Camera, LoadedSetup, Region, Setup, SetupError};

/// Maximum number of frames searched, and of bytes that they may take.
const MAX_FRAMES: usize = 120;
const MAX_BYTES: usize = 200 << 20;
/// Minimum number of labels of a readout: with fewer, the learned glyphs cannot be checked against each other.
const MIN_LABELS: usize = 4;
/// Probability from which a deciphered text is compared with the reading of the learned glyphs.
const MIN_COMPARED: f32 = 0.9;

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
    let info = clip.info().clone();
    let name = info.path.display().to_string();
    let frame_bytes = (info.width as usize * info.height as usize).max(1);
    let frames = sample_with(clip, (MAX_BYTES / frame_bytes).min(MAX_FRAMES), progress)?;
    let images: Vec<GrayImage> = frames.iter().map(|frame| frame.image.clone()).collect();
    let boxes: Vec<PixelRect> = propose(&images).into_iter().map(|proposal| proposal.rect).collect();
    let Some(still) = images.into_iter().nth(frames.len() / 2).filter(|_| !boxes.is_empty()) else {
        return Err(NewCameraError::NoReadouts { clip: name });
    };
    let found: Vec<(PixelRect, Option<DecipheredReadout>)> =
        boxes.iter().map(|rect| (*rect, decipher(&frames, *rect))).collect();
    let undeciphered =
        found.iter().filter(|(_, found)| !is_usable(found.as_ref())).map(|(rect, _)| *rect).collect();
    let readouts: Vec<DecipheredReadout> =
        found.into_iter().filter_map(|(_, found)| found.filter(|found| is_usable(Some(found)))).collect();
    if readouts.is_empty() {
        return Err(NewCameraError::Undeciphered { clip: name, boxes: boxes.len() });
    }
    let camera = DecipheredCamera::new(&readouts, still.dimensions(), setup_path, &file_name(&info.path));
    let learned = camera.learn(clip, &frames)?;
    let (set, missing_digits) = camera.checked(learned, &frames);
    Ok(NewCamera {
        setup: camera.setup,
        set,
        labels: camera.labels,
        readouts: camera.readouts,
        undeciphered,
        missing_digits,
        still,
    })
}

fn is_usable(found: Option<&DecipheredReadout>) -> bool {
    found.is_some_and(|found| found.labels.len() >= MIN_LABELS)
}

/// Deciphered readouts as a setup with labels.
struct DecipheredCamera<'a> {
    deciphered: &'a [DecipheredReadout],
    setup: LoadedSetup,
    labels: LabelFile,
    readouts: Vec<NamedReadout>,
}

impl<'a> DecipheredCamera<'a> {
    fn new(deciphered: &'a [DecipheredReadout], frame: (u32, u32), setup_path: &Path, clip: &str) -> Self {
        let guesses = name_channels(&deciphered.iter().collect::<Vec<_>>());
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
        let name = setup_path.file_stem().unwrap_or_default().to_string_lossy();
        let name = name.strip_suffix(".setup").unwrap_or(&name).to_owned();
        let camera = Camera { name, frame, glyphs: None };
        let setup = Setup { camera, aircraft: None, regions };
        Self { deciphered, setup: LoadedSetup { setup, path: setup_path.to_owned() }, labels, readouts }
    }

    fn learn(&self, clip: &mut Clip, frames: &[FoundFrame]) -> Result<LearnedGlyphs, NewCameraError> {
        let fetched = fetch_examples(clip, &self.setup, &self.labels, &|_| ())?;
        let Setup { camera, regions, .. } = &self.setup.setup;
        Ok(learn_glyphs(&camera.name, regions, &fetched.examples, &[], &self.sample(frames))?)
    }

    /// The regions in all frames.
    fn sample(&self, frames: &[FoundFrame]) -> Sample {
        let regions = &self.setup.setup.regions;
        let mut sample = Sample::new(regions.len());
        for frame in frames {
            sample.add(Sample::cut(regions, LumaPlane::of(&frame.image)), frame.time_s);
        }
        sample
    }

    /// The glyphs without those of doubtful digits, and the digits that are missing.
    fn checked(&self, learned: LearnedGlyphs, frames: &[FoundFrame]) -> (GlyphSet, Vec<char>) {
        let mut set = learned.set;
        let recogniser = Recogniser::calibrate(
            &self.setup.setup.regions,
            std::slice::from_ref(&set),
            &self.sample(frames),
        );
        let read: Vec<Vec<RegionReading>> =
            frames.iter().map(|frame| recogniser.read_frame(&frame.image)).collect();
        for face in &mut set.faces {
            let shown = |index: &usize| {
                let named = self.readouts.get(*index);
                face.channels.is_empty()
                    || named.is_some_and(|named| face.channels.contains(&named.guess.channel))
            };
            let regions: Vec<usize> = (0..self.readouts.len()).filter(shown).collect();
            let pairs: Vec<TextPair> =
                regions.iter().flat_map(|region| self.pairs(*region, frames, &read)).collect();
            let texts: Vec<Vec<TimedText>> =
                regions.iter().map(|region| timed_texts(*region, frames, &read)).collect();
            let doubtful = [doubtful_digits(&pairs), contradicted_digits(&texts)].concat();
            face.glyphs.retain(|glyph| !doubtful.contains(&glyph.character));
        }
        let mut missing: Vec<char> = set.faces.iter().flat_map(|face| face.missing_digits()).collect();
        missing.sort_unstable();
        missing.dedup();
        (set, missing)
    }

    /// What both readers found in a region.
    fn pairs(&self, region: usize, frames: &[FoundFrame], read: &[Vec<RegionReading>]) -> Vec<TextPair> {
        let texts = self.deciphered.get(region).map_or(&[][..], |readout| &readout.texts);
        let pair = |text: &DecipheredText| {
            let frame = frames.iter().position(|frame| frame.time_s == text.time_s)?;
            let RegionReading::Text { text: read, .. } = read.get(frame)?.get(region)? else { return None };
            Some(TextPair { deciphered: text.text.clone(), read: read.clone() })
        };
        texts.iter().filter(|text| text.probability >= MIN_COMPARED).filter_map(pair).collect()
    }
}

/// The texts that the learned glyphs read in a region.
fn timed_texts(region: usize, frames: &[FoundFrame], read: &[Vec<RegionReading>]) -> Vec<TimedText> {
    let text = |(frame, readings): (&FoundFrame, &Vec<RegionReading>)| match readings.get(region)? {
        RegionReading::Text { text, .. } => Some((frame.time_s, text.clone())),
        _ => None,
    };
    frames.iter().zip(read).filter_map(text).collect()
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
        self.set.save(&folder)?;
        self.labels.save(&folder)?;
        Ok(())
    }
}

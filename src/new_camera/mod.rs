//! Prepares an unknown camera without the pilot: finds the readouts of its overlay, deciphers them, names them, and learns
//! their glyphs.
//!
//! ```text
//! clip -> search (boxes, deciphered readouts) -> deciphered_camera (setup, labels, glyphs without the doubtful ones)
//!      -> questions (pictures of the doubtful digits)
//! ```

mod deciphered_camera;
mod questions;
mod search;

use std::path::Path;

use image::GrayImage;
use thiserror::Error;

use crate::advice::{Advice, Advised};
use crate::decipher::{ChannelGuess, DecipheredText, name_channels};
use crate::files::{Existing, file_name};
use crate::footage::{Clip, FootageError, FrameSource as _};
use crate::geometry::PixelRect;
use crate::glyphs::{GlyphFileError, GlyphSet};
use crate::learn::{ExampleError, LabelFile, LabelFileError, LabelledReading, LearnError};
use crate::model::channel::Channel;
use crate::recognise::Sample;
use crate::setup::{LoadedSetup, Region, SetupError};
use deciphered_camera::{DecipheredCamera, fits, learn_from, region_of};
pub use questions::DigitQuestion;
use questions::shows;
use search::OverlaySearch;

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
    /// Pictures of doubtful digits, for the pilot to confirm.
    pub questions: Vec<DigitQuestion>,
    /// A frame, to draw the boxes on.
    pub still: GrayImage,
    /// Its time in seconds.
    pub still_time_s: f64,
    /// The regions in the frames searched.
    pub sample: Sample,
}

/// A readout with its channel.
#[derive(Debug, Clone, PartialEq)]
pub struct NamedReadout {
    /// The channel, its probability and the reasons.
    pub guess: ChannelGuess,
    /// The box.
    pub rect: PixelRect,
    /// The text in the still, or the most certain one of another moment if that one is doubtful.
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

/// A channel is that of another readout.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("another readout is the {}", .channel.name())]
pub struct ChannelTaken {
    /// The channel.
    pub channel: Channel,
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
        regions.extend(free.map(|channel| Region::new(channel, proposal.rect, None)));
    }
    Ok(ProposedRegions { regions, still: search.still().map(|(_, still)| still.clone()) })
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
    let Some((still_time_s, still)) = search.still().filter(|_| boxes > 0) else {
        return Err(NewCameraError::NoReadouts { clip: name });
    };
    if readouts.is_empty() {
        return Err(NewCameraError::Undeciphered { clip: name, boxes });
    }
    let mut camera =
        DecipheredCamera::new(readouts, still_time_s, still.dimensions(), setup_path, &file_name(&path));
    let sample = camera.sample(&search.frames);
    let mut set = learn_from(clip, &camera.setup, &camera.labels, &sample)?.set;
    let doubtful = camera.leave_out_doubtful(&mut set, &search.frames, &sample);
    if camera.readouts.is_empty() {
        return Err(NewCameraError::Undeciphered { clip: name, boxes });
    }
    let questions = camera.questions(&set, &search.frames);
    Ok(NewCamera {
        questions,
        sample: if doubtful.is_empty() { sample } else { camera.sample(&search.frames) },
        setup: camera.setup,
        set,
        labels: camera.labels,
        readouts: camera.readouts,
        undeciphered: search.undeciphered().map(|proposal| proposal.rect).chain(doubtful).collect(),
        still: still.clone(),
        still_time_s,
    })
}

impl NewCamera {
    /// Learns again with readings that the pilot has confirmed or corrected. Digits that were doubtful stay left out unless
    /// one of these readings has them.
    ///
    /// # Errors
    /// If the labelled frames cannot be fetched, or nothing can be learned from them.
    pub fn confirm(&mut self, clip: &mut Clip, readings: &[LabelledReading]) -> Result<(), NewCameraError> {
        let name = file_name(&clip.info().path);
        readings.iter().for_each(|reading| self.labels.add(&name, reading));
        let mut set = learn_from(clip, &self.setup, &self.labels, &self.sample)?.set;
        let was_known = |channel: &Channel, digit: char| {
            self.set.face_for(channel).is_some_and(|face| face.glyph(digit).is_some())
        };
        let is_confirmed = |channel: &Channel, digit: char| {
            readings.iter().any(|reading| reading.channel == *channel && reading.text.contains(digit))
        };
        for face in &mut set.faces {
            let regions = self.setup.setup.regions.iter().map(|region| &region.channel);
            let channels: Vec<Channel> = regions.filter(|channel| shows(face, channel)).cloned().collect();
            face.glyphs.retain(|glyph| {
                let digit = glyph.character;
                channels.iter().any(|channel| was_known(channel, digit) || is_confirmed(channel, digit))
            });
        }
        let missing = set.missing_digits();
        self.questions.retain(|question| question.digits.iter().any(|digit| missing.contains(digit)));
        self.set = set;
        Ok(())
    }

    /// Gives a readout another channel. `readout` is its place in [`Self::readouts`]. The unit is kept if it fits
    /// the channel.
    ///
    /// # Errors
    /// If another readout has the channel.
    pub fn rename(&mut self, readout: usize, channel: &Channel) -> Result<(), ChannelTaken> {
        let taken = self.setup.setup.regions.iter().position(|region| region.channel == *channel);
        if taken.is_some_and(|other| other != readout) {
            return Err(ChannelTaken { channel: channel.clone() });
        }
        let Some(region) = self.setup.setup.regions.get_mut(readout) else { return Ok(()) };
        let old = std::mem::replace(&mut region.channel, channel.clone());
        region.unit = region.unit.filter(|unit| fits(*unit, channel));
        let rename = |one: &mut Channel| {
            if *one == old {
                *one = channel.clone();
            }
        };
        self.labels.labels.iter_mut().for_each(|label| rename(&mut label.channel));
        self.questions.iter_mut().for_each(|question| rename(&mut question.guess.channel));
        self.set.faces.iter_mut().flat_map(|face| &mut face.channels).for_each(rename);
        if let Some(named) = self.readouts.get_mut(readout) {
            named.guess = ChannelGuess { channel: channel.clone(), probability: 1.0, reasons: Vec::new() };
        }
        Ok(())
    }

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

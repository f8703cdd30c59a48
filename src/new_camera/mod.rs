//! Prepares an unknown camera without the pilot: finds the readouts of its overlay, deciphers them, names their
//! channels, and learns their glyphs.
//!
//! ```text
//! clip -> search (boxes, deciphered readouts)
//!      -> deciphered_camera (setup, labels, glyphs; leaves out doubtful digits and readouts)
//!         with cut_readouts (readouts whose box cuts digits off, left out too)
//!      -> known_glyphs (uncertain readouts that these glyphs read) -> deciphered_camera again
//!      -> questions (images of the doubtful digits)
//! ```
//!
//! Limits of this folder without a stated origin were set by judgement.

mod cut_readouts;
mod deciphered_camera;
mod known_glyphs;
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
use crate::learn::{
    ExampleError, LabelFile, LabelFileError, LabelledReading, LearnError, StoredLabel, adapted_to,
};
use crate::model::channel::Channel;
use crate::readings;
use crate::recognise::Sample;
use crate::setup::{LoadedSetup, Region, SetupError};
use deciphered_camera::{DecipheredCamera, LearnedCamera, fits, learn_from, region_of};
use known_glyphs::read_with_known_glyphs;
pub use questions::DigitQuestion;
use search::OverlaySearch;

/// A camera whose overlay was found and deciphered.
#[derive(Debug, Clone)]
pub struct NewCamera {
    /// The setup, not saved yet, with the path where it will be saved.
    pub setup: LoadedSetup,
    /// The glyphs, without those of doubtful digits.
    pub set: GlyphSet,
    /// The labels that the glyphs were learned from.
    pub labels: LabelFile,
    /// The readouts, in the order of the setup's regions.
    pub readouts: Vec<NamedReadout>,
    /// Boxes that may contain a readout but could not be deciphered.
    pub undeciphered: Vec<PixelRect>,
    /// Images of doubtful digits, for the pilot to confirm.
    pub questions: Vec<DigitQuestion>,
    /// A frame of the clip, to draw the boxes on.
    pub still: GrayImage,
    /// Time of the frame `still`, in seconds.
    pub still_time_s: f64,
    /// Patches of the boxes, from the frames that were searched for readouts; `None` if [`NewCamera::confirm`] has to
    /// fetch them from the clip.
    pub sample: Option<RegionSample>,
}

/// The patches of several boxes, from frames spread over a recording.
#[derive(Debug, Clone)]
pub struct RegionSample {
    /// The boxes, in pixels of the frame.
    pub boxes: Vec<PixelRect>,
    /// The patches of the boxes, in the order of `boxes`.
    pub sample: Sample,
}

/// A readout with its channel.
#[derive(Debug, Clone, PartialEq)]
pub struct NamedReadout {
    /// The channel, its probability and the reasons for it.
    pub guess: ChannelGuess,
    /// The box of the readout.
    pub rect: PixelRect,
    /// The text in the frame [`NewCamera::still`]; if that text is doubtful, the most certain text of another frame.
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
        /// Path of the clip.
        clip: String,
    },
    /// No readout could be deciphered.
    #[error(
        "{clip}: {boxes} boxes that may contain readouts were found, but their digits could not be deciphered"
    )]
    Undeciphered {
        /// Path of the clip.
        clip: String,
        /// Number of boxes that may be readouts.
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

/// A readout cannot be given a channel that another readout already has.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("another readout is the {}", .channel.name())]
pub struct ChannelTaken {
    /// The channel that another readout has.
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

/// Proposed regions, from which the pilot starts marking.
#[derive(Debug, Clone)]
pub struct ProposedRegions {
    /// The deciphered readouts, then the boxes that may contain a readout.
    pub regions: Vec<Region>,
    /// A frame, to draw the boxes on; `None` for a clip without frames.
    pub still: Option<GrayImage>,
}

/// Proposes regions for a clip, for the pilot to check. `progress` is called as in [`prepare_camera`].
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
    Ok(ProposedRegions { regions, still: search.still(clip)?.map(|(_, still)| still) })
}

/// Prepares the camera of a clip. Nothing is written; `setup_path` is the path where the setup will be saved.
/// `progress` is called from several threads with the share of the frames fetched, 0 to 1.
///
/// # Errors
/// If the clip cannot be read, or if no readout is found, deciphered or learned; see [`NewCameraError`].
pub fn prepare_camera(
    clip: &mut Clip,
    setup_path: &Path,
    progress: &(dyn Fn(f64) + Sync),
) -> Result<NewCamera, NewCameraError> {
    let path = clip.info().path.clone();
    let name = path.display().to_string();
    let search = OverlaySearch::of(clip, progress)?;
    let boxes = search.found.len();
    let Some((still_time_s, still)) = search.still(clip)?.filter(|_| boxes > 0) else {
        return Err(NewCameraError::NoReadouts { clip: name });
    };
    let undeciphered = NewCameraError::Undeciphered { clip: name, boxes };
    let camera_of = |readouts: Vec<_>| {
        DecipheredCamera::new(readouts, still_time_s, still.dimensions(), setup_path, &file_name(&path))
    };
    let readouts = search.readouts();
    if readouts.is_empty() {
        return Err(undeciphered);
    }
    let mut learned = LearnedCamera::learn(camera_of(readouts), &search, clip)?;
    let uncertain = search.uncertain().into_iter().chain(learned.left_out.iter().copied());
    let known = learned.camera.deciphered.clone();
    let added = read_with_known_glyphs(uncertain.collect(), &known, &learned.set, &search, clip)?;
    if !added.is_empty() {
        // The channels depend on all readouts, so everything is learned again.
        let all = camera_of(known.into_iter().chain(&added).collect());
        match LearnedCamera::learn(all, &search, clip) {
            // If the two readers disagree now, the added readings were wrong, and so are the glyphs learned from them.
            Ok(again) if again.left_out.is_empty() => learned = again,
            Ok(_) | Err(NewCameraError::Learn(_)) => {}
            Err(error) => return Err(error),
        }
    }
    let LearnedCamera { camera, set, sample, .. } = learned;
    if camera.readouts.is_empty() {
        return Err(undeciphered);
    }
    let questions = camera.questions(&set, &search, clip)?;
    clip.close();
    Ok(NewCamera {
        questions,
        sample: Some(RegionSample { boxes: boxes_of(&camera.setup), sample }),
        undeciphered: search.boxes_without(&camera.deciphered),
        setup: camera.setup,
        set,
        labels: camera.labels,
        readouts: camera.readouts,
        still,
        still_time_s,
    })
}

/// Whether the box `now` is the box `found`, possibly moved a little: it covers more than half of `found`.
#[must_use]
pub fn is_same_box(found: PixelRect, now: PixelRect) -> bool {
    2 * found.overlap_px(now) > found.area_px()
}

fn boxes_of(setup: &LoadedSetup) -> Vec<PixelRect> {
    setup.setup.regions.iter().map(|region| region.rect).collect()
}

impl NewCamera {
    /// Learns the glyphs again with readings that the pilot has confirmed or corrected. They override deciphered texts.
    /// Labels from deciphered texts are dropped if they have digits without a glyph for their channel.
    ///
    /// # Errors
    /// If the clip or the labelled frames cannot be read, or nothing can be learned; the camera is then unchanged.
    pub fn confirm(&mut self, clip: &mut Clip, readings: &[LabelledReading]) -> Result<(), NewCameraError> {
        let mut labels = self.labels.clone();
        labels.labels.retain(|label| label.insisted || !self.has_unknown_digits(label));
        let name = file_name(&clip.info().path);
        let mut confirmed = LabelFile::default();
        for reading in readings {
            confirmed.add(&name, reading);
            labels.add(&name, reading);
            labels.insist(&name, &reading.channel, reading.time_s);
        }
        let mut setup = self.setup.clone();
        setup.setup.regions = adapted_to(&setup.setup.regions, &confirmed);
        let boxes = boxes_of(&setup);
        let sample = match self.sample.take().filter(|sample| sample.boxes == boxes) {
            Some(fetched) => fetched,
            None => RegionSample { sample: readings::sample(clip, &setup.setup)?, boxes },
        };
        let learned = learn_from(clip, &setup, &labels, &sample.sample);
        self.sample = Some(sample);
        self.set = learned?.set;
        (self.labels, self.setup) = (labels, setup);
        let missing = self.set.missing_digits();
        self.questions.retain(|question| question.digits.iter().any(|digit| missing.contains(digit)));
        Ok(())
    }

    /// Whether a label has digits that the glyph set lacks for its channel.
    fn has_unknown_digits(&self, label: &StoredLabel) -> bool {
        let face = self.set.face_for(&label.channel);
        let is_known = |digit: char| face.is_some_and(|face| face.glyph(digit).is_some());
        label.text.chars().any(|character| character.is_ascii_digit() && !is_known(character))
    }

    /// Replaces the setup by one that the pilot has changed. If a box has a new channel, its labels, questions and
    /// glyphs get that channel too. A box that was moved a little is recognised (see [`is_same_box`]); labels,
    /// questions and glyphs of a removed box are dropped.
    pub fn change_setup(&mut self, setup: LoadedSetup) {
        let new_name = |readout: &NamedReadout| {
            let region = setup.setup.regions.iter().find(|region| is_same_box(readout.rect, region.rect))?;
            Some((readout.guess.channel.clone(), region.channel.clone()))
        };
        let names: Vec<(Channel, Channel)> = self.readouts.iter().filter_map(new_name).collect();
        let renamed = |old: &Channel| names.iter().find(|(name, _)| name == old).map(|(_, new)| new.clone());
        let rename = |channel: &mut Channel| renamed(channel).map(|new| *channel = new).is_some();
        self.labels.labels.retain_mut(|label| rename(&mut label.channel));
        self.questions.retain_mut(|question| rename(&mut question.guess.channel));
        self.readouts.retain_mut(|readout| rename(&mut readout.guess.channel));
        self.set.faces.retain_mut(|face| {
            let for_all = face.channels.is_empty();
            face.channels.retain_mut(rename);
            for_all || !face.channels.is_empty()
        });
        self.setup = setup;
    }

    /// Gives a readout another channel. `readout` is its index in [`Self::readouts`]. The unit is kept if the channel
    /// can have it.
    ///
    /// # Errors
    /// If another readout has the channel.
    pub fn rename(&mut self, readout: usize, channel: &Channel) -> Result<(), ChannelTaken> {
        let taken = self.setup.setup.regions.iter().position(|region| region.channel == *channel);
        if taken.is_some_and(|other| other != readout) {
            return Err(ChannelTaken { channel: channel.clone() });
        }
        let mut setup = self.setup.clone();
        let Some(region) = setup.setup.regions.get_mut(readout) else { return Ok(()) };
        region.channel = channel.clone();
        region.unit = region.unit.filter(|unit| fits(*unit, channel));
        self.change_setup(setup);
        if let Some(named) = self.readouts.get_mut(readout) {
            named.guess = ChannelGuess { channel: channel.clone(), probability: 1.0, reasons: Vec::new() };
        }
        Ok(())
    }

    /// Saves setup, glyphs and labels. `existing` says what to do if the file of the setup exists already.
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

//! Preparation: the recogniser is calibrated on the recording, and a setup that does not fit is detected before anything is
//! written.

use image::GrayImage;
use rayon::prelude::*;
use thiserror::Error;

use super::sampling::sample;
use crate::advice::{Advice, Advised, FlightNote};
use crate::detect::propose;
use crate::footage::{self, FootageError, FrameSource};
use crate::geometry::PixelRect;
use crate::glyphs::GlyphSet;
use crate::model::channel::Channel;
use crate::recognise::{Patch, Recogniser, RegionReading, Sample};
use crate::setup::{Region, Setup};

/// Minimum share of the sampled frames in which a channel must be readable; below it the channel is left blank. The signal may
/// be lost for a part of a flight. Set by judgement.
const MIN_READABLE_SHARE: f64 = 0.05;

/// Number of frames searched for an overlay that is not where the setup has it. Set by judgement.
const SEARCHED_FRAMES: usize = 24;

/// Maximum difference between the offsets of two boxes that moved together, in pixels. Set by judgement.
const MAX_OFFSET_DIFFERENCE_PX: i64 = 6;

/// A setup and a recogniser prepared for a recording.
#[derive(Debug)]
pub struct Prepared {
    /// The setup, with its boxes where the overlay is in this recording.
    pub setup: Setup,
    /// The recogniser, calibrated on this recording.
    pub recogniser: Recogniser,
    /// The frames it was calibrated on.
    pub sample: Sample,
    /// Offset of the boxes from where the setup has them, in pixels right and down; `None` if they were not moved.
    pub moved: Option<(i64, i64)>,
}

impl Prepared {
    /// The channels that are readable in this recording.
    #[must_use]
    pub fn readable(&self) -> Vec<&Channel> {
        let regions = self.setup.regions.iter().enumerate();
        let readable = regions.filter(|(number, _)| is_readable(*number, &self.recogniser, &self.sample));
        readable.map(|(_, region)| &region.channel).collect()
    }

    /// Whether so little is readable that the overlay may be elsewhere.
    fn may_be_moved(&self) -> bool {
        let readable = self.readable();
        !readable.contains(&&Channel::Speed) || 2 * readable.len() <= self.setup.regions.len()
    }

    /// The note that the boxes were moved.
    #[must_use]
    pub fn note(&self) -> Option<FlightNote> {
        let (right, down) = self.moved?;
        let sideways = if right < 0 { "left" } else { "right" };
        let upright = if down < 0 { "up" } else { "down" };
        let (across, along) = (right.abs(), down.abs());
        let sentence = format!(
            "The overlay does not stand where the setup has it: all boxes were moved by {across} pixels to the {sideways} and {along} {upright}. If this camera stays so, mark its boxes again."
        );
        Some(FlightNote { sentence, advice: Some(Advice::MarkBoxes) })
    }
}

/// No channel of the setup is readable in this recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Misfit {
    /// Share of the sampled frames in which each channel is readable, 0 to 1.
    pub readable: Vec<(Channel, f64)>,
}

impl std::fmt::Display for Misfit {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let share = |(channel, share): &(Channel, f64)| format!("{} {:.0} %", channel.name(), 100.0 * share);
        let shares: Vec<String> = self.readable.iter().map(share).collect();
        write!(
            f,
            "the setup does not fit this recording: no region shows text that the known glyphs explain (readable in the sampled frames: {})",
            shares.join(", ")
        )
    }
}

/// Why a recording cannot be read with a setup.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum PrepareError {
    /// The clips.
    #[error(transparent)]
    Footage(#[from] FootageError),
    /// The setup is not that of this recording.
    #[error("{0}")]
    Misfit(Misfit),
}

impl Advised for PrepareError {
    fn advice(&self) -> Option<Advice> {
        matches!(self, Self::Misfit(_)).then_some(Advice::InspectMarkOrTeach)
    }
}

/// Calibrates a recogniser on a recording. If the speed or half of the channels are not readable, the overlay is searched for.
/// The boxes are moved if most of the overlay has one offset, and half of the channels, and more than before, are readable
/// there. Less may be chance: a box that happens to cover another text.
///
/// # Errors
/// Those of the source, and [`PrepareError::Misfit`] if no channel is readable.
pub fn prepare<S: FrameSource>(
    source: &mut S,
    setup: &Setup,
    sets: &[GlyphSet],
) -> Result<Prepared, PrepareError> {
    let mut prepared = calibrated(source, setup.clone(), sets, None)?;
    if prepared.may_be_moved()
        && let Some((by, setup)) = search(source, setup)?
    {
        let other = calibrated(source, setup, sets, Some(by))?;
        let readable = other.readable().len();
        if readable > prepared.readable().len() && 2 * readable >= prepared.setup.regions.len() {
            prepared = other;
        }
    }
    if !prepared.readable().is_empty() {
        return Ok(prepared);
    }
    let Prepared { setup, recogniser, sample, .. } = &prepared;
    let share = |(number, region): (usize, &Region)| {
        (region.channel.clone(), readable_share(number, recogniser, sample))
    };
    Err(PrepareError::Misfit(Misfit { readable: setup.regions.iter().enumerate().map(share).collect() }))
}

fn calibrated<S: FrameSource>(
    source: &mut S,
    setup: Setup,
    sets: &[GlyphSet],
    moved: Option<(i64, i64)>,
) -> Result<Prepared, FootageError> {
    let sample = sample(source, &setup)?;
    let recogniser = Recogniser::calibrate(&setup.regions, sets, &sample);
    Ok(Prepared { setup, recogniser, sample, moved })
}

/// Offset of the overlay, in pixels right and down, and the setup with its boxes moved by it.
type MovedSetup = ((i64, i64), Setup);

/// Searches for the overlay in a recording; `None` if it has no common offset.
fn search<S: FrameSource>(source: &mut S, setup: &Setup) -> Result<Option<MovedSetup>, FootageError> {
    let searched = footage::sample(source, SEARCHED_FRAMES)?;
    let frames: Vec<GrayImage> = searched.into_iter().map(|frame| frame.image).collect();
    let found: Vec<PixelRect> = propose(&frames).into_iter().map(|proposal| proposal.rect).collect();
    Ok(common_offset(setup, &found).and_then(|by| Some((by, moved(setup, by, &frames)?))))
}

/// Share of the sample in which a region is readable.
pub(super) fn readable_share(number: usize, recogniser: &Recogniser, sample: &Sample) -> f64 {
    let patches = sample.regions.get(number).map_or(&[][..], Vec::as_slice);
    let readable = patches.par_iter().filter(|patch| shows_text(number, recogniser, patch));
    readable.count() as f64 / patches.len().max(1) as f64
}

/// Whether a region is readable in enough of the sample; stops as soon as that is certain.
pub(super) fn is_readable(number: usize, recogniser: &Recogniser, sample: &Sample) -> bool {
    let patches = sample.regions.get(number).map_or(&[][..], Vec::as_slice);
    let min = (MIN_READABLE_SHARE * patches.len() as f64).ceil().max(1.0) as usize;
    let readable = patches.iter().filter(|patch| shows_text(number, recogniser, patch));
    readable.take(min).count() == min
}

fn shows_text(number: usize, recogniser: &Recogniser, patch: &Patch) -> bool {
    matches!(recogniser.read_patch(number, patch), RegionReading::Text { .. })
}

/// The offset from most boxes of a setup to boxes found: from at least two, and half of all.
fn common_offset(setup: &Setup, found: &[PixelRect]) -> Option<(i64, i64)> {
    let centre = |rect: &PixelRect| {
        (i64::from(2 * rect.left + rect.width) / 2, i64::from(2 * rect.top + rect.height) / 2)
    };
    let offsets: Vec<(usize, i64, i64)> = setup
        .regions
        .iter()
        .enumerate()
        .flat_map(|(number, region)| {
            let from = centre(&region.rect);
            found.iter().map(centre).map(move |to| (number, to.0 - from.0, to.1 - from.1))
        })
        .collect();
    let alike = |by: &(usize, i64, i64)| {
        let same = |other: &&(usize, i64, i64)| {
            (other.1 - by.1).abs() <= MAX_OFFSET_DIFFERENCE_PX
                && (other.2 - by.2).abs() <= MAX_OFFSET_DIFFERENCE_PX
        };
        let mut regions: Vec<(usize, i64, i64)> = offsets.iter().filter(same).copied().collect();
        regions.dedup_by_key(|other| other.0);
        regions
    };
    let agreeing = offsets.iter().map(alike).max_by_key(Vec::len)?;
    let middle = |of: fn(&(usize, i64, i64)) -> i64| {
        let mut all: Vec<i64> = agreeing.iter().map(of).collect();
        all.sort_unstable();
        all.get(all.len() / 2).copied()
    };
    (agreeing.len() >= setup.regions.len().div_ceil(2).max(2))
        .then(|| Some((middle(|by| by.1)?, middle(|by| by.2)?)))?
}

/// The setup with its boxes moved; `None` if one would leave the frame.
fn moved(setup: &Setup, by: (i64, i64), frames: &[GrayImage]) -> Option<Setup> {
    let (width, height) = frames.first()?.dimensions();
    let mut setup = setup.clone();
    for region in &mut setup.regions {
        let rect = &mut region.rect;
        rect.left = u32::try_from(i64::from(rect.left) + by.0).ok()?;
        rect.top = u32::try_from(i64::from(rect.top) + by.1).ok()?;
        if rect.left + rect.width > width || rect.top + rect.height > height {
            return None;
        }
    }
    Some(setup)
}

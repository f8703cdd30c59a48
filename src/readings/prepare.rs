//! Preparation: calibrates the recogniser on the recording, and detects a setup that does not fit before
//! anything is written.

use image::GrayImage;
use rayon::prelude::*;
use thiserror::Error;

use super::sampling::sample;
use crate::advice::{Advice, Advised, FlightNote};
use crate::detect::{Reduction, propose};
use crate::footage::{FootageError, FrameSource, LumaImage as _, sample_with};
use crate::geometry::PixelRect;
use crate::glyphs::GlyphSet;
use crate::model::channel::Channel;
use crate::recognise::{Patch, Recogniser, RegionReading, Sample};
use crate::setup::{Region, Setup};

/// Minimum share of the sampled frames in which a channel must be readable; below it the channel is left
/// blank. The share is low because the signal may be lost for a part of a flight. Set by judgement.
const MIN_READABLE_SHARE: f64 = 0.05;

/// Number of frames that are searched if the overlay is not where the setup expects it. Set by judgement.
const SEARCHED_FRAMES: usize = 24;

/// Maximum difference, in either direction, between two offsets of boxes that are taken to be the same, in pixels. Set
/// by judgement.
const MAX_OFFSET_DIFFERENCE_PX: i64 = 6;

/// A setup and a recogniser prepared for a recording.
#[derive(Debug)]
pub struct Prepared {
    /// The setup, with its boxes moved to where the overlay is in this recording.
    pub setup: Setup,
    /// The recogniser, calibrated on this recording.
    pub recogniser: Recogniser,
    /// The frames that the recogniser was calibrated on.
    pub sample: Sample,
    /// Offset by which the boxes were moved from their positions in the setup, in pixels right and down;
    /// `None` if they were not moved.
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

    /// Whether the overlay may be at another position: the speed is not readable, or at most half of the channels are.
    fn may_be_moved(&self) -> bool {
        let readable = self.readable();
        !readable.contains(&&Channel::Speed) || 2 * readable.len() <= self.setup.regions.len()
    }

    /// A note that the boxes were moved; `None` if they were not.
    #[must_use]
    pub fn note(&self) -> Option<FlightNote> {
        let (right, down) = self.moved?;
        let left_or_right = if right < 0 { "left" } else { "right" };
        let up_or_down = if down < 0 { "up" } else { "down" };
        let (across_px, along_px) = (right.abs(), down.abs());
        let sentence = format!(
            "The overlay is not where the setup expects it: all boxes were moved by {across_px} pixels to the {left_or_right} and by {along_px} pixels {up_or_down}. If the overlay of this camera stays there, mark its boxes again."
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
            "the setup does not fit this recording: no region shows text that matches the known glyphs (share of the sampled frames in which each channel is readable: {})",
            shares.join(", ")
        )
    }
}

/// Why a recording cannot be read with a setup.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum PrepareError {
    /// A clip cannot be opened or read.
    #[error(transparent)]
    Footage(#[from] FootageError),
    /// The setup does not belong to this recording.
    #[error("{0}")]
    Misfit(Misfit),
}

impl Advised for PrepareError {
    fn advice(&self) -> Option<Advice> {
        matches!(self, Self::Misfit(_)).then_some(Advice::InspectMarkOrTeach)
    }
}

/// Calibrates a recogniser on a recording. If the speed or at least half of the channels are not readable, the function
/// searches for the overlay elsewhere in the frames. The boxes are moved only if at least half of them have the same
/// offset, and if at least half of the channels, and more than before, are readable at the new position. A weaker match
/// may be chance: a moved box may happen to cover another text.
///
/// # Errors
///
/// Errors of the source, and [`PrepareError::Misfit`] if no channel is readable.
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

/// Offset of the overlay in pixels right and down, and the setup with its boxes moved by that offset.
type MovedSetup = ((i64, i64), Setup);

/// Searches for the overlay in a recording; `None` if no common offset is found.
fn search<S: FrameSource>(source: &mut S, setup: &Setup) -> Result<Option<MovedSetup>, FootageError> {
    let size = (source.info().width, source.info().height);
    let reduction = Reduction::of(size);
    let searched =
        sample_with(source, SEARCHED_FRAMES, &|_| (), &|luma| reduction.reduced(&luma.to_image()))?;
    let frames: Vec<GrayImage> = searched.into_iter().map(|frame| frame.image).collect();
    let found: Vec<PixelRect> =
        propose(&frames).into_iter().map(|proposal| reduction.in_whole_frame(proposal.rect)).collect();
    Ok(common_offset(setup, &found).and_then(|by| Some((by, moved(setup, by, size)?))))
}

/// Share of the sampled frames in which a region is readable, 0 to 1; `number` is the region's index.
pub(super) fn readable_share(number: usize, recogniser: &Recogniser, sample: &Sample) -> f64 {
    let patches = sample.regions.get(number).map_or(&[][..], Vec::as_slice);
    let readable = patches.par_iter().filter(|patch| shows_text(number, recogniser, patch));
    readable.count() as f64 / patches.len().max(1) as f64
}

/// Whether a region is readable in enough of the sampled frames. Stops as soon as the answer is certain.
pub(super) fn is_readable(number: usize, recogniser: &Recogniser, sample: &Sample) -> bool {
    let patches = sample.regions.get(number).map_or(&[][..], Vec::as_slice);
    let min = (MIN_READABLE_SHARE * patches.len() as f64).ceil().max(1.0) as usize;
    let readable = patches.iter().filter(|patch| shows_text(number, recogniser, patch));
    readable.take(min).count() == min
}

fn shows_text(number: usize, recogniser: &Recogniser, patch: &Patch) -> bool {
    matches!(recogniser.read_patch(number, patch), RegionReading::Text { .. })
}

/// The offset, in pixels to the right and downwards, by which boxes of a setup must be moved to lie on boxes that were
/// found. `None` unless it is nearly the same for at least two boxes and for at least half of all boxes of the setup.
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

/// The setup with its boxes moved; `None` if a box would extend beyond the frame, whose size is in pixels.
fn moved(setup: &Setup, by: (i64, i64), (width, height): (u32, u32)) -> Option<Setup> {
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

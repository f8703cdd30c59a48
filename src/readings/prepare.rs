//! Preparing to read: the recogniser is calibrated on the recording, and a setup of which no channel is readable is
//! noticed before anything is written.

use image::GrayImage;
use rayon::prelude::*;
use thiserror::Error;

use super::sample;
use crate::detect::propose;
use crate::footage::{self, FootageError, FrameSource};
use crate::geometry::PixelRect;
use crate::glyphs::GlyphSet;
use crate::model::channel::Channel;
use crate::recognise::{Patch, Recogniser, RegionReading, Sample};
use crate::setup::{Region, Setup};

/// Share of the sampled frames in which a channel must be readable to be read at all. A flight spends some of its
/// time with the picture lost, but not nearly all.
const LEAST_READABLE: f64 = 0.05;

/// Frames searched for the overlay when it is not where the setup says.
const SEARCHED_FRAMES: usize = 24;

/// Distance in pixels to which the moves of two boxes are one and the same.
const SAME_MOVE_PX: i64 = 6;

/// What a recording is read with.
#[derive(Debug)]
pub struct Prepared {
    /// The setup, its boxes where the overlay stands in this recording.
    pub setup: Setup,
    /// Calibrated on this recording.
    pub recogniser: Recogniser,
    /// The frames it was calibrated on.
    pub sample: Sample,
    /// How far the boxes were moved from where the setup has them, in pixels right and down.
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

    /// Whether so little is readable that the overlay may stand elsewhere.
    fn may_be_moved(&self) -> bool {
        let readable = self.readable();
        !readable.contains(&&Channel::Speed) || 2 * readable.len() <= self.setup.regions.len()
    }

    /// Says that the boxes were moved.
    #[must_use]
    pub fn sentence(&self) -> Option<String> {
        let (right, down) = self.moved?;
        let sideways = if right < 0 { "left" } else { "right" };
        let upright = if down < 0 { "up" } else { "down" };
        let (across, along) = (right.abs(), down.abs());
        Some(format!(
            "The overlay does not stand where the setup has it: all boxes were moved by {across} pixels to the {sideways} and {along} {upright}. If this camera stays so, mark its boxes again with `pairspeed setup`."
        ))
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
            "the setup does not fit this recording: no region shows text that the known glyphs explain (readable in the sampled frames: {}); look with `pairspeed inspect`, then mark the boxes again with `pairspeed setup` if the camera or its overlay is another, or teach its digits with `pairspeed teach`",
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

/// Calibrates a recogniser on a recording. Where the speed or half of the channels are not readable, the overlay is
/// searched for: the boxes follow it if all of it stands elsewhere by one and the same distance, and half of the channels
/// are readable there and more than before. Less may be chance: a box that happens to lie on some other text.
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

/// How far the overlay was moved, in pixels right and down, and the setup with its boxes there.
type Moved = ((i64, i64), Setup);

/// Where the overlay stands in a recording: how far from where the setup has it, and the setup with its boxes there.
fn search<S: FrameSource>(source: &mut S, setup: &Setup) -> Result<Option<Moved>, FootageError> {
    let searched = footage::sample(source, SEARCHED_FRAMES)?;
    let pictures: Vec<GrayImage> = searched.into_iter().map(|frame| frame.image).collect();
    let found: Vec<PixelRect> = propose(&pictures).into_iter().map(|proposal| proposal.place).collect();
    Ok(common_move(setup, &found).and_then(|by| Some((by, moved(setup, by, &pictures)?))))
}

/// Share of the sample in which a region is readable.
pub(super) fn readable_share(number: usize, recogniser: &Recogniser, sample: &Sample) -> f64 {
    let patches = sample.regions.get(number).map_or(&[][..], Vec::as_slice);
    let readable = patches.par_iter().filter(|patch| shows_text(number, recogniser, patch));
    readable.count() as f64 / patches.len().max(1) as f64
}

/// Whether a region is readable in so much of the sample that it can be read; looks no further once that is clear.
pub(super) fn is_readable(number: usize, recogniser: &Recogniser, sample: &Sample) -> bool {
    let patches = sample.regions.get(number).map_or(&[][..], Vec::as_slice);
    let least = (LEAST_READABLE * patches.len() as f64).ceil().max(1.0) as usize;
    let readable = patches.iter().filter(|patch| shows_text(number, recogniser, patch));
    readable.take(least).count() == least
}

fn shows_text(number: usize, recogniser: &Recogniser, patch: &Patch) -> bool {
    matches!(recogniser.read_patch(number, patch), RegionReading::Text { .. })
}

/// The move that takes most boxes of a setup to boxes found; at least two, and half of all.
fn common_move(setup: &Setup, found: &[PixelRect]) -> Option<(i64, i64)> {
    let centre = |place: &PixelRect| {
        (i64::from(2 * place.left + place.width) / 2, i64::from(2 * place.top + place.height) / 2)
    };
    let moves: Vec<(usize, i64, i64)> = setup
        .regions
        .iter()
        .enumerate()
        .flat_map(|(number, region)| {
            let from = centre(&region.place);
            found.iter().map(centre).map(move |to| (number, to.0 - from.0, to.1 - from.1))
        })
        .collect();
    let alike = |by: &(usize, i64, i64)| {
        let same = |other: &&(usize, i64, i64)| {
            (other.1 - by.1).abs() <= SAME_MOVE_PX && (other.2 - by.2).abs() <= SAME_MOVE_PX
        };
        let mut regions: Vec<(usize, i64, i64)> = moves.iter().filter(same).copied().collect();
        regions.dedup_by_key(|other| other.0);
        regions
    };
    let agreeing = moves.iter().map(alike).max_by_key(Vec::len)?;
    let middle = |of: fn(&(usize, i64, i64)) -> i64| {
        let mut all: Vec<i64> = agreeing.iter().map(of).collect();
        all.sort_unstable();
        all.get(all.len() / 2).copied()
    };
    (agreeing.len() >= setup.regions.len().div_ceil(2).max(2))
        .then(|| Some((middle(|by| by.1)?, middle(|by| by.2)?)))?
}

/// The setup with its boxes moved; `None` where one would leave the frame.
fn moved(setup: &Setup, by: (i64, i64), pictures: &[GrayImage]) -> Option<Setup> {
    let (width, height) = pictures.first()?.dimensions();
    let mut setup = setup.clone();
    for region in &mut setup.regions {
        let place = &mut region.place;
        place.left = u32::try_from(i64::from(place.left) + by.0).ok()?;
        place.top = u32::try_from(i64::from(place.top) + by.1).ok()?;
        if place.left + place.width > width || place.top + place.height > height {
            return None;
        }
    }
    Some(setup)
}

//! Search for the overlay: finds the boxes of its readouts.
//!
//! ```text
//! frames -> gradients (edges that stay in place, and in how many frames) -> changing_parts (areas)
//!        -> numbers (read around an area in one frame) -> number_votes (over many frames)
//!        -> readout (boxes) -> proposals
//! ```
//!
//! Limits of this folder without a stated origin were set by judgement and adjusted on the tuning clips of
//! docs/benchmarks.md; the drawn clips of `tests.rs` check the result. Proposals are only a starting point: the pilot can
//! change every box.

mod changing_parts;
mod gradients;
mod number_votes;
mod numbers;
mod plane;
mod readout;

#[cfg(test)]
mod tests;

use image::GrayImage;
use image::imageops::thumbnail;
use rayon::prelude::*;

use crate::geometry::PixelRect;
use crate::setup::MIN_BOX_PX;
use gradients::PersistentGradients;
use readout::{Readout, find_readouts};

/// Minimum number of frames: with fewer, the overlay cannot be distinguished from the background.
pub const MIN_FRAMES: usize = 8;
/// Maximum number of proposals.
pub const MAX_PROPOSALS: usize = 16;
/// Minimum width and height of a frame, in pixels; smaller ones have no legible overlay.
const MIN_FRAME_PX: u32 = 32;
/// Maximum length of the longer side of a frame that is searched at full size, in pixels. Larger frames are
/// searched at a half, a third and so on of their size: their text is large, and the maps of the search take ten
/// times the memory of a frame.
const MAX_SIDE_PX: u32 = 2047;
/// Margin around the rectangle of a readout, in pixels.
const MARGIN_PX: u32 = 1;
/// Score of digits that change in no frame.
const CONSTANT_SCORE: f32 = 0.2;

/// A box that probably contains a readout.
#[derive(Debug, Clone, PartialEq)]
pub struct Proposal {
    /// The box around the digits, with a margin of a few pixels. Proposals do not overlap.
    pub rect: PixelRect,
    /// How clearly the digits change, 0 to 1: a score for ranking, not a probability. 0.2 means that they never change.
    pub score: f32,
}

/// Finds the readouts in about 20 to 60 frames spread over a whole clip, with the highest scores first.
///
/// The overlay stays in place while the scenery behind it moves, so the brightness gradients of the overlay agree over
/// time. Digits differ from captions and from the airframe because their edges are present in some of the frames only,
/// and from everything else that changes because the line reader reads different numbers there. Frames of another size
/// than the first one are ignored. The result is empty with fewer than [`MIN_FRAMES`] frames, and has at most
/// [`MAX_PROPOSALS`] entries.
#[must_use]
pub fn propose(frames: &[GrayImage]) -> Vec<Proposal> {
    let Some(size) = frames.first().map(GrayImage::dimensions) else {
        return Vec::new();
    };
    let same_size: Vec<&GrayImage> = frames.iter().filter(|frame| frame.dimensions() == size).collect();
    if same_size.len() < MIN_FRAMES || size.0.min(size.1) < MIN_FRAME_PX {
        return Vec::new();
    }
    let reduction = Reduction::of(size);
    if !reduction.is_none() {
        let reduced: Vec<GrayImage> = same_size.par_iter().map(|frame| reduction.reduced(frame)).collect();
        let enlarged =
            |proposal: Proposal| Proposal { rect: reduction.in_whole_frame(proposal.rect), ..proposal };
        return propose(&reduced).into_iter().map(enlarged).collect();
    }
    let gradients = PersistentGradients::of(&same_size);
    let originals: Vec<&GrayImage> =
        gradients.kept.iter().filter_map(|index| same_size.get(*index).copied()).collect();
    let mut readouts = find_readouts(&gradients, &originals);
    readouts.sort_by(|one, other| score(other).total_cmp(&score(one)));
    readouts.truncate(MAX_PROPOSALS);
    let boxes = boxes(&readouts, size);
    let is_large =
        |(_, rect): &(&Readout, PixelRect)| rect.width >= MIN_BOX_PX.0 && rect.height >= MIN_BOX_PX.1;
    let proposal = |(readout, rect): (&Readout, PixelRect)| Proposal { rect, score: score(readout) };
    readouts.iter().zip(boxes).filter(is_large).map(proposal).collect()
}

/// The whole number by which the width and height of frames are divided, so that they can be searched.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reduction(u32);

impl Reduction {
    /// The reduction of frames of a size in pixels.
    #[must_use]
    pub fn of((width, height): (u32, u32)) -> Self {
        Self(width.max(height).div_ceil(MAX_SIDE_PX).max(1))
    }

    /// Whether frames are searched at their full size.
    #[must_use]
    pub fn is_none(self) -> bool {
        self.0 == 1
    }

    /// The reduced frame.
    #[must_use]
    pub fn reduced(self, frame: &GrayImage) -> GrayImage {
        thumbnail(frame, frame.width() / self.0, frame.height() / self.0)
    }

    /// The rectangle in the whole frame that a rectangle in the reduced frame stands for.
    #[must_use]
    pub fn in_whole_frame(self, rect: PixelRect) -> PixelRect {
        rect.times(self.0)
    }
}

/// How clearly the digits of a readout change, [`CONSTANT_SCORE`] to 1.
fn score(readout: &Readout) -> f32 {
    if readout.changes { readout.certainty.clamp(CONSTANT_SCORE, 1.0) } else { CONSTANT_SCORE }
}

/// The boxes of the readouts with a margin, as far as the other boxes and the edges of the frame allow.
fn boxes(readouts: &[Readout], frame: (u32, u32)) -> Vec<PixelRect> {
    let mut boxes: Vec<PixelRect> = Vec::with_capacity(readouts.len());
    for readout in readouts {
        let rect = readout.rect.with_margin(MARGIN_PX).clipped_to(frame);
        boxes.push(boxes.iter().fold(rect, |rect, earlier| cut_clear_of(rect, *earlier)));
    }
    boxes
}

/// Cuts the overlap with another rectangle off, on the side where the fewest pixels are lost.
fn cut_clear_of(rect: PixelRect, other: PixelRect) -> PixelRect {
    if !rect.overlaps(other) {
        return rect;
    }
    let cuts = [
        rect.with_columns(other.right().min(rect.right()), rect.right()),
        rect.with_columns(rect.left, other.left.max(rect.left)),
        rect.with_rows(other.bottom().min(rect.bottom()), rect.bottom()),
        rect.with_rows(rect.top, other.top.max(rect.top)),
    ];
    cuts.into_iter().max_by_key(|cut| cut.area_px()).unwrap_or(rect)
}

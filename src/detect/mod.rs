//! The search for the overlay: where on the frames the digits of readouts stand.

mod change;
mod digits;
mod ghost;
mod guess;
mod lines;
mod places;
mod plane;
mod readout;

#[cfg(test)]
mod tests;

use image::GrayImage;

use crate::geometry::PixelRect;
use crate::model::channel::Channel;
use crate::setup::{MAX_DIGITS, MIN_BOX_PX, Region};
use ghost::Ghost;
use guess::guess_channels;
use lines::{cut_clear_of, find_lines};
use places::{Places, with_spare_place};
use readout::{Readout, find_readouts};

/// Fewest frames that tell overlay from scenery.
pub const FEWEST_FRAMES: usize = 8;
/// Frames narrower or lower than this hold no overlay.
const SMALLEST_FRAME_PX: u32 = 32;
/// Most proposals.
pub const MOST_PROPOSALS: usize = 16;
/// Room around the digits, beyond the spread of the ghost.
const ROOM_PX: u32 = 1;
/// Difference between good and little agreement that leaves no doubt of a changing digit.
const SURE_DIFFERENCE: f32 = 0.5;
/// Certainty of digits that never change.
const CONSTANT_CERTAINTY: f32 = 0.2;

/// A place where a readout seems to stand.
#[derive(Debug, Clone, PartialEq)]
pub struct Proposal {
    /// The box around the digits, with room of a few pixels; proposals do not overlap.
    pub place: PixelRect,
    /// What it may show, no two the same: a guess to be checked, `channel-1` and so on where
    /// there is none.
    pub channel: Channel,
    /// How clearly it shows changing digits, 0 to 1: for ranking, not a probability. At 0.2 the
    /// digits were never seen to change.
    pub certainty: f32,
    /// Share of the steps from frame to frame, of those given, in which the text differs: that
    /// of the digit that changes most, 0 to 1.
    pub changing: f32,
    /// Digits of the widest value that the box has room for, those after the point included: as
    /// counted, one more where a spare place is in front; `None` where the count is not sure.
    pub digits: Option<u8>,
    /// Digits after the decimal point; 0 where no point was seen.
    pub decimals: u8,
}

impl Proposal {
    /// The region to start from: what the proposal tells, the rest left open.
    #[must_use]
    pub fn region(&self) -> Region {
        let Self { place, digits, decimals, .. } = *self;
        Region { digits, decimals, ..Region::new(self.channel.clone(), place, None) }
    }
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
    if alike.len() < FEWEST_FRAMES || size.0.min(size.1) < SMALLEST_FRAME_PX {
        return Vec::new();
    }
    let ghost = Ghost::of(&alike);
    let mut readouts = find_readouts(&ghost, &find_lines(&ghost.strength));
    readouts.sort_by(|one, other| certainty(other).total_cmp(&certainty(one)));
    readouts.truncate(MOST_PROPOSALS);
    let channels = guess_channels(&ghost, &readouts);
    let counted: Vec<Places> = readouts.iter().map(|readout| Places::of(&ghost, readout.span)).collect();
    let places = boxes(&ghost, &readouts, &channels, &counted, size);
    let parts = readouts.iter().zip(channels).zip(counted).zip(places);
    parts
        .filter(|(_, (place, _))| place.width >= MIN_BOX_PX.0 && place.height >= MIN_BOX_PX.1)
        .map(|(((readout, channel), counted), (place, spare))| Proposal {
            place,
            channel,
            certainty: certainty(readout),
            changing: readout.agreement.changed,
            digits: counted.whole.map(|whole| (whole + counted.decimals + u8::from(spare)).min(MAX_DIGITS)),
            decimals: counted.decimals,
        })
        .collect()
}

fn certainty(readout: &Readout) -> f32 {
    let difference = readout.agreement.same - readout.agreement.other;
    (difference / SURE_DIFFERENCE).clamp(CONSTANT_CERTAINTY, 1.0)
}

/// The boxes of the readouts, with room as far as neighbours and the frame's border leave it, and
/// whether a spare place is in front.
fn boxes(
    ghost: &Ghost,
    readouts: &[Readout],
    channels: &[Channel],
    counted: &[Places],
    (width, height): (u32, u32),
) -> Vec<(PixelRect, bool)> {
    let mut spans: Vec<(PixelRect, bool)> = Vec::with_capacity(readouts.len());
    for ((readout, channel), counted) in readouts.iter().zip(channels).zip(counted) {
        let room = if counted.whole.is_some_and(|whole| whole >= usual_whole_digits(channel)) {
            0
        } else {
            counted.pitch_px
        };
        let wider = with_spare_place(ghost, readout.span, room);
        let spare = room > 0 && readout.span.left - wider.left == room;
        let span = wider.with_margin(ROOM_PX).clipped_to((width, height));
        spans.push((spans.iter().fold(span, |span, (earlier, _)| cut_clear_of(span, *earlier)), spare));
    }
    spans
}

/// Digits before the point that values of a channel hardly exceed: common practice, no source.
fn usual_whole_digits(channel: &Channel) -> u8 {
    match channel {
        Channel::Voltage | Channel::Satellites => 2,
        Channel::Speed | Channel::Throttle | Channel::Current | Channel::Heading => 3,
        _ => 4,
    }
}

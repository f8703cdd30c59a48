//! Search for the overlay: finds the boxes of its readouts and guesses their channels.
//!
//! ```text
//! frames -> gradients (what stays in place) -> text_lines -> readout (the digits in a line, by line_strip and
//!        digit_samples) -> decimal_point, digit_count, channel_guess -> proposals
//! ```
//!
//! All thresholds of this folder were set by judgement while the search was written; the drawn clips of `tests.rs` check
//! the result. Proposals are only a starting point: the pilot checks every box.

mod channel_guess;
mod columns;
mod correlation;
mod decimal_point;
mod digit_count;
mod digit_samples;
mod gradients;
mod line_strip;
mod plane;
mod readout;
mod text_lines;

#[cfg(test)]
mod tests;

use image::GrayImage;

use crate::geometry::PixelRect;
use crate::model::channel::Channel;
use crate::setup::{MAX_DIGITS, MIN_BOX_PX, Region};
use channel_guess::guess_channels;
use digit_count::{DigitCount, with_room_for_a_digit};
use gradients::PersistentGradients;
use readout::{Readout, find_readouts};
use text_lines::{cut_clear_of, find_lines};

/// Minimum number of frames: with fewer, the overlay cannot be distinguished from the background.
pub const MIN_FRAMES: usize = 8;
/// Maximum number of proposals.
pub const MAX_PROPOSALS: usize = 16;
/// Minimum width and height of a frame, in pixels; smaller ones have no legible overlay.
const MIN_FRAME_PX: u32 = 32;
/// Margin around the digits, in pixels, in addition to the [spread](text_lines::SPREAD_PX) of the gradients.
const MARGIN_PX: u32 = 1;
/// Difference between high and low agreement (correlations) from which the score is 1: a digit certainly changes.
const CERTAIN_DIFFERENCE: f32 = 0.5;
/// Score of digits that never change in the frames.
const CONSTANT_SCORE: f32 = 0.2;

/// A box that probably contains a readout.
#[derive(Debug, Clone, PartialEq)]
pub struct Proposal {
    /// The box around the digits, with a margin of a few pixels. Proposals do not overlap.
    pub rect: PixelRect,
    /// The guessed channel, to be checked; `channel-1` and so on if there is no guess. No two proposals have the same.
    pub channel: Channel,
    /// How clearly the digits change, 0 to 1: a score for ranking, not a probability. At 0.2 they never change.
    pub score: f32,
    /// Share of the steps from one given frame to the next at which the text differs, 0 to 1: that of the digit that
    /// changes most often.
    pub changed_share: f32,
    /// Number of digits that the box has room for, including those after the point: the counted digits, and one more if
    /// the box has room for another digit in front. `None` if the count is not certain.
    pub digits: Option<u8>,
    /// Number of digits after the decimal point; 0 if no point was found.
    pub decimals: u8,
}

impl Proposal {
    /// The region to start from: the proposed settings, all others left out.
    #[must_use]
    pub fn region(&self) -> Region {
        let Self { rect, digits, decimals, .. } = *self;
        Region { digits, decimals, ..Region::new(self.channel.clone(), rect, None) }
    }
}

/// Finds the readouts in about 20 to 60 frames spread over a whole clip, with the highest scores first.
///
/// The overlay stays in place while the scenery behind it moves, so the brightness gradients of the overlay agree over
/// time. Digits differ from labels and from the airframe because they change between a few shapes. Frames of another
/// size than the first one are ignored. The result is empty with fewer than [`MIN_FRAMES`] frames, and has at most
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
    let gradients = PersistentGradients::of(&same_size);
    let mut readouts = find_readouts(&gradients, &find_lines(&gradients.strength));
    readouts.sort_by(|one, other| score(other).total_cmp(&score(one)));
    readouts.truncate(MAX_PROPOSALS);
    let channels = guess_channels(&gradients, &readouts);
    let counts: Vec<DigitCount> =
        readouts.iter().map(|readout| DigitCount::of(&gradients, readout.rect)).collect();
    let boxes = boxes(&gradients, &readouts, &channels, &counts, size);
    let parts = readouts.iter().zip(channels).zip(counts).zip(boxes);
    parts
        .filter(|(_, found)| found.rect.width >= MIN_BOX_PX.0 && found.rect.height >= MIN_BOX_PX.1)
        .map(|(((readout, channel), count), ReadoutBox { rect, extra_digit })| {
            let digits = |whole: u8| (whole + count.decimals + u8::from(extra_digit)).min(MAX_DIGITS);
            Proposal {
                rect,
                channel,
                score: score(readout),
                changed_share: readout.agreement.changed_share,
                digits: count.whole.map(digits),
                decimals: count.decimals,
            }
        })
        .collect()
}

/// How clearly the digits of a readout change, [`CONSTANT_SCORE`] to 1.
fn score(readout: &Readout) -> f32 {
    let difference = readout.agreement.high - readout.agreement.low;
    (difference / CERTAIN_DIFFERENCE).clamp(CONSTANT_SCORE, 1.0)
}

/// The box of a readout.
struct ReadoutBox {
    rect: PixelRect,
    /// Whether it has room for one more digit in front of those counted.
    extra_digit: bool,
}

/// The boxes of the readouts, with as much margin as their neighbours and the edges of the frame allow.
fn boxes(
    gradients: &PersistentGradients,
    readouts: &[Readout],
    channels: &[Channel],
    counts: &[DigitCount],
    frame: (u32, u32),
) -> Vec<ReadoutBox> {
    let mut boxes: Vec<ReadoutBox> = Vec::with_capacity(readouts.len());
    for ((readout, channel), count) in readouts.iter().zip(channels).zip(counts) {
        let room_px = if count.whole.is_some_and(|whole| whole >= usual_whole_digits(channel)) {
            0
        } else {
            count.pitch_px
        };
        let wider = with_room_for_a_digit(gradients, readout.rect, room_px);
        let extra_digit = room_px > 0 && readout.rect.left - wider.left == room_px;
        let rect = wider.with_margin(MARGIN_PX).clipped_to(frame);
        let rect = boxes.iter().fold(rect, |rect, earlier| cut_clear_of(rect, earlier.rect));
        boxes.push(ReadoutBox { rect, extra_digit });
    }
    boxes
}

/// Number of digits before the point that values of a channel rarely exceed. Common practice, no source.
fn usual_whole_digits(channel: &Channel) -> u8 {
    match channel {
        Channel::Voltage | Channel::Satellites => 2,
        Channel::Speed | Channel::Throttle | Channel::Current | Channel::Heading => 3,
        _ => 4,
    }
}

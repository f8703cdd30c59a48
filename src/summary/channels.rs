//! Numbers of trusted and blank frames of each channel, in `summary.json`.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::model::channel::Channel;
use crate::model::units::Unit;
use crate::series::Blank;

/// Numbers of trusted and blank frames of one channel.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ChannelSummary {
    /// Channel whose readings are counted.
    pub channel: Channel,
    /// Unit of the values; `None` if unknown.
    pub unit: Option<Unit>,
    /// Number of digits shown after the decimal point.
    pub decimals: u8,
    /// Whether the readout shows one value for the whole flight. Such a readout is not used.
    pub dead: bool,
    /// The value that a dead readout shows for the whole flight, in `unit`; `None` for a readout that is not dead.
    pub stuck_at: Option<f64>,
    /// Number of decoded frames.
    pub frames: usize,
    /// Number of frames with a trusted reading.
    pub read: usize,
    /// Share of the frames with a trusted reading, 0 to 1; `None` if there are no frames.
    pub share: Option<f64>,
    /// Number of blank frames by reason.
    pub blank: BTreeMap<BlankReason, usize>,
    /// The digits that the channel's glyph set lacks, as one text: `47` if it lacks 4 and 7.
    pub unknown_digits: String,
    /// Why the channel cannot be read at all; `None` if it can be read.
    pub unread: Option<UnreadSummary>,
    /// The longest blank intervals, longest first.
    pub longest_blanks: Vec<BlankStretchSummary>,
    /// Number of frames by confidence.
    pub confidence: ConfidenceSummary,
}

/// An interval without readings, from its first blank frame to the next frame read.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct BlankStretchSummary {
    /// Time of the first blank frame, in seconds of flight time; `None` if not finite.
    pub start_s: Option<f64>,
    /// Time of the first frame after the interval, or of the last frame of the recording if the interval reaches its
    /// end, in seconds of flight time; `None` if not finite.
    pub end_s: Option<f64>,
    /// Number of blank frames.
    pub frames: usize,
    /// The most frequent reason within the interval.
    pub reason: BlankReason,
}

/// Number of frames by the probability that the reading is correct. Each class includes its lower limit and excludes
/// its upper limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct ConfidenceSummary {
    /// Number of frames below the confidence threshold, left blank as `unclear` or `digit-unknown`.
    pub below_threshold: usize,
    /// Number of trusted frames below 0.95; they occur if the threshold was set lower than 0.95.
    pub under_0_95: usize,
    /// Number of trusted frames from 0.95 to 0.99.
    pub from_0_95_to_0_99: usize,
    /// Number of trusted frames from 0.99 to 0.999.
    pub from_0_99_to_0_999: usize,
    /// Number of trusted frames of 0.999 and above.
    pub from_0_999: usize,
}

/// Why a reading is blank. The variants are in alphabetical order, which is their order in the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum BlankReason {
    /// The text may hold a digit that the glyph set lacks.
    DigitUnknown,
    /// The region shows no text.
    Empty,
    /// The known glyphs do not fit the region's text.
    GlyphsUnknown,
    /// The value would require an implausibly fast change.
    Jump,
    /// The reading is not blank.
    No,
    /// The value lies outside the plausible range.
    OutOfRange,
    /// The video signal is lost.
    SignalLost,
    /// The value was shown too briefly, or the text mixes the digits of two values.
    TooBrief,
    /// The confidence is below the threshold.
    Unclear,
}

impl From<Blank> for BlankReason {
    fn from(blank: Blank) -> Self {
        match blank {
            Blank::No => Self::No,
            Blank::Empty => Self::Empty,
            Blank::GlyphsUnknown => Self::GlyphsUnknown,
            Blank::DigitUnknown => Self::DigitUnknown,
            Blank::Unclear => Self::Unclear,
            Blank::OutOfRange => Self::OutOfRange,
            Blank::TooBrief => Self::TooBrief,
            Blank::Jump => Self::Jump,
            Blank::SignalLost => Self::SignalLost,
        }
    }
}

/// A channel that cannot be read, and the frames that the pilot can label to make it readable.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct UnreadSummary {
    /// Why the channel cannot be read.
    pub cause: UnreadReason,
    /// Share of the sampled frames in which the channel is readable, 0 to 1; `None` if not finite.
    pub readable_share: Option<f64>,
    /// Path of the clip in which to label frames.
    pub clip: String,
    /// Times of the frames to label, in seconds from the first frame of the clip; an element is `None` if not
    /// finite.
    pub label_at_s: Vec<Option<f64>>,
    /// The command that labels the frames at `label_at_s`; `None` if there are no such frames, or if the flight
    /// was read in the window.
    pub command: Option<String>,
}

/// Why a channel cannot be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum UnreadReason {
    /// No known glyphs fit the region's text.
    NoGlyphsFit,
    /// The region is readable in too few frames.
    RarelyReadable,
}

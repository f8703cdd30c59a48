//! What became of the frames of each channel, in the summary.

use std::collections::BTreeMap;

use serde::Serialize;

use super::number;
use crate::flight::Flight;
use crate::model::channel::Channel;
use crate::model::units::Unit;
use crate::output::tally::{BlankStretch, Confidence, Tally};
use crate::output::unread::{UnreadSummary, unread_summary};
use crate::series::{Blank, ChannelReadings};

/// Frames of one channel.
#[derive(Debug, Serialize)]
pub(super) struct ChannelSummary<'a> {
    channel: &'a Channel,
    unit: Option<Unit>,
    decimals: u8,
    /// Whether the readout is stuck at one value all flight; it is then used for nothing.
    dead: bool,
    /// The value that a dead readout is stuck at; `null` for others.
    stuck_at: Option<f64>,
    frames: usize,
    read: usize,
    /// Trusted share of the frames, 0 to 1.
    share: Option<f64>,
    /// Frames left blank, by reason.
    blank: BTreeMap<&'static str, usize>,
    /// Digits missing from the glyphs that the channel is read with, such as `47`.
    unknown_digits: &'a str,
    /// Why the channel cannot be read at all, and what teaches it; `null` where it can.
    unread: Option<UnreadSummary>,
    /// The longest stretches left blank, the longest first.
    longest_blanks: Vec<StretchSummary>,
    /// How sure the readings are.
    confidence: ConfidenceSummary,
}

/// A stretch left blank, from its first frame to the next one read.
#[derive(Debug, Serialize)]
struct StretchSummary {
    start_s: Option<f64>,
    end_s: Option<f64>,
    frames: usize,
    /// The reason of most of its frames.
    reason: &'static str,
}

/// Frames by the probability that the reading is right. Names give the lower end, which is included,
/// and the upper one, which is not.
#[derive(Debug, Serialize)]
struct ConfidenceSummary {
    /// Text below the threshold of trust: left blank as `unclear` or `digit-unknown`.
    below_threshold: usize,
    /// Trusted under a threshold lower than the usual one.
    under_0_95: usize,
    from_0_95_to_0_99: usize,
    from_0_99_to_0_999: usize,
    from_0_999: usize,
}

/// The channel for the summary.
pub(super) fn channel_summary<'a>(flight: &'a Flight, channel: &'a ChannelReadings) -> ChannelSummary<'a> {
    let Flight { series, legibility, .. } = flight;
    let tally = Tally::of(&series.readings, channel);
    let stuck_at = series.stuck_at(&channel.channel);
    ChannelSummary {
        channel: &channel.channel,
        unit: channel.unit,
        decimals: channel.decimals,
        dead: stuck_at.is_some(),
        stuck_at: stuck_at.and_then(number),
        frames: tally.frames,
        read: tally.read,
        share: tally.share().and_then(number),
        blank: tally.blank.iter().map(|(blank, count)| (blank_key(*blank), *count)).collect(),
        unknown_digits: legibility.unknown_digits.get(&channel.channel).map_or("", String::as_str),
        unread: legibility.unread(&channel.channel).map(unread_summary),
        longest_blanks: tally.longest_blanks.iter().map(stretch).collect(),
        confidence: confidence(&tally.confidence),
    }
}

fn stretch(stretch: &BlankStretch) -> StretchSummary {
    StretchSummary {
        start_s: number(stretch.start_s),
        end_s: number(stretch.end_s),
        frames: stretch.frames,
        reason: blank_key(stretch.reason),
    }
}

fn confidence(counts: &Confidence) -> ConfidenceSummary {
    let [under_0_95, from_0_95_to_0_99, from_0_99_to_0_999, from_0_999] = counts.trusted;
    ConfidenceSummary {
        below_threshold: counts.below_threshold,
        under_0_95,
        from_0_95_to_0_99,
        from_0_99_to_0_999,
        from_0_999,
    }
}

fn blank_key(blank: Blank) -> &'static str {
    match blank {
        Blank::No => "no",
        Blank::Empty => "empty",
        Blank::GlyphsUnknown => "glyphs-unknown",
        Blank::DigitUnknown => "digit-unknown",
        Blank::Unclear => "unclear",
        Blank::OutOfRange => "out-of-range",
        Blank::TooBrief => "too-brief",
        Blank::Jump => "jump",
        Blank::LostPicture => "lost-picture",
    }
}

//! Counts the readings of each channel for the summary.

use super::number;
use crate::flight::Flight;
use crate::output::reading_statistics::{BlankStretch, ConfidenceCounts, ReadingStatistics};
use crate::readings::{UnreadCause, UnreadChannel};
use crate::series::ChannelReadings;
use crate::summary::{BlankStretchSummary, ChannelSummary, ConfidenceSummary, UnreadReason, UnreadSummary};

/// Converts a channel's readings to the schema of the summary.
pub(super) fn channel_summary(flight: &Flight, channel: &ChannelReadings) -> ChannelSummary {
    let Flight { series, legibility, .. } = flight;
    let statistics = ReadingStatistics::of(&series.readings, channel);
    let stuck_at = series.stuck_at(&channel.channel);
    ChannelSummary {
        channel: channel.channel.clone(),
        unit: channel.unit,
        decimals: channel.decimals,
        dead: stuck_at.is_some(),
        stuck_at: stuck_at.and_then(number),
        frames: statistics.frames,
        read: statistics.read,
        share: statistics.share().and_then(number),
        blank: statistics.blank.iter().map(|(blank, count)| ((*blank).into(), *count)).collect(),
        unknown_digits: legibility.unknown_digits.get(&channel.channel).cloned().unwrap_or_default(),
        unread: legibility.unread(&channel.channel).map(unread_summary),
        longest_blanks: statistics.longest_blanks.iter().map(stretch).collect(),
        confidence: confidence(&statistics.confidence),
    }
}

fn stretch(stretch: &BlankStretch) -> BlankStretchSummary {
    BlankStretchSummary {
        start_s: number(stretch.start_s),
        end_s: number(stretch.end_s),
        frames: stretch.frames,
        reason: stretch.reason.into(),
    }
}

fn confidence(counts: &ConfidenceCounts) -> ConfidenceSummary {
    let [under_0_95, from_0_95_to_0_99, from_0_99_to_0_999, from_0_999] = counts.trusted;
    ConfidenceSummary {
        below_threshold: counts.below_threshold,
        under_0_95,
        from_0_95_to_0_99,
        from_0_99_to_0_999,
        from_0_999,
    }
}

fn unread_summary(unread: &UnreadChannel) -> UnreadSummary {
    let (cause, share) = match unread.cause {
        UnreadCause::NoGlyphsFit => (UnreadReason::NoGlyphsFit, 0.0),
        UnreadCause::RarelyReadable { share } => (UnreadReason::RarelyReadable, share),
    };
    UnreadSummary {
        cause,
        readable_share: number(share),
        clip: unread.clip.to_string_lossy().into_owned(),
        label_at_s: unread.label_at_s.iter().map(|time_s| number(*time_s)).collect(),
        command: unread.command.as_ref().map(|parts| parts.join(" ")),
    }
}

//! Words for the reasons why readings are blank.

use crate::advice::Advice;
use crate::flight::Flight;
use crate::series::{Blank, ChannelReadings};
use crate::setup::Region;

use super::numbers::trimmed;
use super::reading_statistics::ReadingStatistics;

/// Share of blank frames above which a channel gets a note (set by judgement).
const NOTABLE_SHARE: f64 = 0.2;

/// The properties of a channel that the wording of its blank reasons depends on: its limits and its unknown
/// digits.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct BlankReasons {
    range: Option<Limit<(f64, f64)>>,
    max_rate: Option<Limit<f64>>,
    unknown_digits: String,
}

/// A limit of a channel, in the unit that the setup names for the channel's region.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Limit<T> {
    value: T,
    is_set: bool,
}

impl BlankReasons {
    /// The properties of a region's channel; `unknown_digits` are the digits missing from its glyph set.
    #[must_use]
    pub fn of_region(region: &Region, unknown_digits: &str) -> Self {
        let range = region.plausible_range().map(|value| Limit { value, is_set: region.range.is_some() });
        let max_rate =
            region.plausible_max_rate().map(|value| Limit { value, is_set: region.max_rate.is_some() });
        Self { range, max_rate, unknown_digits: unknown_digits.to_owned() }
    }

    /// The properties of a channel of a flight.
    #[must_use]
    pub fn of(flight: &Flight, readout: &ChannelReadings) -> Self {
        let channel = &readout.channel;
        let unknown = flight.legibility.unknown_digits.get(channel).map_or("", String::as_str);
        flight.setup.region(channel).map_or_else(Self::default, |region| Self::of_region(region, unknown))
    }

    /// The reason for a blank reading, in words. Limits are in the unit of the overlay, as in the setup.
    #[must_use]
    pub fn words(&self, blank: Blank) -> String {
        match blank {
            Blank::No => "read".to_owned(),
            Blank::Empty => "no text in the region".to_owned(),
            Blank::GlyphsUnknown => "not legible with the known glyphs".to_owned(),
            Blank::DigitUnknown => self.digit_unknown(),
            Blank::Unclear => "not legible".to_owned(),
            Blank::OutOfRange => self.out_of_range(),
            Blank::TooBrief => "shown too briefly, or the digits of two values mixed in one frame".to_owned(),
            Blank::Jump => self.too_fast(),
            Blank::SignalLost => "signal lost".to_owned(),
        }
    }

    /// The reasons for the blank frames of a channel with their counts, the most frequent first, such as `12
    /// signal lost, 3 no text in the region`.
    pub(super) fn counted(&self, statistics: &ReadingStatistics) -> String {
        let mut counts: Vec<_> = statistics.blank.iter().collect();
        counts.sort_by(|one, other| other.1.cmp(one.1));
        let words = counts.iter().map(|(blank, count)| format!("{count} {}", self.words(**blank)));
        words.collect::<Vec<_>>().join(", ")
    }

    fn digit_unknown(&self) -> String {
        match self.unknown_digits.is_empty() {
            true => "perhaps a digit that is not in the glyph set".to_owned(),
            false => {
                let digits: Vec<String> = self.unknown_digits.chars().map(String::from).collect();
                format!("perhaps a digit that is not in the glyph set (missing: {})", digits.join(", "))
            }
        }
    }

    fn out_of_range(&self) -> String {
        self.range.map_or_else(
            || "outside the plausible range".to_owned(),
            |Limit { value: (low, high), is_set }| {
                format!("outside {} to {} ({})", trimmed(low), trimmed(high), origin("range", is_set))
            },
        )
    }

    fn too_fast(&self) -> String {
        self.max_rate.map_or_else(
            || "changing too fast".to_owned(),
            |Limit { value, is_set }| {
                format!(
                    "changing by more than {} per second ({})",
                    trimmed(value),
                    origin("max_rate", is_set)
                )
            },
        )
    }
}

/// States whether a limit is set in the setup or is a default, and names the setup key that changes it.
fn origin(key: &str, is_set: bool) -> String {
    if is_set {
        format!("`{key}` in the setup")
    } else {
        format!("default; to change it, set `{key}` in the setup")
    }
}

/// A sentence for each channel with many blank frames: the share of blank frames and the main reason. Channels that
/// cannot be read at all are left out, and so are those that are blank mainly because of signal loss.
pub fn sentences(flight: &Flight) -> Vec<String> {
    let readings = &flight.series.readings;
    let is_read = |readout: &&ChannelReadings| flight.legibility.unread(&readout.channel).is_none();
    readings.channels.iter().filter(is_read).filter_map(|readout| sentence(flight, readout)).collect()
}

/// What the pilot can do about the channels named in [`sentences`].
pub(super) fn advice(flight: &Flight) -> Vec<Advice> {
    let readings = &flight.series.readings;
    let is_read = |readout: &&ChannelReadings| flight.legibility.unread(&readout.channel).is_none();
    let reasons = readings.channels.iter().filter(is_read).filter_map(|readout| main_reason(flight, readout));
    reasons
        .filter_map(|main| match main.reason {
            Blank::DigitUnknown => Some(Advice::TeachDigits),
            Blank::Empty | Blank::Unclear => Some(Advice::InspectRegion),
            _ => None,
        })
        .collect()
}

/// The blank frames of a channel, and the reason for most of them.
struct MainReason {
    /// Share of the frames left blank, 0 to 1.
    share: f64,
    /// Number of blank frames.
    blank: usize,
    /// Number of frames left blank for the main reason.
    count: usize,
    reason: Blank,
}

/// The main reason for the blank frames of a channel; `None` if few frames are blank, or if the main reason is signal
/// loss.
fn main_reason(flight: &Flight, readout: &ChannelReadings) -> Option<MainReason> {
    let statistics = ReadingStatistics::of(&flight.series.readings, readout);
    let blank: usize = statistics.blank.values().sum();
    let share = blank as f64 / statistics.frames.max(1) as f64;
    let (reason, count) = statistics.blank.into_iter().max_by_key(|(_, count)| *count)?;
    if share <= NOTABLE_SHARE || reason == Blank::SignalLost {
        return None;
    }
    Some(MainReason { share, blank, count, reason })
}

fn sentence(flight: &Flight, readout: &ChannelReadings) -> Option<String> {
    let MainReason { share, blank, count, reason } = main_reason(flight, readout)?;
    let words = BlankReasons::of(flight, readout).words(reason);
    Some(format!(
        "Channel {}: {:.0} % of the frames are left blank; main reason, in {count} of {blank} blank frames: {words}.{}",
        readout.channel.name(),
        100.0 * share,
        fix(reason)
    ))
}

/// Advice to the pilot about blank frames, as a sentence after a space; empty for reasons that need no advice.
fn fix(reason: Blank) -> &'static str {
    match reason {
        Blank::DigitUnknown => " Label the missing digits.",
        Blank::Empty | Blank::Unclear => " Check the region in the setup.",
        _ => "",
    }
}

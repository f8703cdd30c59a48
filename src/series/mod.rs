//! Series: turns the readings of single frames into one trusted series a channel.

use crate::channel::Channel;
use crate::units::Unit;

/// Why a reading is blank.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[repr(u8)]
pub enum Blank {
    /// Not blank.
    No,
    /// The region shows no text.
    Empty,
    /// The text is not clear enough to be trusted.
    Unclear,
    /// The value lies outside the channel's plausible range.
    OutOfRange,
    /// The value would need a change faster than the channel's plausible rate.
    Jump,
    /// The picture is lost: static, a blue or black frame, or a frame repeated for long.
    LostPicture,
}

/// The readings of one channel, one entry a frame. All vectors have the length of
/// [`Readings::time_s`].
#[derive(Debug, Clone, PartialEq)]
pub struct ChannelReadings {
    /// The channel.
    pub channel: Channel,
    /// Unit of the values.
    pub unit: Option<Unit>,
    /// Digits after the decimal point as shown.
    pub decimals: u8,
    /// Lowest and highest plausible value.
    pub range: Option<(f64, f64)>,
    /// Fastest plausible change per second.
    pub max_rate: Option<f64>,
    /// The value read; NaN where blank.
    pub values: Vec<f64>,
    /// Probability that the value is right, 0 to 1; 0 where blank.
    pub confidence: Vec<f32>,
    /// Why an entry is blank; [`Blank::No`] where it is not.
    pub blank: Vec<Blank>,
}

/// A stretch without frames, in seconds of flight time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gap {
    /// Time of the last frame before the gap.
    pub start_s: f64,
    /// Time of the first frame after it.
    pub end_s: f64,
}

/// All readings of a flight, frame by frame: what recognition hands over, and, once checked
/// over time, what the legs are found from.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Readings {
    /// Number of the frame in the flight, from 0.
    pub frame: Vec<u64>,
    /// Time since the first video frame of the flight, in seconds; not decreasing.
    pub time_s: Vec<f64>,
    /// The channels, in the order of the setup's regions.
    pub channels: Vec<ChannelReadings>,
    /// Stretches without frames.
    pub gaps: Vec<Gap>,
}

impl Readings {
    /// The readings of a channel, if it is marked.
    #[must_use]
    pub fn channel(&self, channel: &Channel) -> Option<&ChannelReadings> {
        self.channels.iter().find(|readings| readings.channel == *channel)
    }
}

/// The flight's readings after the check over time, with the speed smoothed.
#[derive(Debug, Clone, PartialEq)]
pub struct Series {
    /// The trusted raw readings.
    pub readings: Readings,
    /// Smoothed speed, one entry a frame, in the speed channel's unit; NaN where nothing near is
    /// trusted.
    pub speed_smooth: Vec<f64>,
    /// Rate at which the overlay renews the speed, in updates a second, as observed.
    pub update_rate_hz: Option<f64>,
}

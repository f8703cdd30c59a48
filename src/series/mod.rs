//! Checks the readings of single frames over time, and makes one trusted series for each channel.

mod check;
mod convert;
mod crops;
mod dead;
mod mixed;
mod runs;
mod smooth;

use std::collections::BTreeMap;

pub use crops::{Crop, Crops};
pub use runs::Updates;
pub use smooth::SMOOTHING_HALF_WIDTH_S;
pub(crate) use smooth::without_outliers;

use serde::{Deserialize, Serialize};

use crate::model::channel::Channel;
use crate::model::units::Unit;
use crate::stats::median;

/// Assumed time between overlay updates where none can be observed, in seconds (set by judgement).
const DEFAULT_UPDATE_INTERVAL_S: f64 = 0.2;

/// The reason why a reading is blank.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[repr(u8)]
pub enum Blank {
    /// The reading is not blank.
    No,
    /// The region shows no text.
    Empty,
    /// The known glyphs do not match the region in any frame.
    GlyphsUnknown,
    /// A character differs from every known glyph, and the glyph set lacks some digits: it may be one of those.
    DigitUnknown,
    /// The text is not clear enough to be trusted.
    Unclear,
    /// The value lies outside the channel's plausible range.
    OutOfRange,
    /// The value was shown too briefly to be an update of the overlay, or mixes digits of the previous and the next
    /// value.
    TooBrief,
    /// The value would require a change faster than the channel's plausible rate.
    Jump,
    /// The signal is lost: the frame shows static, is blue or black, or is repeated for a long time.
    SignalLost,
}

/// What the frames show while the signal is lost.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SignalLossKind {
    /// Frames that the decoder could not decode.
    Damaged,
    /// Random noise.
    Static,
    /// A blue, black or otherwise empty screen.
    Empty,
    /// One repeated frame.
    Frozen,
}

/// An interval in which the signal is lost.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SignalLoss {
    /// Time of the first lost frame, in seconds of flight time.
    pub start_s: f64,
    /// Time of the first frame after the signal loss, or of the last frame if the signal does not return, in seconds
    /// of flight time.
    pub end_s: f64,
    /// Number of lost frames.
    pub frames: usize,
    /// What the frames show during the loss.
    pub kind: SignalLossKind,
}

/// The readings of one channel, one entry for each frame. All vectors have the length of [`Readings::time_s`].
#[derive(Debug, Clone, PartialEq)]
pub struct ChannelReadings {
    /// Channel that was read.
    pub channel: Channel,
    /// Unit of the values; `None` if the setup names none.
    pub unit: Option<Unit>,
    /// Number of digits after the decimal point as shown; two more if the values were converted to another
    /// unit.
    pub decimals: u8,
    /// Difference between neighbouring values of the display, in the converted unit; `None` for values in the
    /// unit of the display.
    pub step: Option<f64>,
    /// Lowest and highest plausible value, in the unit of the values; `None` if any value is plausible.
    pub range: Option<(f64, f64)>,
    /// Fastest plausible change, in the unit of the values per second; `None` for the default of the channel.
    pub max_rate: Option<f64>,
    /// The value read in each frame, in the channel's unit; NaN where blank.
    pub values: Vec<f64>,
    /// Probability that each value is right, 0 to 1; 0 where blank.
    pub confidence: Vec<f32>,
    /// The reason why each entry is blank; [`Blank::No`] where it is not.
    pub blank: Vec<Blank>,
}

impl ChannelReadings {
    /// The step of the display, in the unit of the values: one unit of the last digit shown.
    #[must_use]
    pub fn quantum(&self) -> f64 {
        self.step.unwrap_or_else(|| 10f64.powi(-i32::from(self.decimals)))
    }

    /// [`Blank::No`] if the value in this frame is trusted, otherwise the reason why it is blank. A value
    /// that is not finite counts as unclear.
    #[must_use]
    pub fn outcome(&self, index: usize) -> Blank {
        let blank = self.blank.get(index).copied().unwrap_or(Blank::No);
        let finite = self.values.get(index).is_some_and(|value| value.is_finite());
        if blank == Blank::No && !finite { Blank::Unclear } else { blank }
    }

    /// The trusted value of a frame and the probability that it is right; `None` where it is blank.
    #[must_use]
    pub fn trusted(&self, index: usize) -> Option<(f64, f32)> {
        let value = *self.values.get(index)?;
        let confidence = self.confidence.get(index).copied().unwrap_or(0.0);
        (self.outcome(index) == Blank::No).then_some((value, confidence))
    }

    /// Number of blank frames for each reason that occurs.
    #[must_use]
    pub fn blank_counts(&self) -> BTreeMap<Blank, usize> {
        let mut counts = BTreeMap::new();
        let outcomes = (0..self.values.len()).map(|index| self.outcome(index));
        for reason in outcomes.filter(|reason| *reason != Blank::No) {
            *counts.entry(reason).or_insert(0) += 1;
        }
        counts
    }

    /// Makes the reading of a frame blank, for the given reason.
    pub(crate) fn leave_blank(&mut self, frame: usize, reason: Blank) {
        if let (Some(value), Some(confidence), Some(blank)) =
            (self.values.get_mut(frame), self.confidence.get_mut(frame), self.blank.get_mut(frame))
        {
            (*value, *confidence, *blank) = (f64::NAN, 0.0, reason);
        }
    }

    /// Gives every vector the given number of entries. Missing entries become blank, with the reason
    /// [`Blank::Empty`].
    fn fit_to(&mut self, frames: usize) {
        self.values.resize(frames, f64::NAN);
        self.confidence.resize(frames, 0.0);
        self.blank.resize(frames, Blank::Empty);
    }
}

/// An interval for which the recording has no frames, in seconds of flight time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gap {
    /// Time of the last frame before the gap, in seconds of flight time.
    pub start_s: f64,
    /// Time of the first frame after the gap, in seconds of flight time.
    pub end_s: f64,
}

/// All readings of a flight, frame by frame: the output of recognition and, once checked over time, the input of the
/// search for legs.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Readings {
    /// Time of every frame since the first frame of the flight, in seconds; never decreasing.
    pub time_s: Vec<f64>,
    /// The channels, in the order of the setup's regions.
    pub channels: Vec<ChannelReadings>,
    /// Intervals for which the recording has no frames.
    pub gaps: Vec<Gap>,
    /// Intervals in which the signal is lost.
    pub lost: Vec<SignalLoss>,
    /// Images of some readings, for checking them by eye.
    pub crops: Crops,
}

impl Readings {
    /// The readings of a channel; `None` if the setup has no region for the channel.
    #[must_use]
    pub fn channel(&self, channel: &Channel) -> Option<&ChannelReadings> {
        self.channels.iter().find(|readings| readings.channel == *channel)
    }
}

/// The readings of a flight after the check over time, with the smoothed speed.
#[derive(Debug, Clone, PartialEq)]
pub struct Series {
    /// The trusted readings.
    pub readings: Readings,
    /// Smoothed speed, one entry for each frame, in the speed channel's unit; NaN where no reading within
    /// [`SMOOTHING_HALF_WIDTH_S`] seconds is trusted.
    pub speed_smooth: Vec<f64>,
    /// Observed rate of overlay updates, in updates per second: that of the speed, or of all channels
    /// together if the speed changes too rarely. `None` if it cannot be estimated.
    pub update_rate_hz: Option<f64>,
    /// Channels that stay constant all flight while the speed varies.
    pub dead: Vec<Channel>,
}

impl Series {
    /// The readings of a channel; `None` if the setup has no region for the channel, or if the channel is
    /// dead (it never changes).
    #[must_use]
    pub fn alive(&self, channel: &Channel) -> Option<&ChannelReadings> {
        self.readings.channel(channel).filter(|readout| !self.dead.contains(&readout.channel))
    }

    /// The constant value of a dead channel (one that never changes), in the channel's unit; `None` for other
    /// channels.
    #[must_use]
    pub fn stuck_at(&self, channel: &Channel) -> Option<f64> {
        let dead = self.readings.channel(channel).filter(|readout| self.dead.contains(&readout.channel));
        dead.and_then(|readout| median(&readout.values))
    }

    /// Factor from the unit of the speed channel to metres per second. A speed without a unit is assumed to
    /// be in km/h.
    #[must_use]
    pub fn speed_si(&self) -> f64 {
        let unit = self.readings.channel(&Channel::Speed).and_then(|speed| speed.unit);
        unit.unwrap_or(Unit::KilometresPerHour).si_per_unit()
    }

    /// Factor from the unit of the altitude channel to metres. A unit that is not known is assumed to be feet, the
    /// smaller of the two usual units, so that level flight is not mistaken for a climb.
    #[must_use]
    pub fn altitude_si(&self) -> f64 {
        let unit = self.readings.channel(&Channel::Altitude).and_then(|altitude| altitude.unit);
        unit.unwrap_or(Unit::Feet).si_per_unit()
    }

    /// Time between overlay updates, in seconds: observed, or else 0.2 s.
    #[must_use]
    pub fn update_interval_s(&self) -> f64 {
        self.update_rate_hz.map_or(DEFAULT_UPDATE_INTERVAL_S, |rate| 1.0 / rate)
    }

    /// The overlay updates of a channel's trusted readings; empty if the setup has no region for the channel,
    /// or if the channel is dead.
    #[must_use]
    pub fn updates(&self, channel: &Channel) -> Updates {
        let time_s = &self.readings.time_s;
        self.alive(channel).map_or_else(Updates::default, |readout| {
            runs::updates(
                &runs::runs(time_s, readout),
                self.update_interval_s(),
                runs::frame_interval_s(time_s),
            )
        })
    }
}

/// Checks the readings over time and keeps those that can be trusted.
///
/// A reading becomes blank, with the reason, if its value lies outside its channel's range, was shown for
/// less than half the time for which the overlay holds a value, mixes digits of two other values, or differs
/// from its neighbours by a change faster than the channel's `max_rate`. Where values contradict each other,
/// the values that most readings support are kept. The computing time grows linearly with the number of
/// frames.
#[must_use]
pub fn trust(mut readings: Readings) -> Series {
    let frame_interval_s = runs::frame_interval_s(&readings.time_s);
    for channel in &mut readings.channels {
        channel.fit_to(readings.time_s.len());
    }
    check::check(&mut readings.channels, &readings.time_s, frame_interval_s);
    let update_rate_hz = update_rate_hz(&readings, frame_interval_s);
    let dead = dead::dead_channels(&readings);
    let mut series = Series { readings, speed_smooth: Vec::new(), update_rate_hz, dead };
    let quantum = series.readings.channel(&Channel::Speed).map_or(1.0, ChannelReadings::quantum);
    let updates = series.updates(&Channel::Speed);
    series.speed_smooth = smooth::smooth(&series.readings.time_s, &updates, quantum, &series.readings.gaps);
    series
}

/// Overlay updates per second, observed in the speed, or in all channels together if the speed changes too
/// rarely. `None` if all channels change too rarely.
fn update_rate_hz(readings: &Readings, frame_interval_s: f64) -> Option<f64> {
    let changes = |readout: &ChannelReadings| {
        runs::change_intervals_s(&runs::runs(&readings.time_s, readout), frame_interval_s)
    };
    let of_speed =
        readings.channel(&Channel::Speed).and_then(|speed| runs::update_interval_s(&changes(speed)));
    let of_all = || {
        let pooled: Vec<f64> = readings.channels.iter().flat_map(changes).collect();
        runs::update_interval_s(&pooled)
    };
    of_speed.or_else(of_all).map(|interval_s| 1.0 / interval_s)
}

//! The top level of `summary.json`.

use serde::{Deserialize, Serialize};

use super::channels::ChannelSummary;
use super::conditions::{AirSummary, PatternSummary, WindSummary};
use super::pairs::{LegSummary, PairSummary, StepSummary};
use super::propulsion::PropulsionSummary;
use crate::legs::ThrottleSource;
use crate::model::units::Unit;
use crate::series::SignalLossKind;
use crate::setup::Aircraft;

/// The content of `summary.json`. An unknown number is `None` (`null` in the file). Times are in seconds since the
/// first video frame of the flight. Numbers have at most six decimals, except those in `wind` and `aircraft`,
/// which are not rounded.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Summary {
    /// Version of the schema, [`SUMMARY_FORMAT`](super::SUMMARY_FORMAT).
    pub format: u32,
    /// Name of the program that wrote the file.
    pub program: String,
    /// Version of the program that wrote the file.
    pub version: String,
    /// The clips of the recording, in order of time.
    pub clips: Vec<ClipSummary>,
    /// The camera and the frame size its regions refer to.
    pub camera: CameraSummary,
    /// Unit of all speeds outside `propulsion`; `None` if unknown.
    pub speed_unit: Option<Unit>,
    /// Unit of all altitudes; `None` if unknown.
    pub altitude_unit: Option<Unit>,
    /// Number of decoded frames.
    pub frames: usize,
    /// Time of the last frame, in seconds of flight time; `None` if there are no frames.
    pub end_s: Option<f64>,
    /// Update rate of the displayed speed, in updates per second; `None` if it cannot be estimated.
    pub update_rate_hz: Option<f64>,
    /// Intervals for which the recording has no frames.
    pub gaps: Vec<GapSummary>,
    /// Intervals in which the video signal is lost.
    pub signal_losses: Vec<SignalLossSummary>,
    /// For each channel, the numbers of trusted and blank frames.
    pub channels: Vec<ChannelSummary>,
    /// Where the throttle of the legs comes from.
    pub throttle_source: ThrottleSource,
    /// The legs in the order flown.
    pub legs: Vec<LegSummary>,
    /// The pairs of legs.
    pub pairs: Vec<PairSummary>,
    /// The throttle steps.
    pub steps: Vec<StepSummary>,
    /// The wind if it was given or fitted to the turns; `None` if only its component along the course is known,
    /// from the pairs.
    pub wind: Option<WindSummary>,
    /// The air at the altitude of the legs.
    pub air: AirSummary,
    /// Airspeeds from legs flown in three or more directions.
    pub patterns: Vec<PatternSummary>,
    /// Properties of the aircraft given by the pilot.
    pub aircraft: Aircraft,
    /// Results on battery, motor and propeller.
    pub propulsion: PropulsionSummary,
    /// The results on battery, motor and propeller, in sentences.
    pub propulsion_in_words: Vec<String>,
    /// Notes for the pilot, one sentence each.
    pub notes: Vec<String>,
    /// Cautions that apply to every result.
    pub cautions: Vec<String>,
}

/// One clip of the recording.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct ClipSummary {
    /// Path of the clip.
    pub file: String,
    /// Container format, as named by the demuxer.
    pub container: String,
    /// Video codec.
    pub codec: String,
    /// Frame width in pixels.
    pub width: u32,
    /// Frame height in pixels.
    pub height: u32,
    /// Frame rate stated in the file, in frames per second; `None` if it states none.
    pub nominal_rate_hz: Option<f64>,
    /// Duration stated in the file, in seconds; `None` if it states none.
    pub stated_length_s: Option<f64>,
}

/// The camera whose overlay was read.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct CameraSummary {
    /// Name of the camera in the setup; `None` if the setup has none.
    pub name: Option<String>,
    /// Width and height in pixels of the frame that the regions refer to.
    pub frame: (u32, u32),
}

/// An interval for which the recording has no frames.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct GapSummary {
    /// Start of the gap, in seconds of flight time; `None` if not finite.
    pub start_s: Option<f64>,
    /// End of the gap, in seconds of flight time; `None` if not finite.
    pub end_s: Option<f64>,
}

/// An interval in which the video signal is lost.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SignalLossSummary {
    /// Time of the first lost frame, in seconds of flight time; `None` if not finite.
    pub start_s: Option<f64>,
    /// Time of the next usable frame, in seconds of flight time; `None` if not finite.
    pub end_s: Option<f64>,
    /// Number of lost frames.
    pub frames: usize,
    /// Kind of loss: `damaged`, `static`, `empty` or `frozen`.
    pub kind: SignalLossKind,
}

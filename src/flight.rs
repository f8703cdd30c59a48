//! One flight: its readings, and the results that the result files are written from.

use std::sync::Arc;

use crate::advice::FlightNote;
use crate::air::FlightAir;
use crate::airspeed::{Pair, Pattern, StepResult, WindFinding};
use crate::footage::ClipInfo;
use crate::legs::{Leg, ThrottleSource};
use crate::model::channel::Channel;
use crate::model::units::Unit;
use crate::propulsion::Findings;
use crate::readings::ChannelLegibility;
use crate::series::{ChannelReadings, Series};
use crate::setup::{Aircraft, Setup};

/// The readings of one flight, before legs and airspeeds are determined.
#[derive(Debug, Clone, PartialEq)]
pub struct FlightRecord {
    /// The clips, in the order they were recorded.
    pub clips: Vec<ClipInfo>,
    /// The camera setup with which the clips were read.
    pub setup: Setup,
    /// The trusted readings of every frame and the smoothed speed, in the units of the overlay.
    pub series: Arc<Series>,
    /// Which channels can be read, and why the others cannot.
    pub legibility: ChannelLegibility,
    /// Notes for the pilot on the clips and on reading them.
    pub notes: Vec<FlightNote>,
}

/// One flight with its readings and results.
#[derive(Debug, Clone, PartialEq)]
pub struct Flight {
    /// Version of the program that determined the results, such as `0.1.0`.
    pub program_version: String,
    /// The clips, in the order they were recorded.
    pub clips: Vec<ClipInfo>,
    /// The camera setup with which the clips were read.
    pub setup: Setup,
    /// The trusted readings of every frame and the smoothed speed.
    pub series: Arc<Series>,
    /// Which channels can be read, and why the others cannot.
    pub legibility: ChannelLegibility,
    /// The legs, in the order in which they were flown.
    pub legs: Vec<Leg>,
    /// Where the throttle of the legs comes from.
    pub throttle_source: ThrottleSource,
    /// The pairs of legs.
    pub pairs: Vec<Pair>,
    /// The throttle steps, in ascending order of their number.
    pub steps: Vec<StepResult>,
    /// Legs flown in three or more directions at one throttle.
    pub patterns: Vec<Pattern>,
    /// The wind, if it was given or fitted to the turns; otherwise `None`.
    pub wind: Option<WindFinding>,
    /// The air in which the legs were flown.
    pub air: FlightAir,
    /// Properties of the aircraft, given by the pilot.
    pub aircraft: Aircraft,
    /// Results on battery, motor and propeller.
    pub propulsion: Findings,
    /// Notes for the pilot, such as on unusable time stamps or a gap between clips. Not included are notes on channels
    /// that cannot be read, on blanks, and on readouts that never change: see [`Flight::legibility`] and
    /// [`Series::stuck_at`].
    pub notes: Vec<FlightNote>,
}

impl Flight {
    /// The readings of the speed; `None` if the setup has no region for it.
    #[must_use]
    pub fn speed(&self) -> Option<&ChannelReadings> {
        self.series.readings.channel(&Channel::Speed)
    }

    /// The unit of a channel; `None` if the setup has no region for the channel, or if the unit is unknown.
    #[must_use]
    pub fn unit(&self, channel: &Channel) -> Option<Unit> {
        self.series.readings.channel(channel).and_then(|readings| readings.unit)
    }

    /// The file names of the clips, without their folders.
    #[must_use]
    pub fn clip_names(&self) -> Vec<String> {
        self.clips
            .iter()
            .map(|clip| clip.path.file_name().unwrap_or(clip.path.as_os_str()).to_string_lossy().into_owned())
            .collect()
    }
}

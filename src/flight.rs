//! One flight: what was read of it, and the findings that the result files are written from.

use std::sync::Arc;

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

/// What was read of one flight, before anything is worked out.
#[derive(Debug, Clone, PartialEq)]
pub struct FlightRecord {
    /// The clips, in the order they were recorded.
    pub clips: Vec<ClipInfo>,
    /// The camera setup the clips were read with.
    pub setup: Setup,
    /// The trusted readings of every frame and the smoothed speed, in the units of the overlay.
    pub series: Arc<Series>,
    /// What could be read at all.
    pub legibility: ChannelLegibility,
    /// What the pilot should know of the clips and of their reading, a sentence each.
    pub notes: Vec<String>,
}

/// One flight, read and worked out.
#[derive(Debug, Clone, PartialEq)]
pub struct Flight {
    /// Version of the program that worked it out, such as `0.1.0`.
    pub program_version: String,
    /// The clips, in the order they were recorded.
    pub clips: Vec<ClipInfo>,
    /// The camera setup the clips were read with.
    pub setup: Setup,
    /// The trusted readings of every frame and the smoothed speed.
    pub series: Arc<Series>,
    /// What could be read at all.
    pub legibility: ChannelLegibility,
    /// The legs, in the order they were flown.
    pub legs: Vec<Leg>,
    /// Where the throttle of the legs comes from.
    pub throttle_source: ThrottleSource,
    /// The pairs of legs.
    pub pairs: Vec<Pair>,
    /// The throttle steps, in ascending order of their number.
    pub steps: Vec<StepResult>,
    /// Legs flown in three or more directions at one throttle.
    pub patterns: Vec<Pattern>,
    /// The wind, where it is known beyond the pairs.
    pub wind: Option<WindFinding>,
    /// The air the legs were flown in.
    pub air: FlightAir,
    /// What was told of the aircraft.
    pub aircraft: Aircraft,
    /// What the flight tells of pack, motor and propeller.
    pub propulsion: Findings,
    /// What the pilot should know, a sentence each: time stamps that are unusable, a gap between clips. Channels
    /// that cannot be read, blanks and dead readouts are not among them: see [`Flight::legibility`] and
    /// [`Series::stuck_at`].
    pub notes: Vec<String>,
}

impl Flight {
    /// The readings of the speed, if it is marked.
    #[must_use]
    pub fn speed(&self) -> Option<&ChannelReadings> {
        self.series.readings.channel(&Channel::Speed)
    }

    /// The unit of a channel; `None` when the channel is not marked or its unit is not known.
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

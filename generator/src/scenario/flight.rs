//! The flight in the scenario: airframe, plan, wind, pack, receiver.

use serde::{Deserialize, Serialize};

use super::Curve;

/// The aircraft: table `[airframe]`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Airframe {
    /// Steady true airspeed in level flight, as points `[throttle_percent, m/s]`.
    pub airspeed_mps: Curve,
    /// Time constant with which the airspeed approaches its steady value, in seconds.
    #[serde(default = "response_s")]
    pub response_s: f64,
    /// Share of the steady airspeed that is lost in a turn because of drag.
    #[serde(default = "turn_loss")]
    pub turn_loss: f64,
    /// The steady airspeed is proportional to the ratio of the pack voltage to that of the full pack at rest, raised to
    /// this exponent.
    #[serde(default)]
    pub voltage_exponent: f64,
}

fn response_s() -> f64 {
    1.2
}

fn turn_loss() -> f64 {
    0.12
}

/// A leg's direction.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum LegKind {
    /// Along the course, against the wind.
    Upwind,
    /// Against the course, with the wind.
    Downwind,
}

impl LegKind {
    /// The opposite direction.
    #[must_use]
    pub const fn turned(self) -> Self {
        match self {
            Self::Upwind => Self::Downwind,
            Self::Downwind => Self::Upwind,
        }
    }
}

/// The plan of the flight: table `[flight]`. The aircraft is launched and climbs in a circle. It flies the legs of each
/// throttle step, with turns of 180 degrees between them. Then it descends in a circle and lands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FlightPlan {
    /// Throttle of each step, in the order flown, in percent.
    pub throttle_percent: Vec<f64>,
    /// Number of legs flown at each throttle, alternately upwind and downwind.
    #[serde(default = "legs_per_step")]
    pub legs_per_step: usize,
    /// Length of a leg in seconds.
    #[serde(default = "leg_s")]
    pub leg_s: f64,
    /// Maximum random deviation of the legs' lengths from `leg_s`, in seconds.
    #[serde(default)]
    pub leg_spread_s: f64,
    /// Length of a turn between legs in seconds.
    #[serde(default = "turn_s")]
    pub turn_s: f64,
    /// Direction of the first leg.
    #[serde(default = "first_leg")]
    pub first_leg: LegKind,
    /// Course of the upwind legs over the ground, in degrees clockwise from true north.
    #[serde(default)]
    pub course_deg: f64,
    /// Standard deviation of slow random deviations from the course, in degrees.
    #[serde(default = "course_wander_deg")]
    pub course_wander_deg: f64,
    /// Height of the legs above the field, in metres.
    #[serde(default = "leg_height_m")]
    pub leg_height_m: f64,
    /// Standard deviation of slow random deviations from the height of the legs, in metres.
    #[serde(default = "height_wander_m")]
    pub height_wander_m: f64,
    /// Elevation of the field above sea level, in metres.
    #[serde(default)]
    pub field_elevation_m: f64,
    /// Time for which the aircraft stands still before the launch, in seconds.
    #[serde(default = "before_launch_s")]
    pub before_launch_s: f64,
    /// Duration of launch and climb in a circle, in seconds; 0 if the clip starts with the first leg.
    #[serde(default = "climb_s")]
    pub climb_s: f64,
    /// Throttle of launch and climb, in percent.
    #[serde(default = "climb_throttle_percent")]
    pub climb_throttle_percent: f64,
    /// Duration of descent, approach and touch-down, in seconds; 0 if the clip ends with the last leg.
    #[serde(default = "landing_s")]
    pub landing_s: f64,
    /// Time for which the aircraft stands still after the landing, in seconds.
    #[serde(default = "after_landing_s")]
    pub after_landing_s: f64,
    /// An additional leg at the end that has no partner: table `[flight.lone_leg]`.
    #[serde(default)]
    pub lone_leg: Option<LoneLeg>,
    /// Value that the throttle readout always shows, in percent, as with a missing signal; `None` if the readout works.
    #[serde(default)]
    pub dead_throttle_percent: Option<f64>,
    /// Standard deviation of slow random deviations of the throttle readout, in percent.
    #[serde(default)]
    pub throttle_tremble_percent: f64,
}

/// A leg without a partner, flown after the throttle steps: table `[flight.lone_leg]`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LoneLeg {
    /// Throttle in percent.
    pub throttle_percent: f64,
    /// Length in seconds.
    pub length_s: f64,
}

fn legs_per_step() -> usize {
    2
}

fn leg_s() -> f64 {
    9.0
}

fn turn_s() -> f64 {
    4.0
}

fn first_leg() -> LegKind {
    LegKind::Upwind
}

fn course_wander_deg() -> f64 {
    0.7
}

fn leg_height_m() -> f64 {
    40.0
}

fn height_wander_m() -> f64 {
    1.5
}

fn before_launch_s() -> f64 {
    3.0
}

fn climb_s() -> f64 {
    11.0
}

fn climb_throttle_percent() -> f64 {
    75.0
}

fn landing_s() -> f64 {
    14.0
}

fn after_landing_s() -> f64 {
    3.0
}

/// The wind: table `[wind]`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Wind {
    /// Mean speed in metres per second.
    #[serde(default)]
    pub speed_mps: f64,
    /// Direction the wind comes from, in degrees clockwise from the upwind course; 0 for a pure headwind.
    #[serde(default)]
    pub angle_to_course_deg: f64,
    /// Gust strength as a multiple of the strength in the Dryden low-altitude model; 0 for a steady wind.
    #[serde(default = "gusts")]
    pub gusts: f64,
}

impl Default for Wind {
    fn default() -> Self {
        Self { speed_mps: 0.0, angle_to_course_deg: 0.0, gusts: 1.0 }
    }
}

impl Wind {
    /// Headwind on the upwind legs, in metres per second.
    #[must_use]
    pub fn along_mps(&self) -> f64 {
        self.speed_mps * self.angle_to_course_deg.to_radians().cos()
    }

    /// Crosswind in metres per second, positive if it comes from the right on the upwind legs.
    #[must_use]
    pub fn across_mps(&self) -> f64 {
        self.speed_mps * self.angle_to_course_deg.to_radians().sin()
    }
}

fn gusts() -> f64 {
    1.0
}

/// The battery pack: table `[pack]`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Pack {
    /// Number of cells in series.
    pub cells: u32,
    /// Internal resistance of the whole pack including its leads, in ohms.
    pub resistance_ohm: f64,
    /// Capacity in ampere hours.
    pub capacity_ah: f64,
    /// Share of the capacity left at the start, 0 to 1.
    pub charge_at_start: f64,
    /// Current, as points `[throttle_percent, amperes]`.
    pub current_a: Curve,
    /// Standard deviation of the voltage reading, in volts.
    pub noise_v: f64,
}

impl Default for Pack {
    fn default() -> Self {
        Self {
            cells: 6,
            resistance_ohm: 0.024,
            capacity_ah: 4.0,
            charge_at_start: 0.97,
            current_a: Curve(vec![[0.0, 0.4], [50.0, 14.0], [75.0, 32.0], [100.0, 62.0]]),
            noise_v: 0.015,
        }
    }
}

/// The satellite receiver: table `[receiver]`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Receiver {
    /// Number of position fixes per second.
    pub update_hz: f64,
    /// Time constant of the receiver's own filter, in seconds.
    pub lag_s: f64,
    /// Standard deviation of the noise of the ground speed, in metres per second.
    pub speed_noise_mps: f64,
    /// Standard deviation of slow random deviations of the altitude, in metres.
    pub altitude_noise_m: f64,
    /// Lowest and highest number of satellites used.
    pub satellites: [u32; 2],
}

impl Default for Receiver {
    fn default() -> Self {
        Self {
            update_hz: 10.0,
            lag_s: 0.3,
            speed_noise_mps: 0.12,
            altitude_noise_m: 0.8,
            satellites: [13, 18],
        }
    }
}

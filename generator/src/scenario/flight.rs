//! The flight's part of the scenario: airframe, plan, wind, pack, receiver.

use serde::{Deserialize, Serialize};

use super::Curve;

/// The aircraft: table `[airframe]`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Airframe {
    /// Steady true airspeed in level flight, points `[throttle_percent, m/s]`.
    pub airspeed_mps: Curve,
    /// Time constant of the airspeed's approach to its steady value, in seconds.
    #[serde(default = "response_s")]
    pub response_s: f64,
    /// Share of the steady airspeed that a turn's drag costs.
    #[serde(default = "turn_loss")]
    pub turn_loss: f64,
    /// The steady airspeed goes with (voltage / voltage of the full pack at rest) to this power.
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
    /// Back, with the wind.
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

/// What is flown: table `[flight]`. Launch and a climbing circle, then for each throttle its legs
/// with a turn of 180 degrees between neighbours, then a descending circle and the landing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FlightPlan {
    /// Throttle of each step, in the order flown, in percent.
    pub throttle_percent: Vec<f64>,
    /// Legs flown at each throttle, alternating upwind and downwind.
    #[serde(default = "legs_per_step")]
    pub legs_per_step: usize,
    /// Length of a leg in seconds.
    #[serde(default = "leg_s")]
    pub leg_s: f64,
    /// Legs differ in length by up to this many seconds either way.
    #[serde(default)]
    pub leg_spread_s: f64,
    /// Length of a turn between legs in seconds.
    #[serde(default = "turn_s")]
    pub turn_s: f64,
    /// Direction of the first leg.
    #[serde(default = "first_leg")]
    pub first_leg: LegKind,
    /// Course of the upwind legs over the ground, degrees true.
    #[serde(default)]
    pub course_deg: f64,
    /// Standard deviation of the slow wander about the course, in degrees.
    #[serde(default = "course_wander_deg")]
    pub course_wander_deg: f64,
    /// Height of the legs above the field, in metres.
    #[serde(default = "leg_height_m")]
    pub leg_height_m: f64,
    /// Standard deviation of the slow wander around that height, in metres.
    #[serde(default = "height_wander_m")]
    pub height_wander_m: f64,
    /// Elevation of the field above sea level, in metres.
    #[serde(default)]
    pub field_elevation_m: f64,
    /// Standing still before the launch, in seconds.
    #[serde(default = "before_launch_s")]
    pub before_launch_s: f64,
    /// Launch and climb-out in a circle, in seconds; 0: the clip starts with the first leg.
    #[serde(default = "climb_s")]
    pub climb_s: f64,
    /// Throttle of launch and climb, in percent.
    #[serde(default = "climb_throttle_percent")]
    pub climb_throttle_percent: f64,
    /// Descent, approach and touch-down, in seconds; 0: the clip ends with the last leg.
    #[serde(default = "landing_s")]
    pub landing_s: f64,
    /// Standing still after the landing, in seconds.
    #[serde(default = "after_landing_s")]
    pub after_landing_s: f64,
    /// A further leg at the end that has no partner: table `[flight.lone_leg]`.
    #[serde(default)]
    pub lone_leg: Option<LoneLeg>,
    /// The throttle readout is stuck at this value, in percent; `None`: it works.
    #[serde(default)]
    pub dead_throttle_percent: Option<f64>,
    /// Standard deviation of the stick's slow tremble in the throttle readout, in percent.
    #[serde(default)]
    pub throttle_tremble_percent: f64,
}

/// A leg without a partner, flown after the steps: table `[flight.lone_leg]`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LoneLeg {
    /// Its throttle in percent.
    pub throttle_percent: f64,
    /// Its length in seconds.
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
    /// Direction the wind comes from, in degrees clockwise from the upwind course; 0: head-on.
    #[serde(default)]
    pub angle_to_course_deg: f64,
    /// Gust strength as a multiple of the Dryden low-altitude form; 0: steady wind.
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

    /// Crosswind, positive from the right on the upwind legs, in metres per second.
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
    /// Cells in series.
    pub cells: u32,
    /// Internal resistance of the whole pack with its leads, in ohms.
    pub resistance_ohm: f64,
    /// Capacity in ampere hours.
    pub capacity_ah: f64,
    /// Share of the capacity left at the start, 0 to 1.
    pub charge_at_start: f64,
    /// Current, points `[throttle_percent, amperes]`.
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
    /// Fixes a second.
    pub update_hz: f64,
    /// Time constant of the receiver's own filter, in seconds.
    pub lag_s: f64,
    /// Standard deviation of the ground speed, in metres per second.
    pub speed_noise_mps: f64,
    /// Standard deviation of the altitude, in metres; it wanders slowly.
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

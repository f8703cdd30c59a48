//! All parameters of a simulated flight.

use std::ops::Range;

use pairspeed::model::units::Unit;

use super::random::Random;

/// What ends a leg.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum LegPlan {
    GroundLengthM(f64),
    TimeS(f64),
}

/// How the pilot turns back.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TurnKind {
    Racetrack,
    Teardrop,
    Procedure,
}

/// When the throttle is changed within a turn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ThrottleChange {
    TurnStart,
    MidTurn,
    TurnEnd,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ThrottleReadout {
    Alive,
    Dead,
    Absent,
}

/// All parameters of a flight.
#[derive(Debug, Clone, PartialEq)]
pub struct Conditions {
    pub seed: u64,
    /// Mean wind at flying height, and the direction it blows from, counter-clockwise from the course.
    pub wind_mps: f64,
    pub wind_angle_deg: f64,
    /// Slow variation of the wind: standard deviation of the speed (share of the mean) and of the direction,
    /// and time constant.
    pub wind_spread_share: f64,
    pub wind_spread_deg: f64,
    pub wind_time_s: f64,
    /// Standard deviation of each component of the turbulence: as a share of the wind, and a thermal part.
    pub turbulence_share: f64,
    pub thermal_mps: f64,
    /// Length scales of the two parts of the turbulence, and the share of the first in the variance.
    pub turbulence_lengths_m: [f64; 2],
    pub short_share: f64,
    /// Exponent of the power law of wind over height.
    pub gradient_exponent: f64,
    /// True airspeed in level flight and throttle of every step, in the order flown.
    pub airspeeds_mps: Vec<f64>,
    pub throttles_percent: Vec<f64>,
    pub pairs_per_step: usize,
    pub leg_plan: LegPlan,
    pub turn_kind: TurnKind,
    /// Wanted time for a half circle; the bank is limited.
    pub turn_s: f64,
    pub bank_limit_deg: f64,
    pub throttle_change: ThrottleChange,
    /// Time constant of the airspeed at the mean airspeed of the steps, in seconds.
    pub time_constant_s: f64,
    /// Induced drag divided by parasitic drag in level flight at the slowest step.
    pub induced_share: f64,
    pub roll_rate_deg_per_s: f64,
    /// Share of the drift angle that the pilot compensates for at once; the rest is corrected by eye.
    pub crab_share: f64,
    pub course_wander_deg: f64,
    pub height_m: f64,
    pub height_wander_m: f64,
    pub starts_on_ground: bool,
    pub ends_on_ground: bool,
    pub wandering_before_s: f64,
    pub wandering_after_s: f64,
    /// Number of the leg that is broken off half way and flown again.
    pub broken_leg: Option<usize>,
    pub orbit_between_steps: bool,
    /// Receiver: delay and order (1 or 2) of the velocity filter, further delay, noise, updates per second.
    pub filter_lag_s: f64,
    pub filter_order: u8,
    pub latency_s: f64,
    pub noise_mps: f64,
    pub update_rate_hz: f64,
    /// Unit of the displayed speed.
    pub unit: Unit,
    pub decimals: u8,
    pub truncates: bool,
    pub throttle_readout: ThrottleReadout,
    pub voltage_shown: bool,
    pub altitude_unit: Option<Unit>,
    pub heading_shown: bool,
    pub satellites_shown: bool,
    /// Reader: frames per second, shares of blank and of wrong readings, signal losses.
    pub frame_rate_hz: f64,
    pub blank_share: f64,
    pub wrong_share: f64,
    pub signal_losses: usize,
}

/// Minimum length of legs that are to be measured, in seconds.
const SHORTEST_LEG_S: f64 = 9.0;

impl Conditions {
    /// Conditions as they occur on many fields. The wind is drawn from the range `wind_mps`, but is at most
    /// 0.6 of the slowest airspeed.
    pub fn draw(seed: u64, wind_mps: Range<f64>) -> Self {
        let random = &mut Random::new(seed ^ 0x0c0_4d17);
        let steps: usize = random.pick(&[1, 2, 3, 3, 4, 5]);
        let slowest_mps = random.uniform(12.0, if steps == 1 { 45.0 } else { 32.0 });
        let fastest_mps = (slowest_mps * random.uniform(1.15, 1.9)).min(45.0);
        let (least_percent, curve) = (random.uniform(35.0, 65.0).round(), random.uniform(0.7, 1.0));
        let most_percent = if random.chance(0.7) { 100.0 } else { random.uniform(80.0, 99.0).round() };
        let share = |step: usize| if steps == 1 { 0.0 } else { step as f64 / (steps - 1) as f64 };
        let mut order: Vec<usize> = (0..steps).collect();
        match random.pick(&[0, 1, 2]) {
            0 => {}
            1 => order.reverse(),
            _ => order.sort_by_key(|_| random.next()),
        }
        let throttle = |step: &usize| (least_percent + (most_percent - least_percent) * share(*step)).round();
        let airspeed = |step: &usize| slowest_mps + (fastest_mps - slowest_mps) * share(*step).powf(curve);
        let wind_mps = random.uniform(wind_mps.start, wind_mps.end).min(0.6 * slowest_mps);
        let across_deg =
            if random.chance(0.7) { 18.0 * random.normal() } else { random.uniform(-60.0, 60.0) };
        let leg_plan = if random.chance(0.6) {
            LegPlan::GroundLengthM(
                random.uniform(120.0, 350.0).max(SHORTEST_LEG_S * (fastest_mps + wind_mps)),
            )
        } else {
            LegPlan::TimeS(random.uniform(SHORTEST_LEG_S, 18.0))
        };
        let (unit, decimals) = random.pick(&[
            (Unit::KilometresPerHour, 0),
            (Unit::KilometresPerHour, 0),
            (Unit::MilesPerHour, 0),
            (Unit::MilesPerHour, 0),
            (Unit::Knots, 0),
            (Unit::Knots, 1),
            (Unit::MetresPerSecond, 1),
        ]);
        let most_pairs = (12 / steps).clamp(1, 4);
        Self {
            seed,
            wind_mps,
            wind_angle_deg: across_deg + random.pick(&[0.0, 180.0]),
            wind_spread_share: random.uniform(0.02, 0.10),
            wind_spread_deg: random.uniform(1.0, 8.0),
            wind_time_s: random.uniform(60.0, 300.0),
            turbulence_share: random.uniform(0.10, 0.20),
            thermal_mps: random.uniform(0.05, 0.4),
            turbulence_lengths_m: [random.uniform(20.0, 45.0), random.uniform(100.0, 220.0)],
            short_share: random.uniform(0.3, 0.7),
            gradient_exponent: if random.chance(0.5) { random.uniform(0.08, 0.25) } else { 0.0 },
            airspeeds_mps: order.iter().map(airspeed).collect(),
            throttles_percent: order.iter().map(throttle).collect(),
            pairs_per_step: (random.pick(&[1, 2, 2, 3, 4])).min(most_pairs),
            leg_plan,
            turn_kind: random.pick(&[TurnKind::Racetrack, TurnKind::Teardrop, TurnKind::Procedure]),
            turn_s: random.uniform(3.0, 7.0),
            bank_limit_deg: random.uniform(60.0, 78.0),
            throttle_change: random.pick(&[
                ThrottleChange::TurnStart,
                ThrottleChange::MidTurn,
                ThrottleChange::TurnEnd,
            ]),
            time_constant_s: random.uniform(1.0, 3.0),
            induced_share: random.uniform(0.02, 0.08),
            roll_rate_deg_per_s: random.uniform(60.0, 180.0),
            crab_share: random.uniform(0.75, 1.0),
            course_wander_deg: random.uniform(0.5, 3.0),
            height_m: random.uniform(25.0, 110.0),
            height_wander_m: random.uniform(0.5, 4.0),
            starts_on_ground: random.chance(0.6),
            ends_on_ground: random.chance(0.6),
            wandering_before_s: if random.chance(0.5) { 0.0 } else { random.uniform(0.0, 20.0) },
            wandering_after_s: if random.chance(0.5) { 0.0 } else { random.uniform(0.0, 20.0) },
            broken_leg: random.chance(0.15).then(|| random.pick(&[0, 1, 2, 3])),
            orbit_between_steps: random.chance(0.2),
            filter_lag_s: random.uniform(0.2, 1.0),
            filter_order: random.pick(&[1, 2]),
            latency_s: random.uniform(0.03, 0.25),
            noise_mps: random.uniform(0.03, 0.2),
            update_rate_hz: random.pick(&[5.0, 5.0, 5.0, 5.0, 5.0, 10.0, 10.0, 10.0, 10.0, 1.0]),
            unit,
            decimals,
            truncates: random.chance(0.35),
            throttle_readout: random.pick(&[
                ThrottleReadout::Alive,
                ThrottleReadout::Alive,
                ThrottleReadout::Dead,
                ThrottleReadout::Absent,
            ]),
            voltage_shown: random.chance(0.85),
            altitude_unit: random.chance(0.8).then(|| random.pick(&[Unit::Metres, Unit::Feet])),
            heading_shown: random.chance(0.3),
            satellites_shown: random.chance(0.4),
            frame_rate_hz: random.pick(&[25.0, 30.0, 50.0, 60.0, 60.0]),
            blank_share: if random.chance(0.4) { 0.0 } else { random.uniform(0.0, 0.2) },
            wrong_share: if random.chance(0.5) { 0.0 } else { random.uniform(0.0, 0.005) },
            signal_losses: random.pick(&[0, 0, 0, 1, 2, 4]),
        }
    }

    /// The same flight by a careless pilot: legs of 4.5 to 8 s, slow turns that are as long as the legs and
    /// cost much speed, and minutes of aimless flying before and after the runs.
    pub fn untidy(self) -> Self {
        let random = &mut Random::new(self.seed ^ 0x0051_0127);
        Self {
            leg_plan: LegPlan::TimeS(random.uniform(4.5, SHORTEST_LEG_S)),
            turn_s: random.uniform(5.0, 10.0),
            bank_limit_deg: random.uniform(45.0, 60.0),
            induced_share: random.uniform(0.08, 0.25),
            wandering_before_s: random.uniform(25.0, 90.0),
            wandering_after_s: random.uniform(25.0, 90.0),
            ..self
        }
    }

    /// The same flight in a steady uniform wind, flown and received without errors.
    pub fn undisturbed(self) -> Self {
        Self {
            wind_spread_share: 0.0,
            wind_spread_deg: 0.0,
            turbulence_share: 0.0,
            thermal_mps: 0.0,
            gradient_exponent: 0.0,
            crab_share: 1.0,
            course_wander_deg: 0.0,
            height_wander_m: 0.0,
            noise_mps: 0.0,
            blank_share: 0.0,
            wrong_share: 0.0,
            signal_losses: 0,
            ..self
        }
    }

    /// Mean lag of the display behind the flight in seconds: filter, further delay, half an update interval.
    pub fn display_lag_s(&self) -> f64 {
        self.filter_lag_s + self.latency_s + 0.5 / self.update_rate_hz
    }

    pub fn slowest_mps(&self) -> f64 {
        self.airspeeds_mps.iter().copied().fold(f64::INFINITY, f64::min)
    }

    /// Throttle for an airspeed in per cent, linear between the slowest and the fastest step.
    pub fn throttle_percent(&self, airspeed_mps: f64) -> f64 {
        let pairs = || self.airspeeds_mps.iter().copied().zip(self.throttles_percent.iter().copied());
        if let Some((_, throttle)) = pairs().find(|(airspeed, _)| *airspeed == airspeed_mps) {
            return throttle;
        }
        let slow = pairs().fold((f64::INFINITY, 0.0), |a, b| if b.0 < a.0 { b } else { a });
        let fast = pairs().fold((0.0, 0.0), |a, b| if b.0 > a.0 { b } else { a });
        let slope = if fast.0 > slow.0 { (fast.1 - slow.1) / (fast.0 - slow.0) } else { slow.1 / slow.0 };
        (slow.1 + slope * (airspeed_mps - slow.0)).clamp(0.0, 100.0).round()
    }
}

//! An independent flight simulator: a point mass under thrust, drag and bank in a variable wind, a pilot who
//! steers it along a course and back, a satellite receiver, an overlay and its reader.
//!
//! Axes: x along the course, y to the left of it; angles are counter-clockwise from x. SI units unless a name
//! says otherwise. The equations are those of any text on flight mechanics: `m dV/dt = T - D - m g dh/dt /
//! V`, turn rate `g tan(bank) / V`, drag `a V^2 + i n^2 / V^2` per unit of mass with the load factor `n`.

// Paths are given because the module is also included through a path.
#[path = "point_mass/conditions.rs"]
mod conditions;
#[path = "point_mass/no_flight.rs"]
mod no_flight;
#[path = "point_mass/overlay.rs"]
mod overlay;
#[path = "point_mass/plan.rs"]
mod plan;
#[path = "point_mass/random.rs"]
mod random;

use std::f64::consts::PI;

use pairspeed::series::Readings;

pub use conditions::{Conditions, LegPlan, ThrottleChange, ThrottleReadout, TurnKind};
pub use no_flight::{NoFlight, without_legs};
pub use random::{Random, Wandering};

pub const GRAVITY: f64 = 9.806_65;
/// Step of the integration, in seconds.
pub const STEP_S: f64 = 0.02;
/// Time after the start of a leg from which its mean is taken, in seconds.
const SETTLING_S: f64 = 2.5;
/// Stall speed of the aircraft, as a share of the speed of its slowest step.
const STALL_SHARE: f64 = 0.6;
/// Speed at which the thrust of a propeller at fixed power becomes zero, as a multiple of the level speed.
const PITCH_SPEED_SHARE: f64 = 1.25;

/// A manoeuvre of a flight plan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Manoeuvre {
    Stand {
        time_s: f64,
    },
    /// Rolls on the ground until it is fast enough to fly.
    Launch,
    Throttle {
        airspeed_mps: f64,
    },
    Height {
        height_m: f64,
    },
    /// Turns by an angle in radians, counter-clockwise positive.
    Turn {
        by_rad: f64,
        bank_rad: f64,
    },
    /// Flies along the present course; the flight is part of a leg if a step and a direction are given.
    Straight {
        end: LegPlan,
        leg: Option<(usize, i8, bool)>,
    },
    /// Circles until it is near the wanted height.
    CircleToHeight,
    /// Descends, touches down and stops.
    Land,
}

/// The state of the flight at one time.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Instant {
    pub time_s: f64,
    pub position_m: [f64; 2],
    pub velocity_mps: [f64; 2],
    pub wind_mps: [f64; 2],
    /// Magnitude of the horizontal velocity through the air.
    pub airspeed_mps: f64,
    pub bank_rad: f64,
    pub height_m: f64,
    pub throttle_percent: f64,
}

/// A leg as it was flown: from the point where the ground track is along the course and the bank is small, to
/// the end.
#[derive(Debug, Clone, PartialEq)]
pub struct TrueLeg {
    pub start_s: f64,
    pub end_s: f64,
    pub step: usize,
    /// Direction: +1 along the course, -1 back.
    pub direction: i8,
    /// Mean from 2.5 s after the start to the end; for a leg below 5 s, from its middle.
    pub airspeed_mps: f64,
    pub headwind_mps: f64,
    /// Whether the leg was not broken off half way.
    pub complete: bool,
}

#[derive(Debug, Clone, PartialEq)]
pub struct SimulatedFlight {
    pub readings: Readings,
    pub legs: Vec<TrueLeg>,
    /// Mean over the complete legs of each step; NaN if there are none.
    pub step_airspeeds_mps: Vec<f64>,
    /// Lag of the display in seconds (see [`Conditions::display_lag_s`]); the times of the legs do not
    /// include it.
    pub display_lag_s: f64,
    pub conditions: Conditions,
}

pub fn fly(conditions: &Conditions) -> SimulatedFlight {
    let (track, legs) = fly_plan(conditions, &plan::plan(conditions));
    let mean_of_step = |step: usize| {
        let of_step = || legs.iter().filter(|leg| leg.step == step && leg.complete);
        of_step().map(|leg| leg.airspeed_mps).sum::<f64>() / of_step().count() as f64
    };
    SimulatedFlight {
        readings: overlay::read(conditions, &track),
        step_airspeeds_mps: (0..conditions.airspeeds_mps.len()).map(mean_of_step).collect(),
        legs,
        display_lag_s: conditions.display_lag_s(),
        conditions: conditions.clone(),
    }
}

/// Flies a plan. Returns the track in steps of [`STEP_S`], and the legs.
pub fn fly_plan(conditions: &Conditions, plan: &[Manoeuvre]) -> (Vec<Instant>, Vec<TrueLeg>) {
    let mut aircraft = Aircraft::new(conditions, plan);
    plan.iter().for_each(|manoeuvre| aircraft.fly(*manoeuvre));
    (aircraft.track, aircraft.legs)
}

/// The aircraft in its air, with its pilot.
struct Aircraft<'a> {
    conditions: &'a Conditions,
    random: Random,
    now: Instant,
    /// Direction of flight through the air; it is not reduced to the range of one circle.
    heading_rad: f64,
    climb_mps: f64,
    /// Direction in which the pilot wants to fly over the ground; it is not reduced to the range of one
    /// circle.
    course_rad: f64,
    felt_error_rad: f64,
    /// Level speed that the power of the motor allows: as set, and as reached so far.
    trim_wanted_mps: f64,
    trim_mps: f64,
    height_wanted_m: f64,
    /// Parasitic and induced drag per unit of mass: `a V^2 + i n^2 / V^2`.
    parasitic_per_m: f64,
    induced_m3_per_s4: f64,
    wind_change: Wandering,
    wind_turn_rad: Wandering,
    /// Turbulence for each length scale, then for each component.
    turbulence_mps: [[Wandering; 2]; 2],
    course_wander_rad: Wandering,
    height_wander_m: Wandering,
    track: Vec<Instant>,
    legs: Vec<TrueLeg>,
}

impl<'a> Aircraft<'a> {
    fn new(conditions: &'a Conditions, plan: &[Manoeuvre]) -> Self {
        let mut random = Random::new(conditions.seed);
        let c = conditions;
        let mean_mps = c.airspeeds_mps.iter().sum::<f64>() / c.airspeeds_mps.len() as f64;
        // Near the level speed the drag increases by 2 a V and the thrust decreases by 4 a V, see `thrust`.
        let parasitic_per_m = 1.0 / (6.0 * mean_mps * c.time_constant_s);
        let intensity_mps = (c.turbulence_share * c.wind_mps).hypot(c.thermal_mps);
        let shares = [c.short_share, 1.0 - c.short_share];
        let turbulence_mps =
            shares.map(|share| [0, 1].map(|_| Wandering::new(intensity_mps * f64::sqrt(share), &mut random)));
        let on_ground = matches!(plan.first(), Some(Manoeuvre::Stand { .. }));
        let first_mps = c.airspeeds_mps.first().copied().unwrap_or(20.0);
        let mut aircraft = Self {
            conditions,
            now: Instant { height_m: if on_ground { 0.0 } else { c.height_m }, ..Instant::default() },
            heading_rad: 0.0,
            climb_mps: 0.0,
            course_rad: if c.wind_angle_deg.to_radians().cos() < 0.0 { PI } else { 0.0 },
            felt_error_rad: 0.0,
            trim_wanted_mps: first_mps,
            trim_mps: first_mps,
            height_wanted_m: c.height_m,
            parasitic_per_m,
            induced_m3_per_s4: c.induced_share * parasitic_per_m * c.slowest_mps().powi(4),
            wind_change: Wandering::new(c.wind_spread_share, &mut random),
            wind_turn_rad: Wandering::new(c.wind_spread_deg.to_radians(), &mut random),
            turbulence_mps,
            course_wander_rad: Wandering::new(c.course_wander_deg.to_radians(), &mut random),
            height_wander_m: Wandering::new(c.height_wander_m, &mut random),
            track: Vec::new(),
            legs: Vec::new(),
            random,
        };
        aircraft.now.throttle_percent = if on_ground { 0.0 } else { c.throttle_percent(first_mps) };
        aircraft.blow(0.0);
        if !on_ground {
            aircraft.heading_rad = aircraft.course_rad + aircraft.drift_rad();
            aircraft.now.airspeed_mps = first_mps;
            aircraft.now.velocity_mps = aircraft.over_ground();
        }
        aircraft
    }

    fn fly(&mut self, manoeuvre: Manoeuvre) {
        match manoeuvre {
            Manoeuvre::Stand { time_s } => self.stand(time_s),
            Manoeuvre::Launch => self.launch(),
            Manoeuvre::Throttle { airspeed_mps } => {
                self.trim_wanted_mps = airspeed_mps;
                self.now.throttle_percent = self.conditions.throttle_percent(airspeed_mps);
            }
            Manoeuvre::Height { height_m } => self.height_wanted_m = height_m,
            Manoeuvre::Turn { by_rad, bank_rad } => self.turn(by_rad, bank_rad),
            Manoeuvre::Straight { end, leg } => self.straight(end, leg),
            Manoeuvre::CircleToHeight => {
                let mut circles = 0;
                while (self.now.height_m - self.height_wanted_m).abs() > 8.0 && circles < 6 {
                    self.turn(2.0 * PI, 0.4);
                    circles += 1;
                }
            }
            Manoeuvre::Land => self.land(),
        }
    }

    fn stand(&mut self, time_s: f64) {
        self.now = Instant { velocity_mps: [0.0; 2], bank_rad: 0.0, throttle_percent: 0.0, ..self.now };
        for _ in 0..(time_s / STEP_S) as usize {
            self.blow(0.0);
            self.note();
        }
    }

    fn launch(&mut self) {
        let along = [self.course_rad.cos(), self.course_rad.sin()];
        while self.now.airspeed_mps < 0.8 * self.conditions.slowest_mps() {
            self.roll(along, 5.0);
        }
        self.heading_rad = self.course_rad;
    }

    fn land(&mut self) {
        self.height_wanted_m = -10.0;
        self.fly(Manoeuvre::Throttle { airspeed_mps: 0.85 * self.conditions.slowest_mps() });
        while self.now.height_m > 0.3 {
            self.steer();
        }
        self.now.throttle_percent = 0.0;
        let [x, y] = self.now.velocity_mps;
        let direction_rad = y.atan2(x);
        let along = [direction_rad.cos(), direction_rad.sin()];
        let deceleration = self.random.uniform(2.0, 6.0);
        while dot(self.now.velocity_mps, along) > 0.0 {
            self.roll(along, -deceleration);
        }
        self.now = Instant { velocity_mps: [0.0; 2], bank_rad: 0.0, height_m: 0.0, ..self.now };
    }

    /// Simulates one step on the ground.
    fn roll(&mut self, along: [f64; 2], acceleration: f64) {
        self.blow(0.0);
        let speed_mps = dot(self.now.velocity_mps, along) + acceleration * STEP_S;
        self.now.velocity_mps = along.map(|part| part * speed_mps);
        let [x, y] = difference(self.now.velocity_mps, self.now.wind_mps);
        self.now.airspeed_mps = x.hypot(y);
        self.note();
    }

    fn turn(&mut self, by_rad: f64, bank_rad: f64) {
        self.course_rad += by_rad;
        let sign = by_rad.signum();
        let roll_rate = self.conditions.roll_rate_deg_per_s.to_radians();
        loop {
            let rate = GRAVITY * self.now.bank_rad.tan() / self.now.airspeed_mps;
            // The bank is reduced at a constant rate: half the turn rate for the time this takes.
            let lead_rad = 0.5 * rate.abs() * self.now.bank_rad.abs() / roll_rate;
            let left_rad = sign * (self.course_rad + self.drift_rad() - self.heading_rad);
            if left_rad <= lead_rad {
                break;
            }
            self.step(sign * bank_rad);
        }
        self.felt_error_rad = 0.0;
    }

    fn straight(&mut self, end: LegPlan, leg: Option<(usize, i8, bool)>) {
        let from = self.track.len();
        let start_m = self.now.position_m;
        let along = [self.course_rad.cos(), self.course_rad.sin()];
        let across = [-along[1], along[0]];
        let mut settled = None;
        loop {
            let flown_m = difference(self.now.position_m, start_m);
            let flown_s = (self.track.len() - from) as f64 * STEP_S;
            let done = match end {
                LegPlan::GroundLengthM(length_m) => dot(flown_m, along) >= length_m || flown_s > 120.0,
                LegPlan::TimeS(time_s) => flown_s >= time_s,
            };
            if done {
                break;
            }
            self.steer_to(dot(flown_m, across));
            if settled.is_none() && self.track_error_rad().abs() < 0.14 && self.now.bank_rad.abs() < 0.17 {
                settled = Some(self.track.len() - 1);
            }
        }
        if let (Some((step, direction, complete)), Some(start)) = (leg, settled) {
            let settling = ((SETTLING_S / STEP_S) as usize).min((self.track.len() - start) / 2);
            let considered = &self.track[start + settling..];
            let mean = |of: &dyn Fn(&Instant) -> f64| {
                considered.iter().map(of).sum::<f64>() / considered.len() as f64
            };
            self.legs.push(TrueLeg {
                start_s: self.track[start].time_s,
                end_s: self.now.time_s,
                step,
                direction,
                airspeed_mps: mean(&|instant| instant.airspeed_mps),
                headwind_mps: mean(&|instant| -dot(instant.wind_mps, along)),
                complete,
            });
        }
    }

    /// Simulates one step along the course.
    fn steer(&mut self) {
        self.steer_to(0.0);
    }

    /// Simulates one step along the course; the aircraft is `off_m` metres to the left of the intended line.
    fn steer_to(&mut self, off_m: f64) {
        let speed_mps = self.now.airspeed_mps;
        let wander_rad = self.course_wander_rad.step(STEP_S / 3.0, &mut self.random);
        let back_rad = (off_m / (5.0 * speed_mps)).clamp(-0.2, 0.2);
        let heading_error_rad = self.course_rad - self.heading_rad;
        let share = self.conditions.crab_share;
        let error_rad = share * self.track_error_rad() + (1.0 - share) * heading_error_rad;
        let error_rad = error_rad + wander_rad - back_rad;
        self.felt_error_rad += (error_rad - self.felt_error_rad) * STEP_S / 0.4;
        let rate = self.felt_error_rad / 1.5;
        let bank_rad = (rate * speed_mps / GRAVITY).atan().clamp(-0.6, 0.6);
        self.step(bank_rad);
    }

    /// Angle by which the course lies to the left of the ground track, within half a circle.
    fn track_error_rad(&self) -> f64 {
        let [x, y] = self.now.velocity_mps;
        let error_rad = self.course_rad - y.atan2(x);
        error_rad - (error_rad / (2.0 * PI)).round() * 2.0 * PI
    }

    /// Angle from the course to the heading with which the pilot compensates for the wind.
    fn drift_rad(&self) -> f64 {
        let wind_mps = self.mean_wind();
        let across_mps = wind_mps[1] * self.course_rad.cos() - wind_mps[0] * self.course_rad.sin();
        let speed_mps = self.now.airspeed_mps.max(self.trim_mps * 0.7);
        self.conditions.crab_share * (-across_mps / speed_mps).clamp(-0.9, 0.9).asin()
    }

    /// Simulates one step of the flight while the pilot holds a bank.
    fn step(&mut self, bank_wanted_rad: f64) {
        // The motor follows the throttle within a quarter of a second.
        self.trim_mps += (self.trim_wanted_mps - self.trim_mps) * STEP_S / 0.25;
        self.blow(self.now.airspeed_mps * STEP_S);
        let [x, y] = difference(self.now.velocity_mps, self.now.wind_mps);
        let speed_mps = x.hypot(y);
        // The aircraft turns into the relative wind.
        let turned_rad = y.atan2(x) - self.heading_rad;
        self.heading_rad += turned_rad - (turned_rad / (2.0 * PI)).round() * 2.0 * PI;

        let stall_mps = STALL_SHARE * self.conditions.slowest_mps();
        let most_bank_rad = (0.9 * (speed_mps / stall_mps).powi(2)).max(1.02).recip().acos();
        let wanted_rad = bank_wanted_rad.clamp(-most_bank_rad, most_bank_rad);
        let roll_rate = self.conditions.roll_rate_deg_per_s.to_radians();
        let roll = ((wanted_rad - self.now.bank_rad) / 0.1).clamp(-roll_rate, roll_rate);
        self.now.bank_rad += roll * STEP_S;

        let wander_m = self.height_wander_m.step(STEP_S / 8.0, &mut self.random);
        // The climb rate is limited to what the airspeed allows.
        let most_mps = (20.0 * (speed_mps / self.trim_mps - 0.75)).clamp(0.0, 4.0);
        let climb_mps = ((self.height_wanted_m + wander_m - self.now.height_m) / 2.5).clamp(-4.0, most_mps);
        self.climb_mps += (climb_mps - self.climb_mps) * STEP_S / 0.6;

        let load_factor = self.now.bank_rad.cos().recip();
        let acceleration =
            self.thrust(speed_mps) - self.drag(speed_mps, load_factor) - GRAVITY * self.climb_mps / speed_mps;
        self.heading_rad += GRAVITY * self.now.bank_rad.tan() / speed_mps * STEP_S;
        self.now.airspeed_mps = speed_mps + acceleration * STEP_S;
        self.now.velocity_mps = self.over_ground();
        self.now.height_m += self.climb_mps * STEP_S;
        self.note();
    }

    /// Drag per unit of mass.
    fn drag(&self, speed_mps: f64, load_factor: f64) -> f64 {
        let square = speed_mps.max(3.0).powi(2);
        self.parasitic_per_m * square + self.induced_m3_per_s4 * load_factor.powi(2) / square
    }

    /// Thrust per unit of mass: that of level flight at the level speed, decreasing linearly to zero at the
    /// pitch speed of the propeller.
    fn thrust(&self, speed_mps: f64) -> f64 {
        let left = (PITCH_SPEED_SHARE - speed_mps / self.trim_mps) / (PITCH_SPEED_SHARE - 1.0);
        self.drag(self.trim_mps, 1.0) * left.clamp(-0.5, 2.5)
    }

    /// Wind at the present height without turbulence, as the vector towards which it blows.
    fn mean_wind(&self) -> [f64; 2] {
        let height_share = self.now.height_m.max(1.0) / self.conditions.height_m;
        let speed_mps = self.conditions.wind_mps
            * (1.0 + self.wind_change.value)
            * height_share.powf(self.conditions.gradient_exponent);
        let from_rad = self.conditions.wind_angle_deg.to_radians() + self.wind_turn_rad.value;
        [-speed_mps * from_rad.cos(), -speed_mps * from_rad.sin()]
    }

    /// Updates the wind after `path_m` metres through air whose turbulence is constant in time.
    fn blow(&mut self, path_m: f64) {
        let slow = STEP_S / self.conditions.wind_time_s;
        self.wind_change.step(slow, &mut self.random);
        self.wind_turn_rad.step(slow, &mut self.random);
        // An aircraft on the ground meets the turbulence that the wind carries past it.
        let path_m = path_m.max(self.conditions.wind_mps * STEP_S);
        self.now.wind_mps = self.mean_wind();
        for (parts, length_m) in self.turbulence_mps.iter_mut().zip(self.conditions.turbulence_lengths_m) {
            for (part, wind_mps) in parts.iter_mut().zip(&mut self.now.wind_mps) {
                *wind_mps += part.step(path_m / length_m, &mut self.random);
            }
        }
    }

    fn over_ground(&self) -> [f64; 2] {
        let [x, y] = self.now.wind_mps;
        let speed_mps = self.now.airspeed_mps;
        [x + speed_mps * self.heading_rad.cos(), y + speed_mps * self.heading_rad.sin()]
    }

    fn note(&mut self) {
        self.now.time_s = (self.track.len() + 1) as f64 * STEP_S;
        for (position_m, velocity_mps) in self.now.position_m.iter_mut().zip(self.now.velocity_mps) {
            *position_m += velocity_mps * STEP_S;
        }
        self.track.push(self.now);
    }
}

fn dot(a: [f64; 2], b: [f64; 2]) -> f64 {
    a[0] * b[0] + a[1] * b[1]
}

fn difference(a: [f64; 2], b: [f64; 2]) -> [f64; 2] {
    [a[0] - b[0], a[1] - b[1]]
}

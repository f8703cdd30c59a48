//! Simulates the aircraft's motion step by step.
//!
//! On legs the track is held: the nose is turned into the crosswind Wc, so that with the airspeed V and the wind along
//! the course Wa the ground speed is sqrt(V^2 - Wc^2) -/+ Wa. In turns the heading changes smoothly, and drag costs
//! some airspeed. Gusts act on the airspeed at once and on the ground speed with the response time of the airframe.

use rand_chacha::ChaCha8Rng;

use super::Sample;
use super::gusts::{GustStrength, Gusts};
use super::pack::PackState;
use super::timeline::{Motion, Segment, ease};
use crate::random::{Purpose, Wander, stream};
use crate::scenario::{LegKind, Scenario};

/// Length of a simulation step in seconds.
pub(super) const STEP_S: f64 = 0.02;
/// Standard acceleration of gravity in m/s^2.
const GRAVITY: f64 = 9.806_65;
/// Minimum airspeed right after the aircraft is thrown, in m/s (set by judgement).
const THROW_MPS: f64 = 9.0;
/// Maximum airspeed to which the aircraft tends during the approach, in m/s (set by judgement).
const APPROACH_MPS: f64 = 14.0;
/// Time constant with which the nose turns to the heading that holds the track, in seconds (set by judgement).
const NOSE_S: f64 = 0.4;
/// Time constant with which the bank angle follows the rate of the turn, in seconds (set by judgement).
const BANK_S: f64 = 0.25;

/// State of the simulated aircraft, carried over from one time step to the next.
pub(super) struct Aircraft<'a> {
    scenario: &'a Scenario,
    wander_random: ChaCha8Rng,
    gust_random: ChaCha8Rng,
    gusts: Gusts,
    course_wander: Wander,
    height_wander: Wander,
    pack: PackState<'a>,
    airspeed_mps: f64,
    heading_deg: f64,
    roll_deg: f64,
    gust_mps: [f64; 2],
    position_m: [f64; 2],
    /// Heading at the start of the present turn, and the planned heading at its end, in degrees.
    turn_deg: [f64; 2],
    /// Ground speed at touch-down, in m/s.
    touch_down_mps: f64,
    height_m: f64,
}

impl<'a> Aircraft<'a> {
    pub(super) fn new(scenario: &'a Scenario, first: Option<&Segment>) -> Self {
        let plan = &scenario.flight;
        let throttle = first.map_or(0.0, |segment| segment.throttle_percent);
        let flying = plan.climb_s <= 0.0;
        let airspeed_mps =
            if flying { scenario.airframe.airspeed_mps.at(throttle) } else { scenario.wind.along_mps() };
        let mut flyer = Self {
            scenario,
            wander_random: stream(scenario.seed, Purpose::Wander),
            gust_random: stream(scenario.seed, Purpose::Gusts),
            gusts: Gusts::default(),
            course_wander: Wander::new(plan.course_wander_deg, 2.5),
            height_wander: Wander::new(plan.height_wander_m, 4.0),
            pack: PackState::new(&scenario.pack),
            airspeed_mps,
            heading_deg: plan.course_deg,
            roll_deg: 0.0,
            gust_mps: [0.0; 2],
            position_m: [0.0; 2],
            turn_deg: [0.0; 2],
            touch_down_mps: 0.0,
            height_m: first.map_or(0.0, |segment| segment.height_m[0]),
        };
        flyer.heading_deg = flyer.holding_heading(plan.first_leg, 0.0);
        flyer
    }

    /// Prepares for flying a segment.
    pub(super) fn enter(&mut self, segment: &Segment) {
        match segment.motion {
            Motion::Turn { sweep_deg, into } => {
                let end = self.holding_heading(into, 0.0);
                let missing = wrapped(end - self.heading_deg - sweep_deg);
                self.turn_deg = [self.heading_deg, self.heading_deg + sweep_deg + missing];
            }
            Motion::Slide => self.touch_down_mps = self.ground_velocity().hypot_length(),
            Motion::Straight { leg: false, .. } => self.airspeed_mps = self.airspeed_mps.max(THROW_MPS),
            Motion::Straight { .. } | Motion::Still | Motion::Approach => {}
        }
    }

    /// Simulates one time step of [`STEP_S`] seconds within a segment, and returns the state at `time_s`, in seconds
    /// from the start of the flight.
    pub(super) fn step(&mut self, segment: &Segment, time_s: f64) -> Sample {
        let share = segment.share(time_s);
        let steady_mps = self.steady_airspeed(segment, share);
        self.pack.draw(segment.throttle_percent, STEP_S);
        self.fly(segment, share, steady_mps);
        let course = self.turn_nose(segment, share);
        let velocity = self.velocity(segment, share, course);
        let old_height_m = self.height_m;
        self.height_m = self.next_height(segment, time_s);
        let climb_mps = (self.height_m - old_height_m) / STEP_S;
        self.position_m = [0, 1].map(|axis| self.position_m[axis] + velocity.0[axis] * STEP_S);
        let ground_speed_mps = velocity.hypot_length();
        Sample {
            time_s,
            true_airspeed_mps: self.airspeed_mps,
            steady_airspeed_mps: steady_mps,
            ground_speed_mps,
            heading_deg: self.heading_deg.rem_euclid(360.0),
            track_deg: velocity.direction_deg(self.heading_deg).rem_euclid(360.0),
            roll_deg: self.roll_deg + 0.9 * self.gust_mps[1],
            pitch_deg: climb_mps.atan2(ground_speed_mps.max(5.0)).to_degrees(),
            throttle_percent: segment.throttle_percent,
            current_a: self.pack.current_a,
            voltage_v: self.pack.voltage_v(),
            used_ah: self.pack.used_ah,
            height_m: self.height_m,
            position_m: self.position_m,
        }
    }

    /// Airspeed towards which the airspeed tends at this throttle and voltage, in m/s; lower in turns and on the
    /// approach. `share` is the share of the segment that has passed, 0 to 1.
    fn steady_airspeed(&self, segment: &Segment, share: f64) -> f64 {
        let airframe = &self.scenario.airframe;
        let voltage = self.pack.voltage_v() / self.pack.full_rest_v();
        let level =
            airframe.airspeed_mps.at(segment.throttle_percent) * voltage.powf(airframe.voltage_exponent);
        match segment.motion {
            Motion::Approach | Motion::Slide => level.min(APPROACH_MPS),
            Motion::Turn { .. } => level * (1.0 - airframe.turn_loss * 4.0 * share * (1.0 - share)),
            Motion::Still | Motion::Straight { .. } => level,
        }
    }

    fn fly(&mut self, segment: &Segment, share: f64, steady_mps: f64) {
        let wind = self.scenario.wind;
        match segment.motion {
            Motion::Still => self.airspeed_mps = wind.along_mps(),
            Motion::Slide => {
                self.airspeed_mps = self.touch_down_mps * (1.0 - share) + wind.along_mps();
            }
            _ => {
                let strength = GustStrength::at(self.height_m, wind.speed_mps * wind.gusts);
                let before = self.gust_mps[0];
                self.gust_mps = self.gusts.step(strength, self.airspeed_mps, STEP_S, &mut self.gust_random);
                let answer = 1.0 - (-STEP_S / self.scenario.airframe.response_s).exp();
                self.airspeed_mps += answer * (steady_mps - self.airspeed_mps) - (self.gust_mps[0] - before);
            }
        }
    }

    /// Turns the nose and sets the bank angle for one time step. Returns the course of a straight segment, in degrees;
    /// `None` for other segments. `share` is the share of the segment that has passed, 0 to 1.
    fn turn_nose(&mut self, segment: &Segment, share: f64) -> Option<f64> {
        let before = self.heading_deg;
        let wander = self.course_wander.step(STEP_S, &mut self.wander_random);
        let mut course = None;
        match segment.motion {
            Motion::Turn { .. } => {
                let [from, to] = self.turn_deg;
                self.heading_deg = from + (to - from) * ease(share);
            }
            Motion::Straight { kind, .. } => {
                let wanted = self.holding_heading(kind, wander);
                self.heading_deg += wrapped(wanted - before) * (1.0 - (-STEP_S / NOSE_S).exp());
                course = Some(self.course_deg(kind));
            }
            Motion::Approach | Motion::Slide | Motion::Still => {}
        }
        let rate_rad_s = (self.heading_deg - before).to_radians() / STEP_S;
        let flying = !matches!(segment.motion, Motion::Still | Motion::Slide);
        let bank_deg =
            if flying { (self.airspeed_mps * rate_rad_s / GRAVITY).atan().to_degrees() } else { 0.0 };
        self.roll_deg += (bank_deg - self.roll_deg) * (1.0 - (-STEP_S / BANK_S).exp());
        course
    }

    fn velocity(&self, segment: &Segment, share: f64, course_deg: Option<f64>) -> Vector {
        match segment.motion {
            Motion::Still => Vector([0.0; 2]),
            Motion::Slide => Vector::of(self.touch_down_mps * (1.0 - share), self.scenario.flight.course_deg),
            _ => {
                let velocity = self.ground_velocity();
                course_deg.map_or(velocity, |course| velocity.kept_forward(course))
            }
        }
    }

    /// Velocity over the ground in flight: velocity through the air, plus the wind, plus the gust along the
    /// nose.
    fn ground_velocity(&self) -> Vector {
        let through_air = Vector::of(self.airspeed_mps + self.gust_mps[0], self.heading_deg);
        let wind = self.scenario.wind;
        let from_deg = self.scenario.flight.course_deg + wind.angle_to_course_deg;
        through_air.plus(Vector::of(-wind.speed_mps, from_deg))
    }

    fn next_height(&mut self, segment: &Segment, time_s: f64) -> f64 {
        let wander = self.height_wander.step(STEP_S, &mut self.wander_random);
        let plan = &self.scenario.flight;
        let planned = segment.height_at(time_s);
        if planned < 1.0 { planned } else { planned + wander * (planned / plan.leg_height_m).min(1.0) }
    }

    fn course_deg(&self, kind: LegKind) -> f64 {
        let back = if kind == LegKind::Downwind { 180.0 } else { 0.0 };
        self.scenario.flight.course_deg + back
    }

    /// The heading, in degrees, that holds a track `off_deg` degrees clockwise of the course of a leg of this kind:
    /// the nose points into the crosswind.
    fn holding_heading(&self, kind: LegKind, off_deg: f64) -> f64 {
        let track = self.course_deg(kind) + off_deg;
        let wind = self.scenario.wind;
        let from_deg = self.scenario.flight.course_deg + wind.angle_to_course_deg;
        let across_mps = wind.speed_mps * (from_deg - track).to_radians().sin();
        let lean = (across_mps / self.airspeed_mps.max(3.0)).clamp(-0.9, 0.9).asin();
        track + lean.to_degrees()
    }
}

/// A horizontal vector as its east and north components.
#[derive(Debug, Clone, Copy)]
struct Vector([f64; 2]);

impl Vector {
    fn of(length: f64, direction_deg: f64) -> Self {
        let (sine, cosine) = direction_deg.to_radians().sin_cos();
        Self([length * sine, length * cosine])
    }

    fn plus(self, other: Self) -> Self {
        Self([self.0[0] + other.0[0], self.0[1] + other.0[1]])
    }

    fn hypot_length(self) -> f64 {
        self.0[0].hypot(self.0[1])
    }

    fn direction_deg(self, at_rest: f64) -> f64 {
        if self.hypot_length() < 0.1 { at_rest } else { self.0[0].atan2(self.0[1]).to_degrees() }
    }

    /// The vector, or zero if it points backwards along a course: a thrown aircraft does not fly backwards.
    fn kept_forward(self, course_deg: f64) -> Self {
        let unit = Self::of(1.0, course_deg);
        let forward = self.0[0] * unit.0[0] + self.0[1] * unit.0[1];
        if forward < 0.0 { Self([0.0; 2]) } else { self }
    }
}

/// An angle in degrees wrapped to -180 to 180.
fn wrapped(degrees: f64) -> f64 {
    (degrees + 180.0).rem_euclid(360.0) - 180.0
}

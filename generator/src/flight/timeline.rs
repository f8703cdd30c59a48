//! The plan of a flight as a sequence of segments.

use rand::RngExt;

use crate::random::{Purpose, stream};
use crate::scenario::{FlightPlan, LegKind, Scenario};

/// Height of the camera above the ground while the aircraft stands, in metres (set by judgement).
const STANDING_HEIGHT_M: f64 = 0.6;
/// Throttle in the descending circle before the approach, in percent (set by judgement).
const DESCENT_THROTTLE_PERCENT: f64 = 25.0;
/// Shares of the landing time, 0 to 1, that the descending circle and the approach take; the rest is the slide on the
/// ground (set by judgement).
const LANDING_SHARES: [f64; 2] = [0.5, 0.38];

/// How a segment is flown.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Motion {
    /// Standing on the ground.
    Still,
    /// Straight flight in the direction `kind`; `leg` says whether it is one of the measured legs.
    Straight { kind: LegKind, leg: bool },
    /// A turn that ends in the direction `into`. `sweep_deg` is its angle in degrees, positive to the right, before a
    /// correction for the wind.
    Turn { sweep_deg: f64, into: LegKind },
    /// Slow straight flight down to the ground.
    Approach,
    /// Sliding to a stop.
    Slide,
}

/// A piece of the flight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Segment {
    pub(super) start_s: f64,
    pub(super) end_s: f64,
    pub(super) motion: Motion,
    pub(super) throttle_percent: f64,
    /// Planned height above the field at the start and at the end of the segment, in metres.
    pub(super) height_m: [f64; 2],
}

impl Segment {
    /// Share of the segment that has passed at a time in seconds, 0 to 1.
    pub(super) fn share(&self, time_s: f64) -> f64 {
        ((time_s - self.start_s) / (self.end_s - self.start_s).max(1e-9)).clamp(0.0, 1.0)
    }

    /// Planned height above the field at a time in seconds, in metres. It changes slowly at both ends of the
    /// segment.
    pub(super) fn height_at(&self, time_s: f64) -> f64 {
        self.height_m[0] + (self.height_m[1] - self.height_m[0]) * ease(self.share(time_s))
    }
}

/// A smooth transition from 0 to 1 with slope 0 at both ends: 3 s^2 - 2 s^3 for the share s.
pub(super) fn ease(share: f64) -> f64 {
    share * share * (3.0 - 2.0 * share)
}

/// Collects segments one after the other.
struct Builder {
    segments: Vec<Segment>,
    height_m: f64,
    /// Sign of the last turn's angle, 1 for right or -1 for left. It alternates from turn to turn.
    last_turn_sign: f64,
}

impl Builder {
    fn add(&mut self, length_s: f64, motion: Motion, throttle_percent: f64, to_height_m: f64) {
        if length_s <= 0.0 {
            return;
        }
        let start_s = self.segments.last().map_or(0.0, |segment| segment.end_s);
        self.segments.push(Segment {
            start_s,
            end_s: start_s + length_s,
            motion,
            throttle_percent,
            height_m: [self.height_m, to_height_m],
        });
        self.height_m = to_height_m;
    }

    fn turn(&mut self, length_s: f64, sweep_deg: f64, into: LegKind, throttle_percent: f64, height_m: f64) {
        self.last_turn_sign = -self.last_turn_sign;
        let motion = Motion::Turn { sweep_deg: sweep_deg * self.last_turn_sign, into };
        self.add(length_s, motion, throttle_percent, height_m);
    }
}

/// The segments of a scenario's flight.
pub(super) fn segments(scenario: &Scenario) -> Vec<Segment> {
    let plan = &scenario.flight;
    let starts_low = plan.climb_s > 0.0;
    let height_m = if starts_low { STANDING_HEIGHT_M } else { plan.leg_height_m };
    let mut builder = Builder { segments: Vec::new(), height_m, last_turn_sign: 1.0 };
    if starts_low {
        add_launch(&mut builder, plan);
    }
    let last = add_legs(&mut builder, plan, scenario.seed);
    if plan.landing_s > 0.0 {
        add_landing(&mut builder, plan, last);
    }
    builder.segments
}

fn add_launch(builder: &mut Builder, plan: &FlightPlan) {
    let throttle = plan.climb_throttle_percent;
    builder.add(plan.before_launch_s, Motion::Still, 0.0, STANDING_HEIGHT_M);
    let away = Motion::Straight { kind: LegKind::Upwind, leg: false };
    builder.add(plan.climb_s * 0.25, away, throttle, plan.leg_height_m * 0.2);
    let sweep_deg = if plan.first_leg == LegKind::Upwind { 360.0 } else { 180.0 };
    builder.turn(plan.climb_s * 0.75, sweep_deg, plan.first_leg, throttle, plan.leg_height_m);
}

/// Adds all legs and the turns between them; returns the direction of the last leg.
fn add_legs(builder: &mut Builder, plan: &FlightPlan, seed: u64) -> LegKind {
    let mut random = stream(seed, Purpose::Plan);
    let steps = plan.throttle_percent.iter().flat_map(|&throttle| vec![throttle; plan.legs_per_step]);
    let mut legs: Vec<(f64, f64)> = steps
        .map(|throttle| (throttle, plan.leg_s + plan.leg_spread_s * random.random_range(-1.0..=1.0)))
        .collect();
    legs.extend(plan.lone_leg.map(|leg| (leg.throttle_percent, leg.length_s)));
    let mut kind = plan.first_leg;
    for (index, &(throttle, length_s)) in legs.iter().enumerate() {
        if index > 0 {
            kind = kind.turned();
            builder.turn(plan.turn_s, 180.0, kind, throttle, plan.leg_height_m);
        }
        builder.add(length_s, Motion::Straight { kind, leg: true }, throttle, plan.leg_height_m);
    }
    kind
}

fn add_landing(builder: &mut Builder, plan: &FlightPlan, last: LegKind) {
    let [circle, approach] = LANDING_SHARES.map(|share| share * plan.landing_s);
    let sweep_deg = if last == LegKind::Upwind { 360.0 } else { 180.0 };
    let low_m = plan.leg_height_m * 0.25;
    builder.turn(circle, sweep_deg, LegKind::Upwind, DESCENT_THROTTLE_PERCENT, low_m);
    builder.add(approach, Motion::Approach, 0.0, STANDING_HEIGHT_M);
    builder.add(plan.landing_s - circle - approach, Motion::Slide, 0.0, STANDING_HEIGHT_M);
    builder.add(plan.after_landing_s, Motion::Still, 0.0, STANDING_HEIGHT_M);
}

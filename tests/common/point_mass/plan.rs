//! The pilot's plan of a flight.

use std::f64::consts::{FRAC_PI_2, PI, TAU};

use super::conditions::{Conditions, LegPlan, ThrottleChange, TurnKind};
use super::random::Random;
use super::{GRAVITY, Manoeuvre};

pub(super) fn plan(conditions: &Conditions) -> Vec<Manoeuvre> {
    let mut planner = Planner::new(conditions);
    planner.take_off();
    planner.wander(conditions.wandering_before_s, 8.0);
    planner.runs();
    planner.wander(conditions.wandering_after_s, 8.0);
    planner.come_down();
    planner.plan
}

/// Sport flying for `time_s` seconds: random turns, without straight flight of 3 s.
pub(super) fn sport_flying(conditions: &Conditions, time_s: f64) -> Vec<Manoeuvre> {
    let mut planner = Planner::new(conditions);
    planner.take_off();
    planner.wander(time_s, 2.0);
    planner.come_down();
    planner.plan
}

struct Planner<'a> {
    conditions: &'a Conditions,
    random: Random,
    upwind_rad: f64,
    course_rad: f64,
    plan: Vec<Manoeuvre>,
}

impl<'a> Planner<'a> {
    fn new(conditions: &'a Conditions) -> Self {
        let upwind_rad = if conditions.wind_angle_deg.to_radians().cos() < 0.0 { PI } else { 0.0 };
        let random = Random::new(conditions.seed ^ 0x0007_1a11);
        Self { conditions, random, upwind_rad, course_rad: upwind_rad, plan: Vec::new() }
    }

    fn take_off(&mut self) {
        if self.conditions.starts_on_ground {
            self.plan.push(Manoeuvre::Stand { time_s: self.random.uniform(3.0, 25.0) });
            let fastest = self.conditions.airspeeds_mps.iter().copied().fold(0.0, f64::max);
            self.plan.push(Manoeuvre::Throttle { airspeed_mps: fastest });
            self.plan.push(Manoeuvre::Launch);
        }
        self.straight(2.0, 3.0);
        self.plan.push(Manoeuvre::CircleToHeight);
    }

    fn come_down(&mut self) {
        if self.conditions.ends_on_ground {
            let bank_rad = self.random.uniform(0.5, 0.8);
            self.turn_to(self.upwind_rad, bank_rad);
            self.plan.push(Manoeuvre::Land);
            self.plan.push(Manoeuvre::Stand { time_s: self.random.uniform(3.0, 25.0) });
        }
    }

    /// Aimless flying, with straight flight of at most `longest_s` seconds at a time.
    fn wander(&mut self, time_s: f64, longest_s: f64) {
        let speeds = &self.conditions.airspeeds_mps;
        let slowest = speeds.iter().copied().fold(f64::INFINITY, f64::min);
        let fastest = speeds.iter().copied().fold(0.0, f64::max);
        let mut left_s = time_s;
        while left_s > 0.0 {
            if self.random.chance(0.4) {
                let airspeed_mps = self.random.uniform(0.9 * slowest, fastest);
                self.plan.push(Manoeuvre::Throttle { airspeed_mps });
            }
            if self.random.chance(0.3) {
                let height_m = self.conditions.height_m * self.random.uniform(0.6, 1.4);
                self.plan.push(Manoeuvre::Height { height_m });
            }
            let size = self.random.pick(&[PI / 6.0, FRAC_PI_2, FRAC_PI_2, PI, 1.5 * PI, TAU, 2.0 * TAU]);
            let by_rad = size * self.random.sign() * self.random.uniform(0.7, 1.3);
            let bank_rad = self.random.uniform(0.4, 1.1);
            self.turn(by_rad, bank_rad);
            left_s -= by_rad.abs() * 0.5 * (slowest + fastest) / (GRAVITY * bank_rad.tan());
            if self.random.chance(0.7) {
                left_s -= self.straight(0.25 * longest_s, longest_s);
            }
        }
        self.plan.push(Manoeuvre::Height { height_m: self.conditions.height_m });
    }

    fn runs(&mut self) {
        let airspeeds_mps = &self.conditions.airspeeds_mps;
        self.plan.push(Manoeuvre::CircleToHeight);
        let mut ahead = self.random.chance(0.5);
        let mut flown = 0;
        for (step, airspeed_mps) in airspeeds_mps.iter().enumerate() {
            for leg in 0..2 * self.conditions.pairs_per_step {
                let new = (leg == 0).then_some(*airspeed_mps);
                if flown == 0 {
                    let course_rad = if ahead { 0.0 } else { PI };
                    self.plan.push(Manoeuvre::Throttle { airspeed_mps: *airspeed_mps });
                    self.turn_to(course_rad, self.bank_rad(PI, *airspeed_mps));
                } else {
                    if new.is_some() && self.conditions.orbit_between_steps {
                        self.turn(TAU, self.bank_rad(PI, *airspeed_mps));
                    }
                    self.turn_back(*airspeed_mps, new);
                }
                let direction = if ahead { 1 } else { -1 };
                if self.conditions.broken_leg == Some(flown) {
                    self.leg(0.5, (step, direction, false));
                    self.turn(TAU, self.bank_rad(PI, *airspeed_mps));
                }
                self.leg(1.0, (step, direction, true));
                ahead = !ahead;
                flown += 1;
            }
        }
    }

    fn leg(&mut self, share: f64, leg: (usize, i8, bool)) {
        let end = match self.conditions.leg_plan {
            LegPlan::GroundLengthM(length_m) => {
                LegPlan::GroundLengthM(share * length_m * self.random.uniform(0.93, 1.07))
            }
            LegPlan::TimeS(time_s) => LegPlan::TimeS(share * time_s * self.random.uniform(0.85, 1.15)),
        };
        self.plan.push(Manoeuvre::Straight { end, leg: Some(leg) });
    }

    /// A turn by half a circle; the throttle is moved during the turn if a new airspeed is given.
    fn turn_back(&mut self, airspeed_mps: f64, new: Option<f64>) {
        let from = self.plan.len();
        let side = self.random.sign();
        match self.conditions.turn_kind {
            TurnKind::Racetrack => {
                let bank_rad = self.bank_rad(PI, airspeed_mps);
                self.turn(side * FRAC_PI_2, bank_rad);
                self.straight(0.2, 2.0);
                self.turn(side * FRAC_PI_2, bank_rad);
            }
            TurnKind::Teardrop => {
                let out_rad = self.random.uniform(0.4, 0.8);
                let bank_rad = self.bank_rad(PI + 2.0 * out_rad, airspeed_mps);
                self.turn(-side * out_rad, bank_rad);
                self.straight(0.5, 1.5);
                self.turn(side * (PI + out_rad), bank_rad);
            }
            TurnKind::Procedure => {
                let out_rad = self.random.uniform(1.2, FRAC_PI_2);
                let bank_rad = self.bank_rad(PI + 2.0 * out_rad, airspeed_mps);
                self.turn(-side * out_rad, bank_rad);
                self.turn(side * (PI + out_rad), bank_rad);
            }
        }
        if let Some(airspeed_mps) = new {
            let at = match self.conditions.throttle_change {
                ThrottleChange::TurnStart => from,
                ThrottleChange::MidTurn => self.plan.len() - 1,
                ThrottleChange::TurnEnd => self.plan.len(),
            };
            self.plan.insert(at, Manoeuvre::Throttle { airspeed_mps });
        }
    }

    /// Bank angle that turns by an angle within the time of a turn, limited to what the pilot accepts.
    fn bank_rad(&self, angle_rad: f64, airspeed_mps: f64) -> f64 {
        let rate = angle_rad / self.conditions.turn_s;
        (airspeed_mps * rate / GRAVITY).atan().min(self.conditions.bank_limit_deg.to_radians())
    }

    fn turn(&mut self, by_rad: f64, bank_rad: f64) {
        self.course_rad += by_rad;
        self.plan.push(Manoeuvre::Turn { by_rad, bank_rad });
    }

    fn turn_to(&mut self, course_rad: f64, bank_rad: f64) {
        let by_rad = course_rad - self.course_rad;
        self.turn(by_rad - (by_rad / TAU).round() * TAU, bank_rad);
    }

    fn straight(&mut self, least_s: f64, most_s: f64) -> f64 {
        let time_s = self.random.uniform(least_s, most_s);
        self.plan.push(Manoeuvre::Straight { end: LegPlan::TimeS(time_s), leg: None });
        time_s
    }
}

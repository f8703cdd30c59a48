//! Comparisons of two flights of one aircraft, for several classes of flights: how often a difference is reported for
//! an unchanged aircraft, and how often for a changed one.
//!
//! The legs are given as flown, so that only the statistics are tested.
#![allow(clippy::unwrap_used, missing_docs)]

mod common;

use common::{Chance, Plan, dryden, point_mass};
use pairspeed::airspeed::{COURSE_WITHIN_DEG, crosswind_bound, pair, reads_low, steps};
use pairspeed::compare::{CompareOptions, compare};
use pairspeed::legs::{GivenLeg, LegKind, LegOptions, find};
use pairspeed::model::units::Unit;
use pairspeed::propulsion::{FlownStep, SharedUncertainty};
use pairspeed::series::{Readings, trust};
use pairspeed::summary::FlownFlight;
use point_mass::Conditions;
use rayon::prelude::*;

/// First seed of all flights here; no default was chosen on them.
const FIRST_SEED: u64 = 7_000_000;

/// First seed of the random conditions within the classes, separate from the seeds of the flights.
const CLASS_SEED: u64 = 9_000_000;

/// Time at the start of a leg that is left out because the speed is not steady yet, in seconds.
const SETTLING_S: f64 = 3.0;

/// Minimum length of a given leg, in seconds.
const SHORTEST_LEG_S: f64 = 2.0;

/// A change that should be detected, as a factor of the airspeed, and a smaller one.
const CHANGES: [f64; 2] = [1.05, 1.02];

/// Wind in m/s and its angle to the course in degrees, each as a range.
#[derive(Debug, Clone, Copy)]
struct Weather {
    wind_mps: (f64, f64),
    angle_deg: (f64, f64),
}

const ANY_WEATHER: Weather = Weather { wind_mps: (0.3, 8.0), angle_deg: (0.0, 30.0) };

/// Unit, number of decimals, and whether further digits are truncated.
type Display = (Unit, u8, bool);

/// Comparisons of flights with common properties.
#[derive(Debug, Clone, Copy)]
struct Class {
    name: &'static str,
    weathers: [Weather; 2],
    /// The display; drawn at random if it is `None`.
    display: Option<Display>,
    /// Whether the later flight has another display, which truncates if the first one rounds and vice versa.
    has_two_displays: bool,
    pairs: Option<usize>,
}

const ANY: Class =
    Class { name: "any", weathers: [ANY_WEATHER; 2], display: None, has_two_displays: false, pairs: None };

const fn in_wind(name: &'static str, low_mps: f64, high_mps: f64) -> Class {
    Class { name, weathers: [Weather { wind_mps: (low_mps, high_mps), ..ANY_WEATHER }; 2], ..ANY }
}

const fn at_angle(name: &'static str, low_deg: f64, high_deg: f64) -> Class {
    Class { name, weathers: [Weather { angle_deg: (low_deg, high_deg), ..ANY_WEATHER }; 2], ..ANY }
}

const fn displayed(name: &'static str, unit: Unit, decimals: u8, cuts_off: bool) -> Class {
    Class { name, display: Some((unit, decimals, cuts_off)), ..ANY }
}

const fn with_pairs(name: &'static str, pairs: usize) -> Class {
    Class { name, pairs: Some(pairs), ..ANY }
}

const STRONG_AND_ASKEW: Weather = Weather { wind_mps: (5.0, 8.0), angle_deg: (20.0, 30.0) };
const CALM: Weather = Weather { wind_mps: (0.3, 1.0), ..ANY_WEATHER };
const ASKEW: Weather = Weather { angle_deg: (20.0, 30.0), ..ANY_WEATHER };

const CLASSES: [Class; 20] = [
    in_wind("wind below 1 m/s", 0.3, 1.0),
    in_wind("wind 1 to 3 m/s", 1.0, 3.0),
    in_wind("wind 3 to 5 m/s", 3.0, 5.0),
    in_wind("wind 5 to 8 m/s", 5.0, 8.0),
    at_angle("0 to 10 degrees off", 0.0, 10.0),
    at_angle("10 to 20 degrees off", 10.0, 20.0),
    at_angle("20 to 30 degrees off", 20.0, 30.0),
    Class { name: "20 to 30 degrees, then any", weathers: [ASKEW, ANY_WEATHER], ..ANY },
    Class { name: "5 to 8 m/s, 20 to 30 degrees", weathers: [STRONG_AND_ASKEW; 2], ..ANY },
    Class { name: "5 to 8 m/s, 20 to 30 deg, calm", weathers: [STRONG_AND_ASKEW, CALM], ..ANY },
    displayed("km/h, rounded", Unit::KilometresPerHour, 0, false),
    displayed("km/h, cut off", Unit::KilometresPerHour, 0, true),
    displayed("mph, rounded", Unit::MilesPerHour, 0, false),
    displayed("mph, cut off", Unit::MilesPerHour, 0, true),
    displayed("m/s, one decimal, rounded", Unit::MetresPerSecond, 1, false),
    Class {
        has_two_displays: true,
        ..displayed("km/h, rounded, then cut off", Unit::KilometresPerHour, 0, false)
    },
    Class { has_two_displays: true, ..displayed("mph, cut off, then rounded", Unit::MilesPerHour, 0, true) },
    with_pairs("1 pair a step", 1),
    with_pairs("2 pairs a step", 2),
    with_pairs("4 pairs a step", 4),
];

/// The properties that the flights of a comparison share, and their displays.
struct Same {
    displays: [Display; 2],
    pairs: usize,
}

impl Class {
    fn same(&self, chance: &mut Chance) -> Same {
        let display = (
            [Unit::KilometresPerHour, Unit::MilesPerHour, Unit::Knots][(3.0 * chance.even()) as usize],
            0,
            chance.happens(0.3),
        );
        let pairs = [1, 2, 4][(3.0 * chance.even()) as usize];
        let (unit, decimals, cuts_off) = self.display.unwrap_or(display);
        Same {
            displays: [cuts_off, cuts_off != self.has_two_displays].map(|cuts| (unit, decimals, cuts)),
            pairs: self.pairs.unwrap_or(pairs),
        }
    }
}

impl Weather {
    /// Draws a wind in m/s and its signed angle to the course in degrees.
    fn draw(&self, chance: &mut Chance) -> (f64, f64) {
        let sign = if chance.happens(0.5) { 1.0 } else { -1.0 };
        (
            chance.between(self.wind_mps.0, self.wind_mps.1),
            sign * chance.between(self.angle_deg.0, self.angle_deg.1),
        )
    }
}

/// A simulator: makes two flights of one aircraft, for a class and a number.
type Simulator = fn(&Class, u64) -> [FlownFlight; 2];

/// Flights along given tracks, in gusts of the Dryden model and a wind that follows a random walk.
fn kinematic(class: &Class, number: u64) -> [FlownFlight; 2] {
    let seed = FIRST_SEED + 2 * number;
    let chance = &mut Chance::new(CLASS_SEED + number);
    let same = class.same(chance);
    let base = Plan {
        legs_per_step: 2 * same.pairs,
        wrong_share: 0.0,
        voltage_readout: false,
        ..Plan::of_some_day(seed)
    };
    [0, 1].map(|later| {
        let (wind, wind_angle_deg) = class.weathers[later as usize].draw(chance);
        let (gust, gust_length_m) = dryden(chance.between(20.0, 60.0), wind);
        let (unit, decimals, cuts_off) = same.displays[later as usize];
        let plan = Plan {
            seed: seed + later,
            unit,
            decimals,
            cuts_off,
            wind,
            wind_angle_deg,
            gust,
            gust_length_m,
            wind_walk: wind * chance.between(0.0, 0.03),
            ..base.clone()
        };
        along_tracks(&plan)
    })
}

/// Flights along given tracks with six steps, legs of 12 s and a steadier wind, in which shared uncertainties
/// have the greatest weight.
fn six_steps(class: &Class, number: u64) -> [FlownFlight; 2] {
    let seed = FIRST_SEED + 2 * number;
    let chance = &mut Chance::new(CLASS_SEED + number);
    let same = class.same(chance);
    [0, 1].map(|later| {
        let (wind, wind_angle_deg) = class.weathers[later as usize].draw(chance);
        let (unit, decimals, cuts_off) = same.displays[later as usize];
        let plan = Plan {
            seed: seed + later,
            legs_per_step: 2 * same.pairs,
            leg_s: (11.0, 13.0),
            unit,
            decimals,
            cuts_off,
            wind,
            wind_angle_deg,
            gust: 0.17 * wind,
            whole_flight: false,
            wrong_share: 0.0,
            voltage_readout: false,
            altitude_readout: false,
            ..Plan::default()
        };
        along_tracks(&plan)
    })
}

fn along_tracks(plan: &Plan) -> FlownFlight {
    let flown = common::fly(plan);
    let legs = flown.legs.iter().map(|leg| (leg.start_s, leg.end_s, plan.throttles[leg.step]));
    worked_out(flown.readings, legs.collect(), (plan.unit, plan.decimals, plan.cuts_off))
}

/// Flights of a point mass with a pilot, in turbulence and a slowly varying wind.
fn by_point_mass(class: &Class, number: u64) -> [FlownFlight; 2] {
    let seed = FIRST_SEED + 2 * number;
    let chance = &mut Chance::new(CLASS_SEED + number);
    let same = class.same(chance);
    let all_mps = 0.0..8.0;
    let base = Conditions {
        pairs_per_step: same.pairs,
        wrong_share: 0.0,
        signal_losses: 0,
        voltage_shown: false,
        heading_shown: false,
        broken_leg: None,
        wandering_before_s: 0.0,
        wandering_after_s: 0.0,
        ..Conditions::draw(seed, all_mps.clone())
    };
    [0, 1].map(|later| {
        let (wind_mps, wind_angle_deg) = class.weathers[later as usize].draw(chance);
        let day = Conditions::draw(seed + later, all_mps.clone());
        let display = same.displays[later as usize];
        let conditions = Conditions {
            seed: seed + later,
            unit: display.0,
            decimals: display.1,
            truncates: display.2,
            wind_mps: wind_mps.min(0.6 * base.slowest_mps()),
            wind_angle_deg,
            wind_spread_share: day.wind_spread_share,
            wind_spread_deg: day.wind_spread_deg,
            wind_time_s: day.wind_time_s,
            turbulence_share: day.turbulence_share,
            thermal_mps: day.thermal_mps,
            ..base.clone()
        };
        let flown = point_mass::fly(&conditions);
        let throttle = |step: usize| conditions.throttles_percent[step];
        let legs = flown.legs.iter().map(|leg| {
            (leg.start_s + flown.display_lag_s, leg.end_s + flown.display_lag_s, throttle(leg.step))
        });
        worked_out(flown.readings, legs.collect(), display)
    })
}

/// Airspeeds in m/s of the steps of [`drawn`].
const AIRSPEEDS_MPS: [f64; 6] = [20.0, 22.5, 25.0, 27.5, 30.0, 33.0];

/// Steps whose errors are drawn from exactly the distributions that the budget assumes; nothing is measured.
fn drawn(class: &Class, number: u64) -> [FlownFlight; 2] {
    let chance = &mut Chance::new(CLASS_SEED + number);
    let same = class.same(chance);
    [0, 1].map(|later| {
        drawn_flight(class.weathers[later].draw(chance), same.displays[later], same.pairs, chance)
    })
}

fn drawn_flight(
    (wind_mps, angle_deg): (f64, f64),
    display: Display,
    pairs: usize,
    chance: &mut Chance,
) -> FlownFlight {
    let (unit, decimals, cuts_off) = display;
    let quantum_mps = unit.si_per_unit() * 10f64.powi(-i32::from(decimals));
    let (sin, cos) = angle_deg.to_radians().sin_cos();
    // Uncertainty from gusts over a pair of legs of 10 s, and from causes other than wind.
    let own_mps = (0.1 * wind_mps).hypot(0.1) / (pairs as f64).sqrt();
    // The steps of a flight pool their estimate of the gusts.
    let samples = 24 * pairs;
    let square = (0..samples).map(|_| chance.normal().powi(2)).sum::<f64>() / samples as f64;
    let step = |(number, airspeed_mps): (u32, f64)| {
        let cut_mps = if cuts_off { quantum_mps / 2.0 } else { 0.0 };
        let mean_mps = (airspeed_mps.powi(2) - (wind_mps * sin).powi(2)).sqrt();
        let reported_mps = mean_mps - cut_mps + own_mps * chance.normal();
        let along_mps = wind_mps * cos;
        let bias = reads_low(reported_mps, along_mps, COURSE_WITHIN_DEG);
        let (low_mps, crosswind_mps) = (bias.mean, bias.deviation);
        FlownStep {
            step: number,
            throttle_percent: Some(10.0 * f64::from(number)),
            airspeed_mps: reported_mps + low_mps,
            reported_mps,
            own_uncertainty_mps: own_mps * square.sqrt(),
            own_degrees_of_freedom: samples as f64,
            shared: SharedUncertainty {
                crosswind_mps,
                crosswind_bound_mps: crosswind_bound(reported_mps, along_mps, COURSE_WITHIN_DEG),
                rounding_mps: 0.23 * quantum_mps,
                other_mps: 0.0,
            },
            wind_mps: along_mps,
            voltage_v: None,
            pairs,
        }
    };
    flight((1..).zip(AIRSPEEDS_MPS).map(step).collect(), display)
}

/// The flight computed from legs that are given by their starts, ends and throttles.
fn worked_out(readings: Readings, legs: Vec<(f64, f64, f64)>, display: Display) -> FlownFlight {
    let end_s = readings.time_s.last().copied().unwrap_or(0.0);
    let given = legs.into_iter().filter_map(|(start_s, leg_end_s, throttle_percent)| {
        let (start_s, leg_end_s) = (start_s + SETTLING_S, leg_end_s.min(end_s));
        (leg_end_s - start_s >= SHORTEST_LEG_S).then(|| GivenLeg {
            throttle_percent: Some(throttle_percent),
            ..GivenLeg::new(start_s, leg_end_s, LegKind::Leg)
        })
    });
    let options = LegOptions { given: Some(given.collect()), ..LegOptions::default() };
    let found = steps(&pair(&find(&trust(readings), &options).unwrap()));
    flight(found.iter().filter_map(|step| FlownStep::of(step, display.0.si_per_unit())).collect(), display)
}

fn flight(steps: Vec<FlownStep>, (unit, _, cuts_off): Display) -> FlownFlight {
    FlownFlight {
        name: "simulated".to_owned(),
        camera: Some(if cuts_off { "cuts off" } else { "rounds" }.to_owned()),
        speed_unit: unit,
        steps,
        runs: Vec::new(),
        leg_s: None,
        density_kg_m3: None,
    }
}

/// The flight with the uncertainties treated as if the steps shared nothing, for comparison.
fn independent(flight: &FlownFlight) -> FlownFlight {
    let mut independent = flight.clone();
    for step in &mut independent.steps {
        let whole = step.uncertainty();
        (step.own_uncertainty_mps, step.own_degrees_of_freedom) = (whole.value, whole.degrees_of_freedom);
        step.shared = SharedUncertainty::default();
    }
    independent
}

/// The flight with all airspeeds multiplied by a factor, as after a change of the aircraft.
fn changed(flight: &FlownFlight, factor: f64) -> FlownFlight {
    let mut changed = flight.clone();
    for step in &mut changed.steps {
        step.airspeed_mps *= factor;
    }
    changed
}

/// Verdicts of many comparisons.
#[derive(Debug, Default, Clone, Copy)]
struct Tally {
    comparisons: usize,
    with_overall: usize,
    /// Number of comparisons with a difference at any step, after the correction for the number of steps.
    any_step: usize,
    overall: usize,
    /// Number of such comparisons if there is a change, for each of [`CHANGES`].
    any_step_changed: [usize; 2],
    overall_changed: [usize; 2],
}

/// Whether a difference is shown at any step, and over all steps.
fn verdicts(first: &FlownFlight, later: FlownFlight) -> (bool, Option<bool>) {
    let options = CompareOptions { match_voltage: false, ..CompareOptions::default() };
    let comparison = compare(&[first.clone(), later], &options).pop().unwrap();
    let any_step = comparison.steps.iter().any(|step| step.verdict.is_significant());
    (any_step, comparison.overall.map(|all| all.low > 0.0 || all.high < 0.0))
}

impl Tally {
    /// The verdicts without a change and with every change.
    fn of([first, later]: &[FlownFlight; 2]) -> Self {
        let changes = CHANGES.map(|factor| verdicts(first, changed(later, factor)));
        Self {
            any_step_changed: changes.map(|(any_step, _)| usize::from(any_step)),
            overall_changed: changes.map(|(_, overall)| usize::from(overall == Some(true))),
            ..Self::unchanged([first, later])
        }
    }

    fn unchanged([first, later]: [&FlownFlight; 2]) -> Self {
        let (any_step, overall) = verdicts(first, later.clone());
        Self {
            comparisons: 1,
            with_overall: usize::from(overall.is_some()),
            any_step: usize::from(any_step),
            overall: usize::from(overall == Some(true)),
            ..Self::default()
        }
    }

    fn plus(self, other: Self) -> Self {
        let both = |one: [usize; 2], other: [usize; 2]| [one[0] + other[0], one[1] + other[1]];
        Self {
            comparisons: self.comparisons + other.comparisons,
            with_overall: self.with_overall + other.with_overall,
            any_step: self.any_step + other.any_step,
            overall: self.overall + other.overall,
            any_step_changed: both(self.any_step_changed, other.any_step_changed),
            overall_changed: both(self.overall_changed, other.overall_changed),
        }
    }

    fn print(&self, name: &str) {
        let percent = |count: usize, of: usize| 100.0 * count as f64 / of as f64;
        let of_comparisons = |count: usize| percent(count, self.comparisons);
        let of_overall = |count: usize| percent(count, self.with_overall);
        print!(
            "{name:34} any step {:4.1} %, overall {:4.1} % of {}",
            of_comparisons(self.any_step),
            of_overall(self.overall),
            self.with_overall,
        );
        let shown = self.any_step_changed.into_iter().zip(self.overall_changed);
        for (factor, (any_step, overall)) in CHANGES.into_iter().zip(shown) {
            print!("; times {factor:.2}: {:3.0} %, {:3.0} %", of_comparisons(any_step), of_overall(overall));
        }
        println!();
    }
}

/// The sum over a number of comparisons of one class.
fn over<T: Send>(
    simulator: Simulator,
    class: &Class,
    comparisons: u64,
    each: fn([FlownFlight; 2]) -> T,
    sum: fn(T, T) -> T,
) -> T {
    let found = (0..comparisons).into_par_iter().map(|number| each(simulator(class, number)));
    found.reduce_with(sum).unwrap()
}

#[test]
#[ignore = "figures: a quarter of an hour"]
fn figures() {
    let simulators: [(&str, Simulator, u64); 4] = [
        ("drawn from the budget", drawn, 4000),
        ("along tracks", kinematic, 600),
        ("along tracks, six steps", six_steps, 600),
        ("point mass", by_point_mass, 600),
    ];
    for (name, simulator, comparisons) in simulators {
        println!("{name}");
        for class in &CLASSES {
            let [found, if_independent] = over(
                simulator,
                class,
                comparisons,
                |flights| [Tally::of(&flights), Tally::of(&flights.each_ref().map(independent))],
                |one, other| [one[0].plus(other[0]), one[1].plus(other[1])],
            );
            found.print(class.name);
            if_independent.print("  with independent steps");
        }
    }
}

/// Maximum number of false verdicts in a number of comparisons: 5 % plus two standard errors.
fn most(comparisons: usize) -> f64 {
    let comparisons = comparisons as f64;
    0.05 * comparisons + 2.0 * (0.05 * 0.95 * comparisons).sqrt()
}

#[test]
fn a_change_of_five_per_cent_is_shown() {
    let found = over(drawn, &ANY, 500, |flights| Tally::of(&flights), Tally::plus);
    assert!(found.overall_changed[0] as f64 >= 0.95 * found.with_overall as f64, "{found:?}");
}

/// Simulations of the slow tier: `./check --slow`.
mod slow {
    use super::*;

    #[test]
    #[ignore = "slow: thousands of simulated comparisons"]
    fn in_no_class_do_more_than_five_per_cent_of_unchanged_flights_differ() {
        let check = |simulator: Simulator, class: &Class, comparisons: u64| {
            let each = |[first, later]: [FlownFlight; 2]| Tally::unchanged([&first, &later]);
            let found = over(simulator, class, comparisons, each, Tally::plus);
            assert!(found.overall as f64 <= most(found.with_overall), "{}: {found:?}", class.name);
            assert!(found.any_step as f64 <= most(found.comparisons), "{}: {found:?}", class.name);
        };
        for class in CLASSES.iter() {
            check(drawn, class, 600);
        }
        check(six_steps, &at_angle("six steps, 20 to 30 degrees off", 20.0, 30.0), 100);
        check(by_point_mass, &in_wind("point mass, wind 3 to 8 m/s", 3.0, 8.0), 100);
    }
}

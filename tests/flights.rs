//! Whole simulated flights: the legs found and the airspeeds given are held to the truth.
#![allow(clippy::unwrap_used, missing_docs)]

mod common;

use common::{Flight, Plan, fly};
use pairspeed::airspeed::{Pair, pair};
use pairspeed::legs::{LegOptions, LegSet, find};
use pairspeed::series::trust;

/// How one flight came out.
#[derive(Debug, Default, Clone)]
struct Score {
    flights: usize,
    /// All true pairs found, and nothing else in a pair.
    all_right: usize,
    true_pairs: usize,
    right_pairs: usize,
    wrong_pairs: usize,
    within_one_percent: usize,
    held_by_interval: usize,
    half_widths: Vec<f64>,
    errors: Vec<f64>,
}

/// The true leg that a found one stands for: they share more than 70 % of the shorter of the two and more
/// than half of the time either covers. The display lags by about the receiver's lag.
fn overlap(flight: &Flight, set: &LegSet, leg: usize) -> Option<usize> {
    let leg = &set.legs[leg];
    flight.legs.iter().position(|truth| {
        let (start, end) = (truth.start_s + 0.7, truth.end_s + 0.7);
        let common = leg.end_s.min(end) - leg.start_s.max(start);
        let either = leg.end_s.max(end) - leg.start_s.min(start);
        common > 0.7 * (end - start).min(leg.end_s - leg.start_s) && common > 0.5 * either
    })
}

/// The true step of a pair: both legs overlap true legs of it by more than 70 %, flown opposite ways.
fn true_step(flight: &Flight, set: &LegSet, pair: &Pair) -> Option<usize> {
    let (up, down) = (overlap(flight, set, pair.legs.0)?, overlap(flight, set, pair.legs.1)?);
    let (up, down) = (flight.legs[up], flight.legs[down]);
    (up.step == down.step && up.upwind != down.upwind).then_some(up.step)
}

impl Score {
    fn add(&mut self, plan: &Plan, flight: &Flight) {
        let series = trust(flight.readings.clone());
        let set = find(&series, &LegOptions::default()).unwrap();
        let pairs = pair(&set);
        let true_pairs = flight.airspeeds.len() * (plan.legs_per_step / 2);
        let before = self.right_pairs;
        for pair in &pairs {
            let Some(step) = true_step(flight, &set, pair) else {
                self.wrong_pairs += 1;
                continue;
            };
            let truth = flight.airspeeds[step];
            self.right_pairs += 1;
            self.errors.push((pair.airspeed / truth - 1.0).abs());
            self.within_one_percent += usize::from((pair.airspeed / truth - 1.0).abs() <= 0.01);
            self.held_by_interval += usize::from((pair.airspeed_low..=pair.airspeed_high).contains(&truth));
            self.half_widths.push((pair.airspeed_high - pair.airspeed_low) / 2.0 / truth);
        }
        self.flights += 1;
        self.true_pairs += true_pairs;
        let right = self.right_pairs - before;
        self.all_right += usize::from(right == true_pairs && pairs.len() == true_pairs);
    }

    fn say(&self, name: &str) {
        let median =
            |values: &[f64]| pairspeed::series::statistics::median(values).unwrap_or(f64::NAN) * 100.0;
        println!(
            "{name:44} flights {:3}/{:3} pairs {:4}/{:4} wrong {:3} | within 1 % {:4.1} % held {:4.1} % half-width {:4.2} % error {:4.2} %",
            self.all_right,
            self.flights,
            self.right_pairs,
            self.true_pairs,
            self.wrong_pairs,
            100.0 * self.within_one_percent as f64 / self.right_pairs as f64,
            100.0 * self.held_by_interval as f64 / self.right_pairs as f64,
            median(&self.half_widths),
            median(&self.errors),
        );
    }
}

fn conditions() -> Vec<(String, Plan)> {
    let mut conditions = Vec::new();
    for (wind, gust) in [(0.0, 0.15), (0.0, 0.3), (2.0, 0.3), (2.0, 0.6), (5.0, 0.6), (5.0, 1.0)] {
        for leg_s in [(5.0, 7.0), (9.0, 12.0), (16.0, 25.0)] {
            for legs_per_step in [2, 4] {
                let plan = Plan { wind, gust, leg_s, legs_per_step, ..Plan::default() };
                conditions.push((format!("wind {wind} gust {gust} legs {leg_s:?} x {legs_per_step}"), plan));
            }
        }
    }
    conditions
}

#[test]
#[ignore = "figures for tuning"]
fn tuning_figures() {
    let mut total = Score::default();
    for (name, plan) in conditions() {
        let mut score = Score::default();
        for seed in 0..4 {
            let plan = Plan { seed, ..plan.clone() };
            let flight = fly(&plan);
            score.add(&plan, &flight);
            total.add(&plan, &flight);
        }
        score.say(&name);
    }
    total.say("total");
}

#[test]
#[ignore = "one flight, leg by leg"]
fn trace() {
    let number =
        |name: &str, usual: f64| std::env::var(name).ok().and_then(|v| v.parse().ok()).unwrap_or(usual);
    let leg_s = number("LEG", 10.0);
    let plan = Plan {
        wind: number("WIND", 5.0),
        gust: number("GUST", 0.6),
        leg_s: (leg_s, leg_s * 1.25),
        legs_per_step: number("PER", 2.0) as usize,
        seed: number("SEED", 0.0) as u64,
        ..Plan::default()
    };
    let flight = fly(&plan);
    let series = trust(flight.readings.clone());
    println!("rate {:?} dead {:?}", series.update_rate_hz, series.dead);
    for channel in &series.readings.channels {
        println!("{:?} {:?}", channel.channel, channel.blank_counts());
    }
    let set = find(&series, &LegOptions::default()).unwrap();
    let mean = |a: f64, b: f64| {
        let v: Vec<f64> = series
            .readings
            .time_s
            .iter()
            .zip(&flight.shown_speed)
            .filter(|(t, _)| (a..b).contains(t))
            .map(|x| *x.1)
            .collect();
        pairspeed::series::statistics::median(&v).unwrap_or(f64::NAN)
    };
    for leg in &flight.legs {
        println!(
            "true {:6.1} {:6.1} {} {} {:5.1}",
            leg.start_s,
            leg.end_s,
            leg.step,
            leg.upwind,
            mean(leg.start_s, leg.end_s)
        );
    }
    for (index, leg) in set.legs.iter().enumerate() {
        println!(
            "found {:6.1} {:6.1} steady {:6.1} {:6.1} {:?} step {:?} {:5.1} +- {:.2} spread {:.2} v {:?} -> {:?}",
            leg.start_s,
            leg.end_s,
            leg.steady_start_s,
            leg.steady_end_s,
            leg.kind,
            leg.step,
            leg.speed_median,
            leg.speed_uncertainty,
            leg.speed_spread,
            leg.voltage_v,
            overlap(&flight, &set, index)
        );
    }
    println!("{:?} {:?}", set.wobble, set.notes);
    for pair in pair(&set) {
        println!(
            "{} {:5.1} [{:5.1} {:5.1}] wind {:4.1} step {:?} {:?}",
            pair.pair,
            pair.airspeed,
            pair.airspeed_low,
            pair.airspeed_high,
            pair.wind,
            true_step(&flight, &set, &pair),
            pair.flags
        );
    }
    if std::env::var("PLOT").is_ok() {
        for (t, s) in series.readings.time_s.iter().zip(&series.speed_smooth).step_by(15) {
            println!("{t:6.1} {s:5.1} {}", "#".repeat(*s as usize));
        }
    }
}

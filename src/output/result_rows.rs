//! The rows of the results table: every pair, every step with several pairs, and every pattern.

use crate::airspeed::{Pair, Pattern, StepResult};
use crate::flight::Flight;

use super::numbers::{shown, shown_or_dash};
use super::words::{joined, step_name};

/// A row of the results table.
#[derive(Debug, Clone, Copy)]
pub enum Row<'a> {
    /// One pair of legs.
    Pair(&'a Pair),
    /// The mean of a throttle step with several pairs.
    Step(&'a StepResult),
    /// The result of legs in three or more directions.
    Pattern(&'a Pattern),
}

/// The headings above the texts of [`Row::cells`].
pub const HEADINGS: [&str; 7] =
    ["throttle", "upwind", "downwind", "airspeed", "95 % interval", "wind", "pack"];

/// The rows of the results table, in the order of the steps. A step with several pairs follows its pairs;
/// patterns come last.
pub fn rows(flight: &Flight) -> Vec<Row<'_>> {
    let mut pairs: Vec<&Pair> = flight.pairs.iter().collect();
    pairs.sort_by_key(|pair| (pair.step, pair.pair));
    pairs
        .chunk_by(|one, next| one.step == next.step)
        .flat_map(|group| {
            let of_step = flight.steps.iter().find(|step| group.first().is_some_and(|p| p.step == step.step));
            let several = of_step.filter(|step| step.pairs.len() > 1).map(Row::Step);
            group.iter().map(|pair| Row::Pair(pair)).chain(several)
        })
        .chain(flight.patterns.iter().map(Row::Pattern))
        .collect()
}

/// The flags of a pair and of its two legs as text; empty if there are none.
pub fn remark(flight: &Flight, pair: &Pair) -> String {
    let of_leg = |name: &str, index: usize| {
        let flags = flight.legs.get(index).map(|leg| joined(&leg.flags)).unwrap_or_default();
        if flags.is_empty() { flags } else { format!("{name} leg {flags}") }
    };
    let parts =
        [joined(&pair.flags), of_leg("upwind", pair.legs.upwind), of_leg("downwind", pair.legs.downwind)];
    parts.into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>().join("; ")
}

impl Row<'_> {
    /// The texts under the seven [`HEADINGS`]: speeds in the unit of the speed channel, voltage in volts.
    pub fn cells(&self) -> [String; 7] {
        match self {
            Self::Pair(pair) => [
                step_name(pair.throttle_percent, Some(pair.step)),
                shown(pair.upwind, 1),
                shown(pair.downwind, 1),
                airspeed(pair.airspeed.value, pair.doubtful),
                interval(pair.airspeed.low, pair.airspeed.high),
                shown(pair.wind, 1),
                shown_or_dash(pair.voltage_v, 2),
            ],
            Self::Step(step) => [
                format!("{}, {} pairs", step_name(step.throttle_percent, Some(step.step)), step.pairs.len()),
                String::new(),
                String::new(),
                airspeed(step.airspeed.value, step.doubtful),
                interval(step.airspeed.low, step.airspeed.high),
                shown(step.wind, 1),
                shown_or_dash(step.voltage_v, 2),
            ],
            Self::Pattern(pattern) => [
                format!("{}, {} directions", step_name(pattern.throttle_percent, None), pattern.legs.len()),
                String::new(),
                String::new(),
                shown(pattern.airspeed.value, 1),
                interval(pattern.airspeed.low, pattern.airspeed.high),
                shown(pattern.wind, 1),
                shown_or_dash(pattern.voltage_v, 2),
            ],
        }
    }
}

fn airspeed(airspeed: f64, doubtful: bool) -> String {
    if doubtful { format!("doubtful {}", shown(airspeed, 1)) } else { shown(airspeed, 1) }
}

fn interval(low: f64, high: f64) -> String {
    if low.is_finite() && high.is_finite() {
        format!("{} to {}", shown(low, 1), shown(high, 1))
    } else {
        "-".to_owned()
    }
}

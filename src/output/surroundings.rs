//! Wind, air and patterns of legs: what the answer holds beyond the pairs.

use maud::{Markup, html};
use serde::Serialize;

use crate::air::{Datum, FlightAir};
use crate::airspeed::multileg::HeadingReference;
use crate::airspeed::{Pattern, StepResult, WindFinding, WindSource};
use crate::flight::Flight;
use crate::legs::Flag;
use crate::model::units::Unit;

use super::numbers::{rounded, shown};
use super::summary::budget::{BudgetSummary, budget_summary};
use super::words::{joined, speed_symbol, step_name, with_symbol};

/// Decimals kept of a number in the summary.
const DECIMALS: i32 = 6;

/// The part of `summary.json` that holds wind, air and patterns. Speeds in `speed_unit`.
#[derive(Debug, Serialize)]
pub(crate) struct Surroundings<'a> {
    /// The wind where it was told or fitted; `null` where only the pairs show it.
    wind: Option<WindFinding>,
    /// The air at the height of the legs.
    air: AirSummary,
    /// Legs flown in three or more directions.
    patterns: Vec<PatternSummary<'a>>,
}

/// The air that the legs were flown in; `null` where too little is known.
#[derive(Debug, Serialize)]
struct AirSummary {
    altitude_from: Option<Datum>,
    altitude_from_told: bool,
    field_elevation_m: Option<f64>,
    height_above_field_m: Option<f64>,
    temperature_c: Option<f64>,
    temperature_is_standard: bool,
    pressure_hpa: Option<f64>,
    pressure_is_standard: bool,
    density_kg_m3: Option<f64>,
    density_altitude_m: Option<f64>,
    /// The throttle steps' airspeeds at sea-level density for the same power.
    at_sea_level: Vec<SeaLevelSummary>,
}

/// A throttle step at sea-level density for the same power.
#[derive(Debug, Serialize)]
struct SeaLevelSummary {
    step: u32,
    throttle_percent: Option<f64>,
    airspeed: Option<f64>,
    airspeed_low: Option<f64>,
    airspeed_high: Option<f64>,
}

/// One pattern; low and high are the 95 % interval.
#[derive(Debug, Serialize)]
struct PatternSummary<'a> {
    pattern: u32,
    throttle_percent: Option<f64>,
    /// Numbers of the legs, from 1.
    legs: Vec<usize>,
    held: HeadingReference,
    airspeed: Option<f64>,
    airspeed_low: Option<f64>,
    airspeed_high: Option<f64>,
    airspeed_uncertainty: Option<f64>,
    degrees_of_freedom: Option<f64>,
    wind: Option<f64>,
    wind_from_deg: Option<f64>,
    voltage_v: Option<f64>,
    altitude: Option<f64>,
    flags: &'a [Flag],
    budget: BudgetSummary,
}

/// Wind, air and patterns for the summary.
pub(crate) fn surroundings(flight: &Flight) -> Surroundings<'_> {
    Surroundings {
        wind: flight.wind,
        air: air_summary(&flight.air, &flight.steps),
        patterns: flight.patterns.iter().map(pattern_summary).collect(),
    }
}

fn number(value: f64) -> Option<f64> {
    rounded(value, DECIMALS)
}

fn air_summary(air: &FlightAir, steps: &[StepResult]) -> AirSummary {
    let of = |value: fn(&crate::air::Air) -> f64| air.at_legs.as_ref().map(value).and_then(number);
    AirSummary {
        altitude_from: air.datum,
        altitude_from_told: air.datum_given,
        field_elevation_m: air.field_elevation_m.and_then(number),
        height_above_field_m: air.datum.and(number(air.height_m)),
        temperature_c: of(|air| air.temperature_k - crate::air::ZERO_CELSIUS_K),
        temperature_is_standard: air.standard_temperature,
        pressure_hpa: of(|air| air.pressure_pa / 100.0),
        pressure_is_standard: air.standard_pressure,
        density_kg_m3: of(crate::air::Air::density_kg_m3),
        density_altitude_m: of(crate::air::Air::density_altitude_m),
        at_sea_level: steps
            .iter()
            .filter(|_| air.at_legs.is_some())
            .map(|step| {
                let carried = |airspeed| air.at_sea_level(airspeed).and_then(number);
                SeaLevelSummary {
                    step: step.step,
                    throttle_percent: step.throttle_percent.and_then(number),
                    airspeed: carried(step.airspeed.value),
                    airspeed_low: carried(step.airspeed.low),
                    airspeed_high: carried(step.airspeed.high),
                }
            })
            .collect(),
    }
}

fn pattern_summary(pattern: &Pattern) -> PatternSummary<'_> {
    PatternSummary {
        pattern: pattern.pattern,
        throttle_percent: pattern.throttle_percent.and_then(number),
        legs: pattern.legs.iter().map(|leg| leg.saturating_add(1)).collect(),
        held: pattern.heading_reference,
        airspeed: number(pattern.airspeed.value),
        airspeed_low: number(pattern.airspeed.low),
        airspeed_high: number(pattern.airspeed.high),
        airspeed_uncertainty: number(pattern.airspeed.standard_uncertainty),
        degrees_of_freedom: number(pattern.airspeed.degrees_of_freedom),
        wind: number(pattern.wind),
        wind_from_deg: number(pattern.wind_from_deg),
        voltage_v: pattern.voltage_v.and_then(number),
        altitude: pattern.altitude.and_then(number),
        flags: &pattern.flags,
        budget: budget_summary(&pattern.budget),
    }
}

/// Sentences on patterns, wind and air for the terminal and the report; none where nothing is known.
pub(crate) fn sentences(flight: &Flight) -> Vec<String> {
    let symbol = speed_symbol(flight);
    let patterns = flight.patterns.iter().map(|pattern| pattern_sentence(pattern, symbol));
    let wind = flight.wind.as_ref().map(|wind| wind_sentence(wind, symbol));
    patterns.chain(wind).chain(air_sentences(flight)).collect()
}

fn pattern_sentence(pattern: &Pattern, symbol: &str) -> String {
    let legs: Vec<String> = pattern.legs.iter().map(|leg| leg.saturating_add(1).to_string()).collect();
    let throttle = match pattern.throttle_percent {
        Some(percent) => format!(" at {}", step_name(Some(percent), None)),
        None => String::new(),
    };
    let flags = joined(&pattern.flags);
    let flags = if flags.is_empty() { flags } else { format!("; {flags}") };
    format!(
        "Legs {} in {} directions{throttle}: airspeed {}, 95 % interval {} to {}; wind {} from {} degrees{flags}.",
        legs.join(", "),
        legs.len(),
        with_symbol(&shown(pattern.airspeed.value, 1), symbol),
        shown(pattern.airspeed.low, 1),
        with_symbol(&shown(pattern.airspeed.high, 1), symbol),
        with_symbol(&shown(pattern.wind, 1), symbol),
        shown(pattern.wind_from_deg, 0),
    )
}

fn wind_sentence(wind: &WindFinding, symbol: &str) -> String {
    let source = match wind.source {
        WindSource::Given => "told",
        WindSource::Turns => "fitted to the turns",
    };
    format!(
        "Wind {} from {} degrees ({source}): {} across the course of {} degrees, taken out of the airspeeds.",
        with_symbol(&shown(wind.speed, 1), symbol),
        shown(wind.from_deg, 0),
        with_symbol(&shown(wind.across.abs(), 1), symbol),
        shown(wind.course_deg, 0),
    )
}

fn air_sentences(flight: &Flight) -> Option<String> {
    let air = flight.air.at_legs?;
    let feet = flight.unit(&crate::model::channel::Channel::Altitude) == Some(Unit::Feet);
    let unit = if feet { Unit::Feet } else { Unit::Metres };
    let density_altitude = Unit::Metres.convert(air.density_altitude_m(), unit)?;
    let steps: Vec<String> = flight
        .steps
        .iter()
        .filter_map(|step| {
            let carried = flight.air.at_sea_level(step.airspeed.value)?;
            Some(format!("{} at {}", shown(carried, 1), step_name(step.throttle_percent, Some(step.step))))
        })
        .collect();
    let carried = if steps.is_empty() {
        String::new()
    } else {
        format!(" The same power at sea-level density: {} {}.", steps.join(", "), speed_symbol(flight))
    };
    Some(format!(
        "Air at the legs {} kg/m3, density altitude {}.{carried}",
        shown(air.density_kg_m3(), 3),
        with_symbol(&shown(density_altitude, 0), unit.symbol()),
    ))
}

/// The section of the report; nothing where nothing is known.
pub(crate) fn section(flight: &Flight) -> Markup {
    let sentences = sentences(flight);
    html! {
        @if !sentences.is_empty() {
            section {
                h2 { "Wind and air" }
                ul { @for sentence in &sentences { li { (sentence) } } }
                @if flight.air.at_legs.is_some() {
                    p { "In level flight power goes with the density of the air and the cube of the airspeed, so \
                         the airspeed at sea-level density is this one times the cube root of the ratio of \
                         densities. Dry air and a motor that takes up the same power are assumed." }
                }
            }
        }
    }
}

//! Sentences on the wind, the air and patterns of legs in three or more directions.

use maud::{Markup, html};

use crate::airspeed::{Pattern, WindFinding, WindSource};
use crate::flight::Flight;
use crate::model::units::Unit;

use super::numbers::shown;
use super::words::{joined, speed_symbol, step_name, with_symbol};

/// Sentences on patterns, wind and air for the terminal and the report.
pub fn sentences(flight: &Flight) -> Vec<String> {
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
        WindSource::Given => "given",
        WindSource::Turns => "estimated from the speeds in the turns",
    };
    format!(
        "Wind {} from {} degrees ({source}), with a component of {} across the course of {} degrees; the airspeeds are corrected for this crosswind.",
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
        format!(
            " Airspeed that the same power would give in air of sea-level density: {} {}.",
            steps.join(", "),
            speed_symbol(flight)
        )
    };
    Some(format!(
        "Air density during the legs: {} kg/m3; density altitude: {}.{carried}",
        shown(air.density_kg_m3(), 3),
        with_symbol(&shown(density_altitude, 0), unit.symbol()),
    ))
}

/// The section of the report on wind and air; empty if there are no sentences.
pub(crate) fn section(flight: &Flight) -> Markup {
    let sentences = sentences(flight);
    html! {
        @if !sentences.is_empty() {
            section {
                h2 { "Wind and air" }
                ul { @for sentence in &sentences { li { (sentence) } } }
                @if flight.air.at_legs.is_some() {
                    p { "In level flight, power is proportional to the air density and to the cube of the \
                         airspeed, so the airspeed at sea-level density is the measured one times the cube \
                         root of the ratio of densities. Dry air and equal motor power are assumed." }
                }
            }
        }
    }
}

//! Converts wind, air and patterns to the schema of the summary.

use super::budget::budget_summary;
use super::number;
use super::pairs::airspeed_summary;
use crate::air::{Air, FlightAir, ZERO_CELSIUS_K};
use crate::airspeed::{Pattern, StepResult, WindFinding};
use crate::summary::{AirSummary, AirspeedInterval, PatternSummary, SeaLevelSummary, WindSummary};

/// Converts the wind to the schema of the summary. Its numbers are not rounded.
pub(super) fn wind_summary(wind: &WindFinding) -> WindSummary {
    let finite = |value: f64| value.is_finite().then_some(value);
    WindSummary {
        source: wind.source,
        across: finite(wind.across),
        across_uncertainty: finite(wind.across_uncertainty),
        speed: finite(wind.speed),
        from_deg: finite(wind.from_deg),
        course_deg: finite(wind.course_deg),
    }
}

/// Converts the air to the schema of the summary, and adds the airspeeds of the steps at sea-level density.
pub(super) fn air_summary(air: &FlightAir, steps: &[StepResult]) -> AirSummary {
    let at_legs = |value: fn(&Air) -> f64| air.at_legs.as_ref().map(value).and_then(number);
    AirSummary {
        altitude_from: air.datum,
        altitude_from_given: air.datum_given,
        field_elevation_m: air.field_elevation_m.and_then(number),
        height_above_field_m: air.datum.and(number(air.height_m)),
        temperature_c: at_legs(|air| air.temperature_k - ZERO_CELSIUS_K),
        temperature_is_standard: air.standard_temperature,
        pressure_hpa: at_legs(|air| air.pressure_pa / 100.0),
        pressure_is_standard: air.standard_pressure,
        density_kg_m3: at_legs(Air::density_kg_m3),
        density_altitude_m: at_legs(Air::density_altitude_m),
        at_sea_level: match air.at_legs {
            Some(_) => steps.iter().map(|step| sea_level(air, step)).collect(),
            None => Vec::new(),
        },
    }
}

fn sea_level(air: &FlightAir, step: &StepResult) -> SeaLevelSummary {
    let converted = |airspeed| air.at_sea_level(airspeed).and_then(number);
    SeaLevelSummary {
        step: step.step,
        throttle_percent: step.throttle_percent.and_then(number),
        airspeed: AirspeedInterval {
            value: converted(step.airspeed.value),
            low: converted(step.airspeed.low),
            high: converted(step.airspeed.high),
        },
    }
}

/// Converts a pattern to the schema of the summary.
pub(super) fn pattern_summary(pattern: &Pattern) -> PatternSummary {
    PatternSummary {
        pattern: pattern.pattern,
        throttle_percent: pattern.throttle_percent.and_then(number),
        legs: pattern.legs.iter().map(|leg| leg.saturating_add(1)).collect(),
        heading_reference: pattern.heading_reference,
        airspeed: airspeed_summary(&pattern.airspeed),
        wind: number(pattern.wind),
        wind_from_deg: number(pattern.wind_from_deg),
        voltage_v: pattern.voltage_v.and_then(number),
        altitude: pattern.altitude.and_then(number),
        flags: pattern.flags.clone(),
        budget: budget_summary(&pattern.budget),
    }
}

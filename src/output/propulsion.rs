//! Pack, motor and propeller: in the summary, on the terminal and in the report.

use maud::{Markup, html};
use serde::Serialize;
use serde_json::Value;

use crate::flight::Flight;
use crate::model::channel::Channel;
use crate::setup::Aircraft;

use super::RenderError;
use super::numbers::rounded;

/// Decimals kept of a number in the summary.
const DECIMALS: i32 = 6;

/// The part of `summary.json` that holds the aircraft's notes and what the flight tells of pack, motor and
/// propeller. Its units stand in the names: speeds are in m/s whatever `speed_unit` is.
#[derive(Debug, Serialize)]
pub(crate) struct PropulsionSummary<'a> {
    /// What was told of the aircraft; what was not is left out.
    aircraft: &'a Aircraft,
    /// The fields of [`crate::propulsion::Findings`]; `null` or an empty list where a channel or a note is
    /// missing.
    propulsion: Value,
    /// The same in words.
    propulsion_in_words: Vec<String>,
}

/// Pack, motor and propeller for the summary.
///
/// # Errors
/// [`RenderError::Json`] if the JSON writer refuses a value.
pub(crate) fn propulsion_summary(flight: &Flight) -> Result<PropulsionSummary<'_>, RenderError> {
    let mut propulsion = serde_json::to_value(&flight.propulsion)?;
    round_all(&mut propulsion);
    Ok(PropulsionSummary { aircraft: &flight.aircraft, propulsion, propulsion_in_words: sentences(flight) })
}

/// Rounds every number that is not whole; one that is not finite is `null` already.
fn round_all(value: &mut Value) {
    match value {
        Value::Array(list) => list.iter_mut().for_each(round_all),
        Value::Object(fields) => fields.values_mut().for_each(round_all),
        Value::Number(number) if number.is_f64() => {
            *value = number.as_f64().and_then(|number| rounded(number, DECIMALS)).into();
        }
        _ => {}
    }
}

/// What the flight tells of pack, motor and propeller; without legs there is nothing to tell, and without a
/// known unit of the speed only the pack.
pub(crate) fn sentences(flight: &Flight) -> Vec<String> {
    if flight.legs.is_empty() {
        return Vec::new();
    }
    let notes = flight.aircraft.line();
    let aircraft = (!notes.is_empty()).then(|| format!("Aircraft: {notes}."));
    let told = match flight.unit(&Channel::Speed) {
        Some(unit) => flight.propulsion.sentences(unit),
        None => flight.propulsion.battery.iter().flat_map(|battery| battery.sentences()).collect(),
    };
    aircraft.into_iter().chain(told).collect()
}

/// The section of the report; nothing where nothing is known.
pub(crate) fn section(flight: &Flight) -> Markup {
    let sentences = sentences(flight);
    html! {
        @if !sentences.is_empty() {
            section {
                h2 { "Pack, motor and propeller" }
                ul { @for sentence in &sentences { li { (sentence) } } }
            }
        }
    }
}

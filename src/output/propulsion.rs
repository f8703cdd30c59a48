//! Sentences on battery, motor and propeller.

use maud::{Markup, html};

use crate::flight::Flight;
use crate::model::channel::Channel;

/// The results on battery, motor and propeller, one sentence each. Empty for a flight without legs; only the results
/// on the battery if the unit of the speed is unknown.
pub fn sentences(flight: &Flight) -> Vec<String> {
    if flight.legs.is_empty() {
        return Vec::new();
    }
    let notes = flight.aircraft.line();
    let aircraft = (!notes.is_empty()).then(|| format!("Aircraft: {notes}."));
    let speed = match flight.unit(&Channel::Speed) {
        Some(unit) => flight.propulsion.sentences(unit),
        None => flight.propulsion.battery.iter().flat_map(|battery| battery.sentences()).collect(),
    };
    aircraft.into_iter().chain(speed).collect()
}

/// The section of the report on battery, motor and propeller; empty if there are no sentences.
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

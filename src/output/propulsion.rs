//! Pack, motor and propeller: in the summary, on the terminal and in the report.

use maud::{Markup, html};

use crate::flight::Flight;
use crate::model::channel::Channel;

/// What the flight tells of pack, motor and propeller; without legs there is nothing to tell, and without a
/// known unit of the speed only the pack.
pub fn sentences(flight: &Flight) -> Vec<String> {
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

//! Wording shared by the formats that people read.

use crate::airspeed::Cause;
use crate::flight::Flight;
use crate::legs::{Flag, Leg, LegKind, LegUse, ThrottleSource};
use crate::model::units::Unit;

/// Cautions that are shown with every result.
pub const CAUTIONS: [&str; 5] = [
    "For use after landing, not in flight: these numbers come from a recording and replace no instrument.",
    "Take the propeller off before working on the model on the bench, and connect the pack only when \
     everybody is clear of it.",
    "Charge LiPo packs attended and on a surface that cannot burn, do not run them down deep, and retire \
     a swollen or damaged one.",
    "Stay within the airframe's limits: a faster step is no reason to fly past what its maker allows.",
    "Follow the local rules and those of your flying club; they come before anything written here.",
];

/// A cause of uncertainty in words.
pub(crate) fn cause_in_words(cause: Cause) -> &'static str {
    match cause {
        Cause::Gusts => "gusts: the legs are too short to average them out",
        Cause::Noise => "flicker of the shown speed from one update to the next",
        Cause::Rounding => "rounding of the shown speed, different in each leg",
        Cause::SharedRounding => {
            "rounding that all legs share: a display that truncates instead of rounding always reads low"
        }
        Cause::Receiver => "accuracy of the satellite receiver's speed",
        Cause::WindDrift => "the wind changes between the upwind and the downwind leg",
        Cause::Crosswind => "a crosswind that is unknown or uncertain",
        Cause::Disagreement => "pairs at one throttle differ by more than all other causes explain",
        Cause::Doubt => "the legs may not have been flown in opposite directions",
    }
}

/// The sentence on a readout that shows `stuck_at` for the whole flight; `stuck_at` is in `unit`.
pub(crate) fn dead_words(stuck_at: f64, decimals: u8, unit: Option<Unit>) -> String {
    let number = super::numbers::shown(stuck_at, usize::from(decimals));
    let value = with_symbol(&number, unit.map_or("", Unit::symbol));
    format!("the readout shows {value} during the whole flight: it is neither used nor drawn")
}

/// The name of a kind of leg in `legs.csv`.
pub fn kind_name(kind: LegKind) -> &'static str {
    match kind {
        LegKind::Upwind => "upwind",
        LegKind::Downwind => "downwind",
        LegKind::Unpaired => "unpaired",
        LegKind::Leg => "leg",
    }
}

/// How a leg is used, in a few words for an image: `upwind 60 %`, `doubtful upwind 60 %` or `unused: too short`.
pub fn use_in_words(leg: &Leg) -> String {
    let name = || format!("{} {}", kind_name(leg.kind), step_name(leg.throttle_percent, leg.step));
    match leg.usage {
        LegUse::Used => name(),
        LegUse::Doubtful => format!("doubtful {}", name()),
        LegUse::LeftOut(why) => format!("unused: {}", why.phrase()),
    }
}

/// The name of a kind of leg in sentences.
pub(super) fn kind_in_words(kind: LegKind) -> &'static str {
    match kind {
        LegKind::Unpaired => "without partner",
        other => kind_name(other),
    }
}

/// The sentence on where the throttle comes from.
pub fn throttle_origin(source: ThrottleSource) -> &'static str {
    match source {
        ThrottleSource::Overlay => "Throttle was read from the overlay.",
        ThrottleSource::Given => "Throttle was given by the pilot.",
        ThrottleSource::LegsFile => "Throttle was given in the legs file.",
        ThrottleSource::Numbered => "Throttle is not known: the steps are numbered in the order flown.",
    }
}

/// The name of a throttle step, such as `60 %` or `step 3`; empty if neither is known.
pub fn step_name(throttle_percent: Option<f64>, step: Option<u32>) -> String {
    match (throttle_percent.filter(|percent| percent.is_finite()), step) {
        (Some(percent), _) => format!("{} %", super::numbers::trimmed(percent)),
        (None, Some(step)) => format!("step {step}"),
        (None, None) => String::new(),
    }
}

/// Flags as one text, separated by `; `.
pub fn joined(flags: &[Flag]) -> String {
    flags.iter().map(|flag| flag.0.as_str()).collect::<Vec<_>>().join("; ")
}

/// The name of a CSV column: `name`, followed by `_` and the suffix of the unit if there is a unit.
pub(crate) fn column(name: &str, unit: Option<Unit>) -> String {
    unit.map_or_else(|| name.to_owned(), |unit| format!("{name}_{}", unit.suffix()))
}

/// The symbol of the speed's unit; empty if the unit is unknown.
pub fn speed_symbol(flight: &Flight) -> &'static str {
    flight.unit(&crate::model::channel::Channel::Speed).map_or("", Unit::symbol)
}

/// The number, a space and the symbol; the number alone if `symbol` is empty.
pub fn with_symbol(number: &str, symbol: &str) -> String {
    if symbol.is_empty() { number.to_owned() } else { format!("{number} {symbol}") }
}

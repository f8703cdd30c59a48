//! Notes on a comparison for the pilot.

use crate::summary::FlownFlight;

/// What limits the comparison of two flights with `common` throttle steps in common, one sentence each.
pub(super) fn notes(
    first: &FlownFlight,
    later: &FlownFlight,
    common: usize,
    density_matched: bool,
) -> Vec<String> {
    let mut notes: Vec<String> =
        [first, later].into_iter().filter_map(|flight| of_flight(flight, common)).collect();
    if common == 0 && !first.steps.is_empty() && !later.steps.is_empty() {
        notes.push(format!("{} and {} have no throttle step in common, so they cannot be compared: fly a step of the first flight again.", first.name, later.name));
    }
    let unmatched = (first.steps.len() + later.steps.len()).saturating_sub(2 * common);
    if common > 0 && unmatched > 0 {
        let steps = if unmatched == 1 { "1 step".to_owned() } else { format!("{unmatched} steps") };
        notes.push(format!("Left out: {steps} flown in only one of the flights."));
    }
    if !density_matched {
        notes.push(
            "Air density is not matched, because it is not known for both flights: give the air density of both \
             flights when comparing, or elevation, temperature and pressure when reading. Air that is 10 degrees \
             warmer, or 300 m more altitude, changes the airspeed by up to 1 %."
                .to_owned(),
        );
    }
    notes
}

/// One sentence on what a flight lacks: airspeeds or throttle values. `None` if it has both. `common` is the number of
/// steps that both flights have.
fn of_flight(flight: &FlownFlight, common: usize) -> Option<String> {
    if flight.steps.is_empty() {
        return Some(format!(
            "{} has no airspeed, because no pair of legs was found: its report gives the reasons.",
            flight.name
        ));
    }
    flight.steps.iter().all(|step| step.throttle_percent.is_none()).then(|| {
        format!(
            "The throttle of {} is not known: give its throttle steps when reading it{}.",
            flight.name,
            if common > 0 { "; until then, its steps are compared in the order flown" } else { "" }
        )
    })
}

/// The note that `missing` of the `steps` common steps cannot be corrected to a common voltage.
pub(super) fn without_voltage(missing: usize, steps: usize) -> String {
    format!(
        "In {missing} of {steps} steps, the pack voltage of one flight is not known: these steps are compared without voltage correction."
    )
}

use std::sync::Arc;

use super::sample::{blank_flight, flight_without_units, pair, small_flight, step, triangle_flight};
use crate::legs::Flag;
use crate::output::table;

#[test]
fn the_table_gives_the_answer_first_and_then_what_is_blank() {
    let mut flight = small_flight();
    flight.pairs.push(pair(2, 1, Some(60.0), 63.0, 77.0));
    flight.pairs.push(pair(3, 2, Some(100.0), 77.0, 87.0));
    flight.pairs[2].flags = vec![Flag("throttle not steady".into())];
    flight.steps = vec![step(1, Some(60.0), 68.5, 2), step(2, Some(100.0), 82.0, 1)];
    assert_eq!(
        format!("\n{}", table(&flight)),
        "
     throttle  upwind  downwind  airspeed  95 % interval  wind   pack
                 km/h      km/h      km/h           km/h  km/h      V
         60 %    60.0      74.0      67.0   66.0 to 68.0   7.0  23.10
         60 %    63.0      77.0      70.0   69.0 to 71.0   7.0  23.10
60 %, 2 pairs                        68.5   67.5 to 69.5   7.0  23.10
        100 %    77.0      87.0      82.0   81.0 to 83.0   5.0  23.10

60 % (pair 1): upwind leg short; gusty, see the plot
60 % (pair 2): upwind leg short; gusty, see the plot
100 % (pair 3): throttle not steady; upwind leg short; gusty, see the plot
Throttle was read from the overlay.
speed: 2 of 3 frames read (66.7 %); left blank: 1 not legible
voltage: 2 of 3 frames read (66.7 %); left blank: 1 no text in the region
Channel speed: 33 % of the frames are left blank; main reason, in 1 of 1 blank frames: not legible.
  Check the region in the setup.
Channel voltage: 33 % of the frames are left blank; main reason, in 1 of 1 blank frames: no text in
  the region. Check the region in the setup.
The second clip starts 0.4 s after the first ends.
"
    );
}

#[test]
fn legs_in_three_directions_have_a_row() {
    let text = table(&triangle_flight());
    assert!(text.starts_with("           throttle"), "{text}");
    assert!(
        text.contains("\n100 %, 3 directions                       100.0  98.5 to 101.5  30.0  22.40\n"),
        "{text}"
    );
    assert!(text.contains("Legs 1, 2, 3 in 3 directions at 100 %: airspeed 100.0 km/h"), "{text}");
}

#[test]
fn a_blank_flight_says_that_there_is_no_airspeed_and_why() {
    let text = table(&blank_flight());
    assert!(text.starts_with("No airspeed: no straight, steady leg was found.\n"), "{text}");
    assert!(text.contains("speed: 0 of 3 frames read (0.0 %); left blank: 3 signal lost"), "{text}");
    assert!(!text.contains("NaN"), "{text}");
}

#[test]
fn legs_without_a_pair_are_distinguished_from_no_legs() {
    let mut flight = small_flight();
    flight.pairs.clear();
    let text = table(&flight);
    assert!(text.starts_with("No airspeed: no upwind leg could be paired with a downwind leg.\n"), "{text}");
}

#[test]
fn without_throttle_and_units_the_steps_are_numbered() {
    let text = table(&flight_without_units());
    assert!(text.contains("\n  step 1    60.0"), "{text}");
    assert!(text.contains("the steps are numbered"), "{text}");
}

#[test]
fn no_line_is_wider_than_a_hundred_characters() {
    let mut flight = small_flight();
    flight.pairs = vec![pair(1, 4_000_000_000, None, -1e300, 1e300)];
    flight.steps = vec![step(4_000_000_000, None, -1e300, 999)];
    flight.notes = vec!["many words of a very long note about a clip ".repeat(20).into()];
    let text = table(&flight);
    let widest = text.lines().map(|line| line.chars().count()).max().unwrap();
    assert!(widest <= 100, "{widest}:\n{text}");
}

#[test]
fn a_note_cannot_steer_the_terminal() {
    let mut flight = small_flight();
    flight.notes = vec!["clip \u{1b}[2Jname\nstill the same note".into()];
    assert!(table(&flight).contains("clip [2Jname still the same note"));
}

#[test]
fn a_share_is_never_rounded_to_all_or_nothing() {
    let mut flight = small_flight();
    let readings = &mut Arc::make_mut(&mut flight.series).readings;
    readings.time_s = vec![0.0; 100_000];
    readings.channels[0].values = vec![60.0; 99_999];
    readings.channels[0].blank.clear();
    assert!(table(&flight).contains("speed: 99999 of 100000 frames read (99.9 %)"));
}

//! A readout that shows one value for the whole flight, here the altitude, in every format.

use serde_json::Value;

use super::sample::{flight_with_dead_altitude, long_flight};
use crate::flight::Flight;
use crate::output::{captions_vtt, report_html, summary_json, table};

const WORDS: &str = "the readout shows 67 m during the whole flight: it is neither used nor drawn";

fn page(flight: &Flight) -> String {
    String::from_utf8(report_html(flight).unwrap()).unwrap()
}

#[test]
fn the_summary_marks_the_dead_channel_and_only_that() {
    let bytes = summary_json(&flight_with_dead_altitude()).unwrap();
    let summary: Value = serde_json::from_slice(&bytes).unwrap();
    let [speed, voltage, altitude] = [0, 1, 2].map(|index| &summary["channels"][index]);
    assert_eq!(altitude["channel"], "altitude");
    assert_eq!((&altitude["dead"], &altitude["stuck_at"]), (&true.into(), &67.0.into()));
    for alive in [speed, voltage] {
        assert_eq!((&alive["dead"], &alive["stuck_at"]), (&false.into(), &Value::Null));
    }
}

#[test]
fn the_table_names_it_once_with_value_and_unit() {
    let text = table(&flight_with_dead_altitude()).replace("\n  ", " ");
    let lines: Vec<&str> = text.lines().filter(|line| line.contains("altitude")).collect();
    let line = format!("altitude: 10380 of 10620 frames read (97.7 %); left blank: 240 signal lost; {WORDS}");
    assert_eq!(lines, [line]);
    assert!(!table(&long_flight()).contains("neither used nor drawn"));
}

#[test]
fn captions_leave_it_out_and_keep_the_others() {
    let captions = |flight: &Flight| String::from_utf8(captions_vtt(flight).unwrap()).unwrap();
    assert!(captions(&long_flight()).contains("altitude 67 m"));
    let dead = captions(&flight_with_dead_altitude());
    assert!(!dead.contains("altitude"), "{dead}");
    assert!(dead.contains("speed 61 km/h, pack 25.0 V\n"), "{dead}");
}

#[test]
fn the_report_names_it_once_and_draws_the_others_only() {
    let plot = "altitude against time";
    assert!(page(&long_flight()).contains(plot));
    let dead = page(&flight_with_dead_altitude());
    assert!(!dead.contains(plot) && dead.contains("voltage against time"));
    assert_eq!((dead.matches(WORDS).count(), dead.matches("neither used nor drawn").count()), (1, 1));
}

use std::sync::Arc;

use serde_json::Value;

use super::sample::{blank_flight, long_flight, small_flight, triangle_flight};
use crate::flight::Flight;
use crate::output::summary_json;
use crate::propulsion::PropellerPoint;

fn parsed(flight: &Flight) -> Value {
    serde_json::from_slice(&summary_json(flight).unwrap()).unwrap()
}

#[test]
fn the_summary_holds_the_clips_the_counts_and_the_answer() {
    let summary = parsed(&small_flight());
    assert_eq!(summary["format"], 2);
    assert_eq!(summary["program"], "pairspeed");
    assert_eq!(summary["version"], "0.1.0");
    assert_eq!(summary["clips"][1]["file"], "salt-flat-2.avi");
    assert_eq!(summary["camera"]["frame"], serde_json::json!([640, 480]));
    assert_eq!(summary["speed_unit"], "km/h");
    assert_eq!(summary["altitude_unit"], Value::Null);
    assert_eq!(summary["update_rate_hz"], 8.1);
    assert_eq!(summary["throttle_source"], "overlay");
    let speed = &summary["channels"][0];
    assert_eq!(
        (&speed["channel"], &speed["frames"], &speed["read"]),
        (&"speed".into(), &3.into(), &2.into())
    );
    assert_eq!(speed["blank"], serde_json::json!({"unclear": 1}));
    assert_eq!(speed["share"], 0.666_667);
    assert_eq!(summary["legs"][0]["kind"], "upwind");
    assert_eq!(summary["legs"][0]["flags"], serde_json::json!(["short", "gusty, see the plot"]));
    let pair = &summary["pairs"][0];
    assert_eq!((pair["upwind_leg"].as_u64(), pair["downwind_leg"].as_u64()), (Some(1), Some(2)));
    assert_eq!(pair["airspeed"], 67.0);
    // 67 minus and plus 2.060 x 0.5 (Student's t for 25 degrees of freedom), with the precision of the table.
    let near = |key: &str, value: f64| (pair[key].as_f64().unwrap() - value).abs() < 0.0005;
    assert!(near("airspeed_low", 65.97) && near("airspeed_high", 68.03), "{pair}");
    assert_eq!(summary["steps"][0]["pairs"], 1);
    assert_eq!(summary["notes"].as_array().map(Vec::len), Some(3));
    assert_eq!(summary["cautions"].as_array().map(Vec::len), Some(5));
}

#[test]
fn the_summary_has_the_aircraft_and_the_findings_on_pack_and_propeller() {
    let mut flight = small_flight();
    flight.aircraft.cells = Some(6);
    flight.aircraft.propeller_pitch_in = Some(4.5);
    flight.propulsion.propeller = vec![PropellerPoint {
        throttle_percent: Some(100.0),
        rpm: 21_000.123_456_78,
        measured: true,
        pitch_speed_mps: Some(f64::NAN),
        slip: Some(-0.05),
        advance_ratio: None,
    }];
    let summary = parsed(&flight);
    assert_eq!(summary["aircraft"], serde_json::json!({"cells": 6, "propeller_pitch_in": 4.5}));
    let point = &summary["propulsion"]["propeller"][0];
    assert_eq!((&point["rpm"], &point["slip"]), (&21_000.123_457.into(), &(-0.05).into()));
    assert_eq!(point["pitch_speed_mps"], Value::Null);
    assert_eq!(summary["propulsion"]["battery"], Value::Null);
    let words = summary["propulsion_in_words"].to_string();
    assert!(
        words.contains("Aircraft: 6 cells") && words.contains("21000 rpm") && words.contains("slip -5 %"),
        "{words}"
    );
}

#[test]
fn a_pattern_has_its_budget() {
    let pattern = &parsed(&triangle_flight())["patterns"][0];
    assert_eq!(pattern["legs"], serde_json::json!([1, 2, 3]));
    assert!(pattern["budget"]["rows"].is_array(), "{pattern}");
}

#[test]
fn gaps_are_stated() {
    let gaps = &parsed(&long_flight())["gaps"];
    assert_eq!(*gaps, serde_json::json!([{"start_s": 200.0, "end_s": 206.0}]));
}

#[test]
fn a_number_that_is_nan_is_null() {
    let mut flight = small_flight();
    flight.pairs[0].airspeed.low = f64::NAN;
    flight.pairs[0].airspeed.high = f64::INFINITY;
    flight.pairs[0].wind = 1e300;
    flight.legs[0].speed_spread = f64::NAN;
    Arc::make_mut(&mut flight.series).update_rate_hz = Some(f64::NAN);
    let summary = parsed(&flight);
    assert_eq!(summary["pairs"][0]["airspeed_low"], Value::Null);
    assert_eq!(summary["pairs"][0]["airspeed_high"], Value::Null);
    assert_eq!(summary["pairs"][0]["wind"], 1e300);
    assert_eq!(summary["legs"][0]["spread"], Value::Null);
    assert_eq!(summary["update_rate_hz"], Value::Null);
}

#[test]
fn a_blank_flight_has_empty_lists_and_counts_every_blank() {
    let summary = parsed(&blank_flight());
    assert_eq!(summary["pairs"], serde_json::json!([]));
    assert_eq!(summary["channels"][0]["blank"], serde_json::json!({"signal-lost": 3}));
    let text = String::from_utf8(summary_json(&blank_flight()).unwrap()).unwrap();
    assert!(!text.contains("NaN") && text.ends_with("}\n"), "{text}");
}

#[test]
fn wind_air_and_patterns_are_in_the_summary_and_in_the_table() {
    use crate::air::{Air, Datum, FlightAir};
    use crate::airspeed::multileg::HeadingReference;
    use crate::airspeed::{Budget, Pattern, WindFinding, WindSource};
    use crate::model::estimate::Estimate;
    let mut flight = small_flight();
    flight.wind = Some(WindFinding {
        source: WindSource::Given,
        across: -3.0,
        across_uncertainty: 0.7,
        speed: 6.0,
        from_deg: 5.0,
        course_deg: 35.0,
    });
    flight.air = FlightAir {
        datum: Some(Datum::Field),
        at_legs: Air::standard(1500.0),
        standard_pressure: true,
        ..FlightAir::default()
    };
    flight.patterns = vec![Pattern {
        pattern: 1,
        throttle_percent: Some(70.0),
        legs: vec![2, 3, 4],
        heading_reference: HeadingReference::Track,
        airspeed: Estimate {
            value: 80.0,
            standard_uncertainty: 0.7,
            degrees_of_freedom: 20.0,
            low: 78.5,
            high: 81.5,
        },
        wind: 12.0,
        wind_from_deg: 271.0,
        voltage_v: None,
        altitude: None,
        flags: vec![],
        budget: Budget::default(),
    }];
    let json = parsed(&flight);
    assert_eq!(json["wind"]["source"], "given");
    assert_eq!(json["patterns"][0]["legs"], serde_json::json!([3, 4, 5]));
    assert_eq!(json["patterns"][0]["wind_from_deg"], 271.0);
    assert_eq!(json["air"]["altitude_from"], "field");
    // Standard atmosphere at 1500 m: 1.05807 kg/m3, sigma 0.86373 (ISO 2533).
    assert!((json["air"]["density_kg_m3"].as_f64().unwrap() - 1.05807).abs() < 1e-5);
    let carried = json["air"]["at_sea_level"][0]["airspeed"].as_f64().unwrap();
    let airspeed = json["steps"][0]["airspeed"].as_f64().unwrap();
    assert!((carried / airspeed - 0.86373f64.cbrt()).abs() < 1e-5);
    let table = crate::output::table(&flight).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(table.contains("Legs 3, 4, 5 in 3 directions at 70 %: airspeed 80.0 km/h"), "{table}");
    assert!(table.contains("3.0 km/h across the course of 35 degrees"), "{table}");
    assert!(table.contains("density altitude: 1500 m"), "{table}");
}

#[test]
fn a_summary_reads_back_equal() {
    use crate::output::summary_json::summary;
    use crate::summary::Summary;
    let mut flight = long_flight();
    flight.propulsion.propeller = vec![PropellerPoint {
        throttle_percent: Some(100.0),
        rpm: 21_000.5,
        measured: false,
        pitch_speed_mps: Some(40.25),
        slip: Some(f64::NAN),
        advance_ratio: None,
    }];
    flight.aircraft.cells = Some(6);
    for flight in [flight, small_flight(), blank_flight(), triangle_flight()] {
        let written = summary(&flight);
        assert_eq!(Summary::read(&written.to_json().unwrap()).unwrap(), written);
    }
}

#[test]
fn the_keys_of_propulsion_are_in_alphabetical_order() {
    let text = String::from_utf8(summary_json(&small_flight()).unwrap()).unwrap();
    let keys =
        ["\"battery\"", "\"cautions\"", "\"curve\"", "\"power\"", "\"propeller\"", "\"voltage_model\""];
    let positions: Vec<Option<usize>> = keys.iter().map(|key| text.find(key)).collect();
    assert!(positions.iter().all(Option::is_some) && positions.is_sorted(), "{positions:?}");
}

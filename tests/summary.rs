//! Reading `summary.json`: versions of the schema, damaged files, and the error messages.
#![allow(clippy::unwrap_used, missing_docs)]

use std::path::Path;

use pairspeed::model::units::Unit;
use pairspeed::summary::{
    AirspeedInterval, AirspeedSummary, FlownFlight, PairSummary, SUMMARY_FORMAT, StepSummary, Summary,
    SummaryError, load_flight, load_flights,
};
use proptest::prelude::*;

/// A flight with one pair at full throttle, in km/h.
fn summary() -> Summary {
    let step = StepSummary {
        step: 1,
        throttle_percent: Some(100.0),
        airspeed: AirspeedInterval { value: Some(90.0), low: Some(88.0), high: Some(92.0) },
        wind: Some(18.0),
        ..StepSummary::default()
    };
    let interval = AirspeedInterval { value: Some(90.0), ..AirspeedInterval::default() };
    let airspeed = AirspeedSummary { interval, ..AirspeedSummary::default() };
    let pair = PairSummary { pair: 1, step: 1, airspeed, ..PairSummary::default() };
    Summary {
        format: SUMMARY_FORMAT,
        speed_unit: Some(Unit::KilometresPerHour),
        pairs: vec![pair],
        steps: vec![step],
        ..Summary::default()
    }
}

fn in_folder(folder: &Path, json: &[u8]) {
    std::fs::create_dir_all(folder).unwrap();
    std::fs::write(folder.join("summary.json"), json).unwrap();
}

#[test]
fn a_written_summary_is_read_back_equal() {
    let written = summary();
    assert_eq!(Summary::read(&written.to_json().unwrap()).unwrap(), written);
}

#[test]
fn a_field_that_was_added_later_reads_as_its_default() {
    let read = Summary::read(br#"{"format": 2, "steps": [{"step": 1}]}"#).unwrap();
    assert_eq!(read.steps, [StepSummary { step: 1, ..StepSummary::default() }]);
    assert!(read.signal_losses.is_empty() && read.speed_unit.is_none());
}

#[test]
fn another_version_is_refused_with_both_versions_and_what_to_do() {
    let of = |format: u32| Summary::read(&Summary { format, ..summary() }.to_json().unwrap()).unwrap_err();
    let newer = of(SUMMARY_FORMAT + 1);
    assert!(matches!(newer, SummaryError::Newer { found } if found == SUMMARY_FORMAT + 1));
    assert!(
        newer.to_string().contains("format is 3, but this version of the program reads format 2"),
        "{newer}"
    );
    let older = of(SUMMARY_FORMAT - 1);
    assert!(matches!(older, SummaryError::Older { found } if found == SUMMARY_FORMAT - 1));
    assert!(older.to_string().contains("read the clips again"), "{older}");
    // In a newer version, only `format` is known.
    assert!(matches!(Summary::read(br#"{"format": 7}"#), Err(SummaryError::Newer { found: 7 })));
}

#[test]
fn a_summary_with_more_steps_than_any_flight_is_refused() {
    let step = summary().steps[0].clone();
    let long = Summary { steps: vec![step; 1001], ..summary() };
    let error = Summary::read(&long.to_json().unwrap()).unwrap_err();
    assert!(matches!(error, SummaryError::TooLong { list: "steps", found: 1001, limit: 1000 }), "{error}");
}

#[test]
fn other_files_are_not_accepted_as_summaries() {
    for json in
        ["", "{}", "[1]", "null", r#"{"format": 2}"#, r#"{"format": "1", "steps": []}"#, r#"{"format": 2,"#]
    {
        assert!(matches!(Summary::read(json.as_bytes()), Err(SummaryError::NotSummary(_))), "{json}");
    }
}

#[test]
fn a_flight_is_named_by_its_folder_or_by_its_path_if_folder_names_are_equal() {
    let out = tempfile::tempdir().unwrap();
    let folders = ["one/result", "other/result", "third"].map(|name| out.path().join(name));
    for folder in &folders {
        in_folder(folder, &summary().to_json().unwrap());
    }
    assert_eq!(load_flight(&folders[0]).unwrap().name, "result");
    assert_eq!(load_flight(&folders[0].join("summary.json")).unwrap().name, "result");
    let names: Vec<String> = load_flights(&folders).unwrap().into_iter().map(|flight| flight.name).collect();
    assert_eq!(
        names,
        [folders[0].display().to_string(), folders[1].display().to_string(), "third".to_owned()]
    );
}

#[test]
fn a_message_names_the_file_and_says_what_to_do() {
    let out = tempfile::tempdir().unwrap();
    let message = |json: &[u8]| {
        in_folder(out.path(), json);
        load_flight(out.path()).unwrap_err().to_string()
    };
    let newer = message(br#"{"format": 3}"#);
    assert!(newer.contains("summary.json") && newer.contains("use the newer version"), "{newer}");
    let damaged = message(br#"{"format": 2, "steps": [}"#);
    assert!(damaged.contains("line 1") && damaged.contains("read the clips again"), "{damaged}");
    let no_unit = message(&Summary { speed_unit: None, ..summary() }.to_json().unwrap());
    assert!(no_unit.contains("unit of its speeds"), "{no_unit}");
}

#[test]
fn an_implausible_density_is_refused() {
    let mut flight = FlownFlight::from_summary(&summary(), "flight".to_owned()).unwrap();
    for density in [0.0, -1.0, 12.0, f64::NAN] {
        assert!(flight.set_density(density).is_err(), "{density}");
    }
    flight.set_density(1.1).unwrap();
    assert_eq!(flight.density_kg_m3, Some(1.1));
}

proptest! {
    #[test]
    fn damaged_bytes_never_panic(
        cut in 0usize..4000,
        changes in prop::collection::vec((0usize..4000, any::<u8>()), 0..6),
    ) {
        let mut json = summary().to_json().unwrap();
        for (at, byte) in changes {
            let length = json.len();
            json[at % length] = byte;
        }
        json.truncate(cut.max(1));
        if let Ok(read) = Summary::read(&json) {
            let _ = FlownFlight::from_summary(&read, String::new());
        }
    }

    #[test]
    fn hostile_numbers_never_panic(numbers in prop::collection::vec(any::<f64>(), 8)) {
        let number = |index: usize| Some(numbers[index]);
        let mut hostile = summary();
        let step = &mut hostile.steps[0];
        step.airspeed = AirspeedInterval { value: number(0), low: number(1), high: number(2) };
        (step.budget.combined, step.budget.degrees_of_freedom) = (number(3), number(4));
        (step.throttle_percent, step.voltage_v) = (number(5), number(6));
        hostile.pairs[0].airspeed.uncertainty = number(7);
        let read = Summary::read(&hostile.to_json().unwrap()).unwrap();
        let _ = FlownFlight::from_summary(&read, String::new());
    }
}

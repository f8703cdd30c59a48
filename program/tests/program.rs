//! Runs the program in the way that a pilot does.
#![allow(clippy::unwrap_used)]

mod running;

use std::path::Path;

use running::{error_of, pairspeed, project_file, rows};

/// Asserts that every step's airspeed is within 1 % of the truth, and that its interval contains the truth.
fn assert_airspeeds_hold(result: &Path, truth: &str) {
    let truth: toml::Table = toml::from_str(&std::fs::read_to_string(project_file(truth)).unwrap()).unwrap();
    let pairs = rows(&result.join("pairs.csv"));
    let steps = truth["step"].as_array().unwrap();
    assert_eq!(pairs.len(), steps.len());
    for (pair, step) in pairs.iter().zip(steps) {
        let number = |name: &str| pair[name].parse::<f64>().unwrap();
        let flown = step["flown_airspeed"].as_float().unwrap();
        assert_eq!(number("throttle_percent"), step["throttle_percent"].as_float().unwrap());
        assert!((number("airspeed_kmh") / flown - 1.0).abs() < 0.01, "{pair:?} {flown}");
        assert!(
            (number("airspeed_low_kmh")..=number("airspeed_high_kmh")).contains(&flown),
            "{pair:?} {flown}"
        );
    }
}

#[test]
fn the_demonstration_flight_is_read_within_one_per_cent_and_inside_the_intervals() {
    let out = tempfile::tempdir().unwrap();
    let output = pairspeed(&["demo", "--out", out.path().to_str().unwrap()]);
    assert!(output.status.success(), "{}", error_of(&output));
    assert_airspeeds_hold(out.path(), "demo-clips/salt-flat.truth.toml");
}

#[test]
fn a_digital_clip_with_a_stuck_throttle_readout_is_read_with_given_steps() {
    let out = tempfile::tempdir().unwrap();
    let result = out.path().join("result");
    let output = pairspeed(&[
        "read",
        "demo-clips/salt-flat-digital.mp4",
        "--setup",
        "demo-clips/salt-flat-digital.setup.toml",
        "--throttle",
        "60,80,100",
        "--out",
        result.to_str().unwrap(),
    ]);
    assert!(output.status.success(), "{}", error_of(&output));
    assert_airspeeds_hold(&result, "demo-clips/salt-flat-digital.truth.toml");
    let shown = rows(&project_file("demo-clips/salt-flat-digital.readings.csv"));
    let read = rows(&result.join("series.csv"));
    assert_eq!(read.len(), shown.len());
    for (read, shown) in read.iter().zip(&shown) {
        let trusted = &read["speed_kmh"];
        assert!(trusted.is_empty() || *trusted == shown["speed"], "{read:?} {shown:?}");
    }
}

#[test]
fn every_trusted_reading_of_the_demonstration_is_the_text_shown() {
    // The program contains the clip, so that this works in any folder.
    let home = tempfile::tempdir().unwrap();
    let output = running::in_folder(home.path(), &["demo"]);
    assert!(output.status.success(), "{}", error_of(&output));
    let out = home.path().join("pairspeed-demo");
    let shown = rows(&project_file("demo-clips/salt-flat.readings.csv"));
    let read = rows(&out.join("series.csv"));
    assert_eq!(read.len(), shown.len());
    for (read, shown) in read.iter().zip(&shown) {
        for (column, channel) in
            [("speed_kmh", "speed"), ("voltage_v", "voltage"), ("altitude_m", "altitude")]
        {
            let trusted = &read[column];
            assert!(trusted.is_empty() || *trusted == shown[channel], "{read:?} {shown:?}");
        }
    }
}

#[test]
fn a_missing_clip_is_named_and_nothing_is_written() {
    let out = tempfile::tempdir().unwrap();
    let folder = out.path().join("result");
    let output = pairspeed(&[
        "read",
        "no-such.avi",
        "--setup",
        "demo-clips/salt-flat.setup.toml",
        "--out",
        folder.to_str().unwrap(),
    ]);
    assert!(error_of(&output).contains("no-such.avi"), "{}", error_of(&output));
    assert_eq!(output.status.code(), Some(2));
    assert!(!folder.exists());
}

#[test]
fn a_file_that_is_not_a_video_is_a_failed_read_and_nothing_is_written() {
    let out = tempfile::tempdir().unwrap();
    let folder = out.path().join("result");
    let to = folder.to_str().unwrap();
    let output = pairspeed(&["read", "README.md", "--setup", "demo-clips/salt-flat.setup.toml", "--out", to]);
    assert_eq!(output.status.code(), Some(1), "{}", error_of(&output));
    assert!(error_of(&output).contains("README.md"));
    assert!(!folder.exists());
}

#[test]
fn the_written_legs_can_be_given_to_read() {
    let out = tempfile::tempdir().unwrap();
    let first = out.path().join("first");
    let again = out.path().join("again");
    let read = |extra: &[&str], to: &Path| {
        let clip =
            ["read", "demo-clips/salt-flat.avi", "--setup", "demo-clips/salt-flat.setup.toml", "--out"];
        let output = pairspeed(&[&clip[..], &[to.to_str().unwrap()], extra].concat());
        assert!(output.status.success(), "{}", error_of(&output));
    };
    read(&[], &first);
    read(&["--legs", first.join("legs.csv").to_str().unwrap()], &again);
    for (found, given) in rows(&first.join("pairs.csv")).iter().zip(rows(&again.join("pairs.csv"))) {
        for column in ["throttle_percent", "upwind_kmh", "downwind_kmh", "airspeed_kmh"] {
            assert_eq!(found[column], given[column], "{column}");
        }
    }
}

#[test]
fn an_invalid_setup_is_misuse() {
    let output = pairspeed(&["read", "demo-clips/salt-flat.avi", "--setup", "README.md"]);
    assert_eq!(output.status.code(), Some(2), "{}", error_of(&output));
    assert!(error_of(&output).contains("README.md"));
}

#[test]
fn results_are_replaced_only_on_request() {
    let out = tempfile::tempdir().unwrap();
    std::fs::write(out.path().join("series.csv"), "mine").unwrap();
    let output = pairspeed(&[
        "read",
        "demo-clips/salt-flat.avi",
        "--setup",
        "demo-clips/salt-flat.setup.toml",
        "--out",
        out.path().to_str().unwrap(),
    ]);
    assert_eq!(output.status.code(), Some(2));
    assert!(error_of(&output).contains("--force"), "{}", error_of(&output));
    assert_eq!(std::fs::read_to_string(out.path().join("series.csv")).unwrap(), "mine");
}

#[test]
fn a_label_of_another_form_is_refused_with_an_example() {
    let output = pairspeed(&["teach", "x.avi", "--setup", "x.toml", "--say", "speed=63"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(error_of(&output).contains("speed@12.4=63"), "{}", error_of(&output));
}

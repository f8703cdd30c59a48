//! The output with `--json`: one JSON text and nothing else.
#![allow(clippy::unwrap_used, clippy::panic)]

mod running;

use std::path::Path;

use running::{error_of, pairspeed, project_file, rows};
use serde_json::Value;

/// Runs the program and parses its standard output, which must be one JSON text followed by one line feed.
fn printed(arguments: &[&str]) -> Value {
    let output = pairspeed(arguments);
    assert!(output.status.success(), "{}", error_of(&output));
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(text.ends_with('\n') && !text.ends_with("\n\n"), "{text:?}");
    serde_json::from_str(&text).unwrap_or_else(|error| panic!("{error} in {text}"))
}

fn number(value: &Value, key: &str) -> f64 {
    value[key].as_f64().unwrap_or_else(|| panic!("{key} is no number in {value}"))
}

fn list<'a>(value: &'a Value, key: &str) -> &'a [Value] {
    value[key].as_array().unwrap_or_else(|| panic!("{key} is no list in {value}"))
}

/// The texts that the demonstration clip shows in a frame.
fn shown(frame: usize) -> std::collections::HashMap<String, String> {
    rows(&project_file("demo-clips/salt-flat.readings.csv")).swap_remove(frame)
}

fn assert_budget_holds(answer: &Value) {
    let budget = &answer["budget"];
    let squares = list(budget, "rows").iter().map(|row| number(row, "uncertainty").powi(2));
    assert!((squares.sum::<f64>().sqrt() - number(budget, "combined")).abs() < 1e-5, "{answer}");
    let half_width = number(budget, "coverage_factor") * number(budget, "combined");
    let below = number(answer, "airspeed") - number(answer, "airspeed_low");
    let above = number(answer, "airspeed_high") - number(answer, "airspeed");
    let reads_low = number(budget, "reads_low");
    assert!((below + reads_low - half_width).abs() < 1e-5, "{answer}");
    assert!((above - reads_low - half_width).abs() < 1e-5, "{answer}");
}

#[test]
fn the_demonstration_gives_the_truth_beside_the_steps_and_budgets_that_add_up() {
    let out = tempfile::tempdir().unwrap();
    let demo = printed(&["demo", "--json", "--out", out.path().to_str().unwrap()]);
    let flown: toml::Table =
        toml::from_str(&std::fs::read_to_string(project_file("demo-clips/salt-flat.truth.toml")).unwrap())
            .unwrap();
    let flown = flown["step"].as_array().unwrap();
    let (truth, steps) = (list(&demo, "truth"), list(&demo, "steps"));
    assert_eq!((truth.len(), steps.len()), (flown.len(), flown.len()));
    for ((truth, step), flown) in truth.iter().zip(steps).zip(flown) {
        let flown_airspeed = flown["flown_airspeed"].as_float().unwrap();
        assert_eq!(number(truth, "throttle_percent"), number(step, "throttle_percent"));
        assert_eq!(number(truth, "flown_airspeed"), flown_airspeed);
        assert!((number(truth, "airspeed") - number(step, "airspeed")).abs() < 1e-6);
        let off_percent = 100.0 * (number(step, "airspeed") - flown_airspeed) / flown_airspeed;
        assert!((number(truth, "off_percent") - off_percent).abs() < 1e-5, "{truth}");
        let interval = number(step, "airspeed_low")..=number(step, "airspeed_high");
        assert_eq!(truth["inside_interval"], interval.contains(&flown_airspeed), "{truth} {step}");
    }
    list(&demo, "pairs").iter().chain(steps).for_each(assert_budget_holds);
}

#[test]
fn a_reading_prints_its_summary_to_the_byte() {
    let out = tempfile::tempdir().unwrap();
    let to = out.path().to_str().unwrap();
    let clip = ["read", "demo-clips/salt-flat.avi", "--setup", "demo-clips/salt-flat.setup.toml"];
    let output = pairspeed(&[&clip[..], &["--out", to, "--json"]].concat());
    assert!(output.status.success(), "{}", error_of(&output));
    let summary = std::fs::read(out.path().join("summary.json")).unwrap();
    assert!(output.stdout == summary, "{}", String::from_utf8_lossy(&output.stdout));
    let summary: Value = serde_json::from_slice(&summary).unwrap();
    assert_eq!(list(&summary, "channels").len(), 5);
}

#[test]
fn the_aircraft_of_the_setup_is_used_unless_a_file_is_given() {
    let home = tempfile::tempdir().unwrap();
    let path = |name: &str| home.path().join(name).to_str().unwrap().to_owned();
    let setup = std::fs::read_to_string(project_file("demo-clips/salt-flat.setup.toml")).unwrap();
    std::fs::write(path("wing.setup.toml"), setup + "\n[aircraft]\nmotor_kv = 900\ncells = 6\n").unwrap();
    let other = "[aircraft]\nmotor_kv = 1150\npropeller_pitch_in = 4.5\n";
    std::fs::write(path("flight.toml"), other).unwrap();
    let (setup, notes, out) = (path("wing.setup.toml"), path("flight.toml"), path("out"));
    let read = ["read", "demo-clips/salt-flat.avi", "--json", "--force", "--setup", &setup, "--out", &out];
    let of_setup = printed(&read);
    assert_eq!(of_setup["aircraft"], serde_json::json!({"motor_kv": 900.0, "cells": 6}));
    assert_eq!(of_setup["propulsion"]["battery"]["cells_estimated"], false);
    let of_file = printed(&[&read[..], &["--aircraft", &notes]].concat());
    assert_eq!(of_file["aircraft"], serde_json::json!({"motor_kv": 1150.0, "propeller_pitch_in": 4.5}));
    let point = &list(&of_file["propulsion"], "propeller")[0];
    // A motor without load at full throttle: the revolutions are K_v times the voltage under load of that
    // step.
    let full = list(&of_file, "steps").iter().find(|step| step["throttle_percent"] == 100.0).unwrap();
    assert!((number(point, "rpm") - 1150.0 * number(full, "voltage_v")).abs() < 1.0, "{point}");
}

#[test]
fn an_inspected_moment_gives_text_value_and_confidence_of_each_region() {
    let out = tempfile::tempdir().unwrap();
    let picture = out.path().join("moment.png");
    let setup = ["--setup", "demo-clips/salt-flat.setup.toml", "--at", "30"];
    let clip = ["inspect", "demo-clips/salt-flat.avi", "--json", "--picture", picture.to_str().unwrap()];
    let inspected = printed(&[&clip[..], &setup].concat());
    let shown = shown(240);
    assert_eq!(number(&inspected, "time_s"), shown["time_s"].parse::<f64>().unwrap());
    let regions = list(&inspected, "regions");
    assert_eq!(regions.len(), 5);
    for region in regions {
        let text = region["text"].as_str().unwrap();
        assert_eq!(text, shown[region["channel"].as_str().unwrap()], "{region}");
        assert_eq!(number(region, "value"), text.parse::<f64>().unwrap());
        assert!((0.5..=1.0).contains(&number(region, "confidence")), "{region}");
    }
    assert_eq!(regions[0]["unit"], "km/h");
    assert!(picture.is_file());
}

#[test]
fn a_region_that_shows_no_number_has_no_value() {
    let out = tempfile::tempdir().unwrap();
    let (setup, picture) = (out.path().join("sky.setup.toml"), out.path().join("moment.png"));
    let sky = "[camera]\nname = \"sky\"\nframe = [640, 480]\n[[region]]\nchannel = \"current\"\n\
               box = [290, 100, 60, 37]\nunit = \"A\"\ndigits = 3\ndecimals = 0\n";
    std::fs::write(&setup, sky).unwrap();
    let inspected = printed(&[
        "inspect",
        "demo-clips/salt-flat.avi",
        "--json",
        "--picture",
        picture.to_str().unwrap(),
        "--setup",
        setup.to_str().unwrap(),
    ]);
    let region = &inspected["regions"][0];
    assert_eq!((&region["channel"], &region["value"]), (&"current".into(), &Value::Null), "{region}");
    assert!(region["confidence"].is_null() || number(region, "confidence") < 0.999, "{region}");
}

#[test]
fn a_proposed_setup_names_its_files_and_boxes() {
    let out = tempfile::tempdir().unwrap();
    let setup = out.path().join("new.setup.toml");
    let proposed =
        printed(&["setup", "demo-clips/salt-flat.avi", "--json", "--out", setup.to_str().unwrap()]);
    assert_eq!(proposed["setup"], setup.to_str().unwrap());
    assert!(setup.is_file() && Path::new(proposed["picture"].as_str().unwrap()).is_file());
    let written: toml::Table = toml::from_str(&std::fs::read_to_string(&setup).unwrap()).unwrap();
    let boxes = written["region"].as_array().unwrap();
    assert!(!boxes.is_empty());
    assert_eq!(list(&proposed, "regions").len(), boxes.len());
}

#[test]
fn a_lesson_names_the_glyphs_and_the_digits_still_missing() {
    let out = tempfile::tempdir().unwrap();
    let setup = out.path().join("wing.setup.toml");
    let text = std::fs::read_to_string(project_file("demo-clips/salt-flat.setup.toml")).unwrap();
    std::fs::write(&setup, text.replace("[camera]", "[camera]\nglyphs = \"taught\"")).unwrap();
    let say = format!("speed@30={}", shown(240)["speed"]);
    let clip = ["teach", "demo-clips/salt-flat.avi", "--json", "--say", &say];
    let lesson = printed(&[&clip[..], &["--setup", setup.to_str().unwrap()]].concat());
    assert_eq!(lesson["glyphs"], out.path().join("taught").to_str().unwrap());
    assert!(out.path().join("taught/glyphs.toml").is_file());
    let missing = lesson["missing"].as_str().unwrap();
    for digit in '0'..='9' {
        assert_eq!(missing.contains(digit), !say[9..].contains(digit), "{digit}: {missing}");
    }
    assert!(!list(&lesson, "label_next").is_empty());
    assert_eq!(list(&lesson, "suspects"), [Value::Null; 0]);
    assert_eq!(list(&lesson, "rejected"), [Value::Null; 0]);
}

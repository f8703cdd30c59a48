//! Runs the commands `compare` and `plan` in the way that a pilot does.
#![allow(clippy::unwrap_used)]

use std::path::Path;
use std::process::{Command, Output};

use serde_json::{Value, json};

fn pairspeed(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_pairspeed")).args(arguments).output().unwrap()
}

fn said(output: &Output) -> String {
    assert!(output.status.success(), "{}", error_of(output));
    String::from_utf8_lossy(&output.stdout).into_owned()
}

fn error_of(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// Makes a result folder with one pair per step, given as (throttle, airspeed, half-width), with speeds in
/// `unit`.
fn result(folder: &Path, unit: &str, steps: &[(f64, f64, f64)]) -> String {
    let step = |(number, (throttle, airspeed, half)): (usize, &(f64, f64, f64))| {
        json!({
            "step": number, "throttle_percent": throttle, "airspeed": airspeed, "airspeed_low": airspeed - half,
            "airspeed_high": airspeed + half, "budget": {"degrees_of_freedom": 40.0}, "wind": 8.0, "voltage_v": 22.0,
            "pairs": 1, "pair": number, "airspeed_uncertainty": half / 2.0,
        })
    };
    let steps: Vec<Value> = (1..).zip(steps).map(step).collect();
    let mut pairs = steps.clone();
    for pair in &mut pairs {
        pair["pairs"].take();
    }
    let summary = json!({"format": 2, "speed_unit": unit, "legs": [], "pairs": pairs, "steps": steps});
    std::fs::create_dir_all(folder).unwrap();
    std::fs::write(folder.join("summary.json"), summary.to_string()).unwrap();
    folder.to_str().unwrap().to_owned()
}

#[test]
fn flights_in_different_units_are_compared_and_the_verdict_is_in_plain_words() {
    let out = tempfile::tempdir().unwrap();
    // 70 and 80 mph are 112.654 and 128.748 km/h.
    let before = result(&out.path().join("before"), "mph", &[(60.0, 70.0, 1.0), (100.0, 80.0, 1.0)]);
    let after = result(&out.path().join("after"), "km/h", &[(60.0, 112.654, 1.6), (100.0, 138.0, 1.6)]);
    let text = said(&pairspeed(&["compare", &before, &after, "--units", "mph,ft"]));
    assert!(text.contains("Faster by 5.7 mph at 100 %"), "{text}");
    assert!(text.contains("no significant difference at 60 %"), "{text}");
    let given: Value =
        serde_json::from_str(&said(&pairspeed(&["compare", &before, &after, "--json"]))).unwrap();
    assert_eq!(given["speed_unit"], "mph");
    let steps = given["comparisons"][0]["steps"].as_array().unwrap();
    assert!(steps[0]["difference"].as_f64().unwrap().abs() < 0.001, "{steps:?}");
    assert_eq!(steps[1]["verdict"], "faster");
}

#[test]
fn a_page_is_written_completely_and_replaced_only_on_request() {
    let out = tempfile::tempdir().unwrap();
    let before = result(&out.path().join("a"), "km/h", &[(100.0, 120.0, 1.0)]);
    let after = result(&out.path().join("<b>"), "km/h", &[(100.0, 121.0, 1.0)]);
    let page = out.path().join("page.html");
    let to = page.to_str().unwrap();
    said(&pairspeed(&["compare", &before, &after, "--out", to]));
    let text = std::fs::read_to_string(&page).unwrap();
    assert!(text.contains("&lt;b&gt; against a") && !text.contains("<b>"), "names are text, not markup");
    let again = pairspeed(&["compare", &before, &after, "--out", to]);
    assert_eq!(again.status.code(), Some(2));
    assert!(error_of(&again).contains("--force"), "{}", error_of(&again));
}

#[test]
fn invalid_comparisons_are_misuse_and_name_the_file_and_the_fix() {
    let out = tempfile::tempdir().unwrap();
    let good = result(&out.path().join("good"), "km/h", &[(100.0, 120.0, 1.0)]);
    let empty = out.path().join("empty");
    std::fs::create_dir(&empty).unwrap();
    let refused = |other: &str| {
        let output = pairspeed(&["compare", &good, other]);
        assert_eq!(output.status.code(), Some(2), "{other}");
        error_of(&output)
    };
    assert!(refused(empty.to_str().unwrap()).contains("no summary.json"));
    assert!(refused("no-such-folder").contains("no-such-folder"));
    let broken = out.path().join("broken");
    std::fs::create_dir(&broken).unwrap();
    let file = broken.join("summary.json");
    for (text, word) in [
        ("{\"format\": 2,", "line 1"),
        ("{\"format\": 99, \"speed_unit\": \"km/h\", \"steps\": []}", "format is 99"),
        ("{\"format\": 2, \"speed_unit\": null, \"steps\": []}", "unit of its speeds"),
        ("{\"format\": 2, \"speed_unit\": \"V\", \"steps\": []}", "unit of its speeds"),
    ] {
        std::fs::write(&file, text).unwrap();
        let message = refused(broken.to_str().unwrap());
        assert!(message.contains(word) && message.contains("summary.json"), "{message}");
    }
    let densities = pairspeed(&["compare", &good, &good, "--density", "1.2"]);
    assert_eq!(densities.status.code(), Some(2));
    assert_eq!(pairspeed(&["compare", &good]).status.code(), Some(2));
}

#[test]
fn a_flight_without_an_airspeed_is_noted() {
    let out = tempfile::tempdir().unwrap();
    let good = result(&out.path().join("good"), "km/h", &[(100.0, 120.0, 1.0)]);
    let none = result(&out.path().join("none"), "km/h", &[]);
    let text = said(&pairspeed(&["compare", &good, &none]));
    assert!(text.contains("Nothing to compare.") && text.contains("none has no airspeed"), "{text}");
}

#[test]
fn a_test_card_is_printed_and_written() {
    let out = tempfile::tempdir().unwrap();
    let page = out.path().join("card.html");
    let day = ["plan", "--top-speed", "85 mph", "--wind", "8mph", "--within", "1.5 mph", "--units", "mph"];
    let text = said(&pairspeed(&[&day[..], &["--out", page.to_str().unwrap()]].concat()));
    for word in ["throttle", "upwind", "Fly one pair", "Caution"] {
        assert!(text.contains(word), "{word}: {text}");
    }
    assert!(std::fs::read_to_string(&page).unwrap().contains("spotter"));
    let given: Value = serde_json::from_str(&said(&pairspeed(&[&day[..], &["--json"]].concat()))).unwrap();
    assert!((given["wind"].as_f64().unwrap() - 8.0).abs() < 1e-6);
    assert_eq!(given["steps"].as_array().unwrap().len(), 6);
    for step in given["steps"].as_array().unwrap() {
        assert!(step["half_width"].as_f64().unwrap() <= 1.5, "{step}");
    }
}

#[test]
fn a_card_can_start_from_an_earlier_flight() {
    let out = tempfile::tempdir().unwrap();
    let earlier = result(&out.path().join("earlier"), "kn", &[(50.0, 40.0, 1.0), (100.0, 66.0, 1.0)]);
    let card = pairspeed(&["plan", "--from", &earlier, "--steps", "50,100", "--json"]);
    let given: Value = serde_json::from_str(&said(&card)).unwrap();
    assert_eq!(given["speed_unit"], "kn");
    assert!((given["steps"][1]["airspeed"].as_f64().unwrap() - 66.0).abs() < 0.01, "{given}");
}

#[test]
fn a_plan_without_required_values_names_the_options() {
    for (arguments, word) in [
        (&["plan"][..], "--top-speed"),
        (&["plan", "--top-speed", "90"], "--wind"),
        (&["plan", "--top-speed", "90", "--wind", "fast"], "--wind fast"),
        (&["plan", "--top-speed", "90", "--wind", "8 ft"], "does not measure a speed"),
        (&["plan", "--top-speed", "90", "--wind", "8 furlongs"], "unknown unit"),
        (&["plan", "--top-speed", "90", "--wind", "8", "--units", "V"], "--units V"),
        (&["plan", "--top-speed", "90", "--wind", "8", "--steps", "0,50"], "--steps"),
        (&["plan", "--top-speed", "90", "--wind", "8", "--pack-wh", "60"], "--full-power-w"),
    ] {
        let output = pairspeed(arguments);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        assert!(error_of(&output).contains(word), "{arguments:?}: {}", error_of(&output));
    }
}

#[test]
fn unmet_requirements_of_a_card_come_first() {
    let out = tempfile::tempdir().unwrap();
    let page = out.path().join("card.html");
    let day = ["plan", "--top-speed", "85 mph", "--wind", "8 mph", "--minutes", "2"];
    let text = said(&pairspeed(&[&day[..], &["--out", page.to_str().unwrap()]].concat()));
    assert!(text.starts_with("This card cannot be flown: one pass over all steps takes 4:24 min"), "{text}");
    assert!(text.replace("\n  ", " ").contains("(not reached)"), "{text}");
    let page = std::fs::read_to_string(&page).unwrap();
    assert!(page.find("cannot be flown").unwrap() < page.find("flights are needed").unwrap());
    let given: Value = serde_json::from_str(&said(&pairspeed(&[&day[..], &["--json"]].concat()))).unwrap();
    assert!(given["shortfalls"][0].as_str().unwrap().contains("cannot be flown"), "{given}");
    assert!(given["steps"][0]["half_width"].is_null(), "{given}");
}

#[test]
fn a_course_that_leaves_no_steady_flight_is_refused() {
    let output = pairspeed(&["plan", "--top-speed", "85 mph", "--wind", "8 mph", "--course", "3 m"]);
    assert_eq!(output.status.code(), Some(2));
    let message = error_of(&output);
    assert!(
        message.contains("--course") && message.contains("3 m") && message.contains("give a course of"),
        "{message}"
    );
}

#[test]
fn a_card_requested_in_one_unit_shows_no_other() {
    let out = tempfile::tempdir().unwrap();
    let earlier = result(&out.path().join("earlier"), "km/h", &[(50.0, 90.0, 1.0), (100.0, 130.0, 1.0)]);
    let asked: [&[&str]; 4] = [
        &["--top-speed", "85 mph", "--wind", "8"],
        &["--top-speed", "140", "--wind", "8", "--units", "mph"],
        &["--top-speed", "85 mph", "--wind", "8", "--within", "0.01 mph", "--course", "700 ft"],
        &["--from", &earlier, "--within", "1 mph", "--minutes", "2"],
    ];
    for (number, options) in asked.into_iter().enumerate() {
        let page = out.path().join(format!("card-{number}.html"));
        let text = said(&pairspeed(&[&["plan"], options, &["--out", page.to_str().unwrap()]].concat()));
        let json = said(&pairspeed(&[&["plan"], options, &["--json"]].concat()));
        for form in [text, json, std::fs::read_to_string(&page).unwrap()] {
            assert!(form.contains("mph"), "{options:?}: {form}");
            for other in ["km/h", "m/s", " kn", " m,", " m."] {
                assert!(!form.contains(other), "{options:?} shows {other}: {form}");
            }
        }
    }
}

#[test]
fn a_verdict_on_an_assumed_effect_of_voltage_says_so_and_gives_the_verdict_without_it() {
    let out = tempfile::tempdir().unwrap();
    let before = result(&out.path().join("before"), "mph", &[(60.0, 60.0, 1.0), (100.0, 80.0, 1.0)]);
    let after = result(&out.path().join("after"), "mph", &[(60.0, 66.0, 1.0), (100.0, 80.0, 1.0)]);
    let file = Path::new(&after).join("summary.json");
    let text = std::fs::read_to_string(&file).unwrap().replace("\"voltage_v\":22.0", "\"voltage_v\":21.0");
    std::fs::write(&file, text).unwrap();
    let text = said(&pairspeed(&["compare", &before, &after])).replace("\n  ", " ");
    assert!(text.contains("rest on an assumption"), "{text}");
    assert!(text.contains("without the voltage correction, the verdict of 1 step would change"), "{text}");
    assert!(text.contains("(without voltage correction: no difference shown)"), "{text}");
    let given: Value =
        serde_json::from_str(&said(&pairspeed(&["compare", &before, &after, "--json"]))).unwrap();
    let comparison = &given["comparisons"][0];
    assert_eq!(comparison["verdict_rests_on_assumption"], true);
    let verdicts = |step: usize| {
        (comparison["steps"][step]["verdict"].clone(), comparison["steps"][step]["verdict_as_flown"].clone())
    };
    assert_eq!(verdicts(0), (json!("faster"), json!("faster")));
    assert_eq!(verdicts(1), (json!("faster"), json!("not-significant")));
    let as_flown = said(&pairspeed(&["compare", &before, &after, "--as-flown"]));
    assert!(!as_flown.contains("rest on an assumption"), "{as_flown}");
}

#[test]
fn the_airspeed_compared_is_the_one_in_the_report() {
    let out = tempfile::tempdir().unwrap();
    let before = result(&out.path().join("before"), "mph", &[(100.0, 80.0, 1.0)]);
    let file = Path::new(&before).join("summary.json");
    // An interval whose middle is 0.4 mph above the airspeed.
    let text = std::fs::read_to_string(&file).unwrap();
    let text = text.replace("\"airspeed_low\":79.0", "\"airspeed_low\":79.4");
    std::fs::write(&file, text.replace("\"airspeed_high\":81.0", "\"airspeed_high\":81.4")).unwrap();
    let given: Value =
        serde_json::from_str(&said(&pairspeed(&["compare", &before, &before, "--json"]))).unwrap();
    assert_eq!(given["comparisons"][0]["steps"][0]["first"], 80.0, "{given}");
}

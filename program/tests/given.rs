//! Options that state the wind, the air and the units.
#![allow(clippy::unwrap_used, missing_docs)]

mod running;

use std::process::{Command, Output};

const CLIP: [&str; 3] = ["demo-clips/salt-flat.avi", "--setup", "demo-clips/salt-flat.setup.toml"];

fn read(out: &std::path::Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_pairspeed"))
        .arg("read")
        .args(CLIP)
        .args(["--out", out.to_str().unwrap()])
        .args(arguments)
        .current_dir(running::PROJECT)
        .output()
        .unwrap()
}

#[test]
fn given_wind_weather_and_units_change_the_result() {
    let folder = tempfile::tempdir().unwrap();
    let summary = |name: &str, arguments: &[&str]| -> serde_json::Value {
        let output = read(&folder.path().join(name), arguments);
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        serde_json::from_slice(&output.stdout).unwrap()
    };
    let plain = summary("plain", &["--json"]);
    // The truth of the scenario: wind 14.4 km/h, of which 2.994 km/h across the course.
    let given = summary(
        "given",
        &[
            "--json",
            "--units",
            "mph,ft",
            "--wind",
            "14.4@12",
            "--course",
            "0",
            "--temperature",
            "75F",
            "--qnh",
            "30.06inHg",
            "--field-elevation",
            "4200ft",
            "--altitude-from",
            "sea-level",
        ],
    );
    assert_eq!(plain["speed_unit"], "km/h");
    assert_eq!(given["speed_unit"], "mph");
    assert_eq!(given["altitude_unit"], "ft");
    let airspeed = |summary: &serde_json::Value| summary["steps"][0]["airspeed"].as_f64().unwrap();
    // NIST SP 811: 1 mph = 0.44704 m/s. Here V = sqrt(m^2 + Wc^2) increases the airspeed by up to 0.06 km/h.
    let more = airspeed(&given) * 0.44704 * 3.6 - airspeed(&plain);
    assert!((0.0..0.08).contains(&more), "{more}");
    assert_eq!(given["wind"]["source"], "given");
    assert_eq!(given["air"]["temperature_is_standard"], false);
    assert!((given["air"]["field_elevation_m"].as_f64().unwrap() - 1280.16).abs() < 1e-6);
    let (here, there) = (airspeed(&given), given["air"]["at_sea_level"][0]["airspeed"].as_f64().unwrap());
    let ratio = given["air"]["density_kg_m3"].as_f64().unwrap() / 1.224_999;
    assert!(((there / here).powi(3) - ratio).abs() < 1e-4, "{there} {here} {ratio}");
    let report = std::fs::read_to_string(folder.path().join("given/report.html")).unwrap();
    assert!(report.contains("Wind and air") && report.contains("density altitude"), "no section on the air");
    let series = std::fs::read_to_string(folder.path().join("given/series.csv")).unwrap();
    assert!(series.lines().next().unwrap().contains("speed_mph,") && series.contains("altitude_ft"));
}

#[test]
fn invalid_conditions_are_misuse_and_name_the_fix() {
    let folder = tempfile::tempdir().unwrap();
    for (arguments, fix) in [
        (["--wind", "brisk"], "4@270"),
        (["--units", "V"], "use mph, km/h, kn or m/s, and ft or m"),
        (["--temperature", "900"], "-50 to 60 degrees"),
        (["--pressure", "12"], "500 to 1100 hPa"),
        (["--field-elevation", "high"], "1280m or 4200ft"),
        (["--course", "nan"], "degrees clockwise"),
        (["--least-voltage", "-3"], "the voltage of the whole pack"),
    ] {
        let output = read(&folder.path().join("none"), &arguments);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {said}");
        assert!(said.contains(arguments[0]) && said.contains(fix), "{said}");
        assert!(!folder.path().join("none").exists());
    }
}

//! A channel that cannot be read does not stop the others, and every blank states its reason.
#![allow(clippy::unwrap_used)]

#[path = "../../tests/common/mod.rs"]
mod common;
mod running;

use std::path::{Path, PathBuf};
use std::process::Output;

use common::{ffmpeg, folder, text};
use pairspeed::glyphs::builtin_sets;
use running::{error_of, pairspeed, project_file, rows};
use serde_json::Value;

const SETUP: &str = "demo-clips/salt-flat.setup.toml";

/// The first minute of the demonstration, with a part of every frame mirrored, so that its digits match no
/// known glyphs.
fn mirrored(folder: &Path, part: &str) -> PathBuf {
    let clip = folder.join("flight.avi");
    let filter = format!(
        "split[whole][part];[part]crop={part},hflip[part];[whole][part]overlay={}",
        overlay_position(part)
    );
    let demo = project_file("demo-clips/salt-flat.avi");
    let from = ["-t", "60", "-i", text(&demo), "-filter_complex", &filter];
    ffmpeg(&[&from[..], &["-c:v", "mjpeg", "-q:v", "2", "-an", text(&clip)]].concat());
    clip
}

/// Position and size of a part, in the form that ffmpeg's overlay filter requires.
fn overlay_position(part: &str) -> String {
    part.split(':').skip(2).collect::<Vec<_>>().join(":")
}

fn read(clip: &Path, setup: &str, result: &Path) -> Output {
    pairspeed(&["read", text(clip), "--setup", setup, "--out", text(result)])
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

fn summary(result: &Path) -> Value {
    serde_json::from_slice(&std::fs::read(result.join("summary.json")).unwrap()).unwrap()
}

fn channel<'a>(summary: &'a Value, name: &str) -> &'a Value {
    summary["channels"].as_array().unwrap().iter().find(|channel| channel["channel"] == name).unwrap()
}

fn assert_share_above(summary: &Value, name: &str, least: f64) {
    let share = channel(summary, name)["share"].as_f64().unwrap();
    assert!(share > least, "{name}: {share}");
}

#[test]
fn without_a_readable_speed_the_other_channels_are_read_and_the_reason_is_given() {
    let folder = folder();
    let clip = mirrored(folder.path(), "66:37:62:210");
    let result = folder.path().join("result");
    let output = read(&clip, SETUP, &result);
    assert_eq!(output.status.code(), Some(0), "{}", error_of(&output));
    let said = said(&output);
    assert!(said.starts_with("No airspeed: the speed could not be read.\n"), "{said}");
    assert!(said.contains("Channel speed is not read: "), "{said}");
    let command = format!("pairspeed teach {} --setup {SETUP}", text(&clip));
    assert!(said.replace(" \\\n     ", "").contains(&command), "{said}");
    let summary = summary(&result);
    let speed = channel(&summary, "speed");
    assert_eq!(speed["read"], 0);
    let times_s = speed["unread"]["label_at_s"].as_array().unwrap();
    assert_eq!(times_s.len(), 3, "{speed}");
    assert!(times_s.iter().all(|time_s| (0.0..60.1).contains(&time_s.as_f64().unwrap())), "{speed}");
    assert!(speed["unread"]["command"].as_str().unwrap().contains(" --say speed@"), "{speed}");
    assert_eq!(summary["legs"], serde_json::json!([]));
    for name in ["altitude", "voltage", "satellites", "throttle"] {
        assert_share_above(&summary, name, 0.9);
        assert_eq!(channel(&summary, name)["unread"], Value::Null);
    }
    let series = rows(&result.join("series.csv"));
    assert!(series.iter().all(|row| row["speed_kmh"].is_empty() && row["speed_smooth_kmh"].is_empty()));
    assert!(series.iter().any(|row| !row["voltage_v"].is_empty()));
    let report = std::fs::read_to_string(result.join("report.html")).unwrap();
    assert!(report.contains("No airspeed: the speed could not be read.") && report.contains("--say speed@"));
}

#[test]
fn a_channel_that_cannot_be_read_is_named_and_the_airspeeds_are_found_without_it() {
    let folder = folder();
    let clip = mirrored(folder.path(), "86:37:62:416");
    let result = folder.path().join("result");
    let output = read(&clip, SETUP, &result);
    assert_eq!(output.status.code(), Some(0), "{}", error_of(&output));
    let said = said(&output);
    assert!(
        !said.contains("Channel speed is not read") && said.contains("Channel voltage is not read: "),
        "{said}"
    );
    let summary = summary(&result);
    assert_eq!(channel(&summary, "voltage")["read"], 0);
    assert_share_above(&summary, "speed", 0.9);
    assert!(!summary["legs"].as_array().unwrap().is_empty());
}

#[test]
fn a_recording_without_a_readable_channel_is_refused() {
    let folder = folder();
    let clip = mirrored(folder.path(), "640:480:0:0");
    let result = folder.path().join("result");
    let output = read(&clip, SETUP, &result);
    let said = error_of(&output);
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(said.contains("no region shows text that matches the known glyphs"), "{said}");
    assert!(!result.exists());
}

/// The demonstration's setup with one text replaced, in a folder of its own.
fn setup_with(folder: &Path, from: &str, to: &str) -> PathBuf {
    let setup = std::fs::read_to_string(project_file(SETUP)).unwrap();
    assert!(setup.contains(from));
    let path = folder.join("nose.setup.toml");
    std::fs::write(&path, setup.replace(from, to)).unwrap();
    path
}

fn inspect(setup: &Path, at: &str) -> String {
    let picture = setup.with_extension("png");
    let output = pairspeed(&[
        "inspect",
        "demo-clips/salt-flat.avi",
        "--setup",
        text(setup),
        "--at",
        at,
        "--picture",
        text(&picture),
    ]);
    assert!(output.status.success(), "{}", error_of(&output));
    said(&output)
}

#[test]
fn a_value_outside_its_range_is_reported_with_the_range_and_its_origin() {
    let folder = folder();
    // The altitude is read as a heading: 1283 degrees is not a heading.
    let from = "channel = \"altitude\"\nbox = [508, 210, 86, 37]\nunit = \"m\"\ndigits = 4\ndecimals = 0\n\
                range = [1233.0, 1683.0]";
    let to = "channel = \"heading\"\nbox = [508, 210, 86, 37]\nunit = \"deg\"\ndigits = 4\ndecimals = 0";
    let setup = setup_with(folder.path(), from, to);
    let said_by_inspect = inspect(&setup, "20");
    assert!(
        said_by_inspect
            .contains("left blank: outside 0 to 360 (default; to change it, set `range` in the setup)"),
        "{said_by_inspect}"
    );
    let result = folder.path().join("result");
    let output = read(Path::new("demo-clips/salt-flat.avi"), text(&setup), &result);
    let table = said(&output).replace("\n  ", " ");
    assert!(table.contains("outside 0 to 360 (default; to change it, set `range` in the setup)"), "{table}");
    assert!(
        table.contains("Channel heading: 100 % of the frames are left blank; main reason, in "),
        "{table}"
    );

    let setup = setup_with(folder.path(), "range = [15.0, 26.0]", "range = [9.0, 12.0]");
    let said_by_inspect = inspect(&setup, "20");
    assert!(
        said_by_inspect.contains("left blank: outside 9 to 12 (`range` in the setup); perhaps 2"),
        "{said_by_inspect}"
    );
}

#[test]
fn a_digit_that_the_glyph_set_lacks_is_named() {
    let folder = folder();
    let setup = setup_with(folder.path(), "[camera]\n", "[camera]\nglyphs = \"glyphs\"\n");
    let output = pairspeed(&[
        "read",
        "demo-clips/salt-flat.avi",
        "--setup",
        SETUP,
        "--out",
        text(&folder.path().join("whole")),
    ]);
    assert!(output.status.success(), "{}", error_of(&output));
    // The face belongs to one of the built-in sets; nothing can be read with the others.
    let read_with = |set: usize| {
        let mut set = builtin_sets().unwrap().swap_remove(set);
        set.faces.iter_mut().for_each(|face| face.glyphs.retain(|glyph| glyph.character != '7'));
        let glyphs = folder.path().join("glyphs");
        let _none_yet = std::fs::remove_dir_all(&glyphs);
        set.save(&glyphs, pairspeed::files::Existing::ReplaceOwn).unwrap();
        let result = folder.path().join(format!("without-{}", set.name));
        let output = read(Path::new("demo-clips/salt-flat.avi"), text(&setup), &result);
        (output.status.success()).then(|| (said(&output), summary(&result), inspect(&setup, "20")))
    };
    let found = (0..builtin_sets().unwrap().len()).find_map(read_with);
    let (table, summary, _) = found.unwrap();
    let speed = channel(&summary, "speed");
    assert_eq!(speed["unknown_digits"], "7");
    assert!(speed["blank"]["digit-unknown"].as_u64().unwrap() > 0, "{speed}");
    let table = table.replace("\n  ", " ");
    assert!(table.contains("perhaps a digit that is not in the glyph set (missing: 7)"), "{table}");
}

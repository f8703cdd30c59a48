//! Tests `read --each`: each clip is a separate flight.
#![allow(clippy::unwrap_used)]

mod running;

use std::path::Path;

use running::{error_of, pairspeed, project_file, rows};

const CLIP: &str = "demo-clips/salt-flat.avi";
const SETUP: &str = "demo-clips/salt-flat.setup.toml";

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

/// Runs `read --each` with results in `out`.
fn read_each(clips: &[&str], out: &Path, options: &[&str]) -> std::process::Output {
    pairspeed(&[&["read", "--each"], clips, &["--setup", SETUP, "--out", text(out)], options].concat())
}

#[test]
fn flights_are_read_separately_and_a_failed_one_does_not_stop_the_others() {
    let folder = tempfile::tempdir().unwrap();
    let copy = folder.path().join("evening.avi");
    std::fs::copy(project_file(CLIP), &copy).unwrap();
    let broken = folder.path().join("broken.avi");
    std::fs::write(&broken, &std::fs::read(project_file(CLIP)).unwrap()[..400]).unwrap();
    let out = folder.path().join("results");
    let output = read_each(&[text(&copy), text(&broken), CLIP], &out, &["--jobs", "2"]);
    assert_eq!(output.status.code(), Some(1), "{}", error_of(&output));
    let said = error_of(&output);
    assert!(said.contains("broken.avi") && said.contains("1 of 3 clips"), "{said}");
    assert!(!out.join("broken-result").exists());
    let printed = String::from_utf8(output.stdout).unwrap();
    let positions = ["evening.avi", "broken.avi", "salt-flat.avi"].map(|name| printed.find(name).unwrap());
    assert!(positions.is_sorted(), "{printed}");

    let alone = folder.path().join("alone");
    assert!(pairspeed(&["read", CLIP, "--setup", SETUP, "--out", text(&alone)]).status.success());
    let series = |folder: &Path| rows(&folder.join("series.csv"));
    assert_eq!(series(&out.join("evening-result")), series(&alone));
    assert_eq!(series(&out.join("salt-flat-result")), series(&alone));
}

#[test]
fn a_list_is_printed_for_other_programs() {
    let folder = tempfile::tempdir().unwrap();
    let output = read_each(&[CLIP, "demo-clips/none.avi"], folder.path(), &["--json"]);
    assert_eq!(output.status.code(), Some(2), "{}", error_of(&output));
    let list: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert!(list[0]["summary"]["steps"].is_array(), "{list}");
    assert!(list[1]["error"].as_str().unwrap().contains("none.avi"), "{list}");
}

#[test]
fn two_clips_of_one_name_are_not_written_into_one_folder() {
    let folder = tempfile::tempdir().unwrap();
    let copy = folder.path().join("salt-flat.avi");
    std::fs::copy(project_file(CLIP), &copy).unwrap();
    let output = read_each(&[CLIP, text(&copy)], &folder.path().join("out"), &[]);
    assert_eq!(output.status.code(), Some(2));
    assert!(error_of(&output).contains("would both write into"), "{}", error_of(&output));
}

#[test]
fn jobs_need_the_option_each() {
    let output = pairspeed(&["read", CLIP, "--setup", SETUP, "--jobs", "2"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(error_of(&output).contains("--each"), "{}", error_of(&output));
}

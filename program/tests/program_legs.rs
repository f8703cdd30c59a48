//! `read --legs` with a file of edited legs: the terminal shows the same results as the window.
#![allow(clippy::unwrap_used)]

mod running;

use pairspeed::leg_edits::{LegEdit, LegEdits};
use pairspeed::legs::LegKind;
use pairspeed::output::{legs_csv, pairs_csv};
use pairspeed::readings::Silent;
use pairspeed::setup::LoadedSetup;
use pairspeed::{ReadOptions, read_record, work_out};
use running::{error_of, pairspeed, project_file};

const CLIP: &str = "demo-clips/salt-flat.avi";
const SETUP: &str = "demo-clips/salt-flat.setup.toml";

fn read(legs: &str, out: &str) -> std::process::Output {
    pairspeed(&["read", CLIP, "--setup", SETUP, "--legs", legs, "--out", out])
}

#[test]
fn edited_legs_give_the_same_files_as_computing_the_flight_again() {
    let folder = tempfile::tempdir().unwrap();
    let clips = [project_file(CLIP)];
    let setup = LoadedSetup::load(&project_file(SETUP)).unwrap();
    let options = ReadOptions::default();
    let record = read_record(&clips, &setup, options.min_confidence, &mut Silent).unwrap();
    let mut edits = LegEdits::of(&work_out(record.clone(), &options).unwrap());
    let end_s = edits.legs()[0].end_s;
    edits.make(LegEdit::MoveEnd { leg: 1, to_s: end_s - 2.0 }).unwrap();
    edits.make(LegEdit::Mark { leg: 3, kind: LegKind::Unpaired }).unwrap();
    let path = folder.path().join("legs.toml");
    edits.save(&path, &clips).unwrap();
    let edited = ReadOptions { legs: edits.applied_to(&options.legs), ..options };
    let flight = work_out(record, &edited).unwrap();

    let out = folder.path().join("result");
    let output = read(path.to_str().unwrap(), out.to_str().unwrap());
    assert!(output.status.success(), "{}", error_of(&output));
    assert_eq!(std::fs::read(out.join("legs.csv")).unwrap(), legs_csv(&flight).unwrap());
    assert_eq!(std::fs::read(out.join("pairs.csv")).unwrap(), pairs_csv(&flight).unwrap());
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(said.contains("edited by hand (2 edits)"), "{said}");
}

#[test]
fn edited_legs_of_another_recording_are_misuse_and_nothing_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("legs.toml");
    std::fs::write(&path, "recording_s = [0.0, 9.0]\n[[clip]]\nname = \"other.avi\"\nbytes = 12\n").unwrap();
    let out = folder.path().join("result");
    let output = read(path.to_str().unwrap(), out.to_str().unwrap());
    assert_eq!(output.status.code(), Some(2));
    assert!(error_of(&output).contains("belongs to another recording (other.avi)"), "{}", error_of(&output));
    assert!(!out.exists());
}

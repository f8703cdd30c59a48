//! `read` without a setup: the overlay is found, deciphered, named and learned.
#![allow(clippy::unwrap_used)]

mod running;

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use pairspeed::model::channel::Channel;
use pairspeed::setup::LoadedSetup;

const CLIP: &str = "demo-clips/salt-flat.avi";
const SETUP: &str = "demo-clips/salt-flat.setup.toml";

fn read(clip: &Path, more: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_pairspeed")).arg("read").arg(clip).args(more).output().unwrap()
}

/// The demonstration clip alone in a folder.
fn lone_clip() -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let clip = folder.path().join("flight.avi");
    std::fs::copy(Path::new(running::PROJECT).join(CLIP), &clip).unwrap();
    (folder, clip)
}

#[test]
fn a_recording_without_setup_gives_the_readouts_and_the_airspeeds_of_a_manual_setup() {
    let (folder, clip) = lone_clip();
    let output = read(&clip, &["--json"]);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success(), "{said}");
    assert!(said.contains("the overlay was searched"), "{said}");

    let found = LoadedSetup::load(&folder.path().join("flight.setup.toml")).unwrap().setup;
    let by_hand = LoadedSetup::load(&Path::new(running::PROJECT).join(SETUP)).unwrap().setup;
    for region in &by_hand.regions {
        let same = found.region(&region.channel);
        let overlap = same.map_or(0, |found| found.rect.overlap_px(region.rect));
        assert!(2 * overlap > region.rect.area_px(), "{}: {said}", region.channel.name());
        assert_eq!(same.map(|found| found.decimals), Some(region.decimals), "{}", region.channel.name());
    }

    let summary: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let project = Path::new(running::PROJECT);
    let (setup, out) = (project.join(SETUP), folder.path().join("by-hand"));
    let expected = read(
        &project.join(CLIP),
        &["--json", "--setup", setup.to_str().unwrap(), "--out", out.to_str().unwrap()],
    );
    let expected: serde_json::Value = serde_json::from_slice(&expected.stdout).unwrap();
    let (found, expected) = (summary["steps"].as_array().unwrap(), expected["steps"].as_array().unwrap());
    assert_eq!(found.len(), expected.len());
    for (found, expected) in found.iter().zip(expected) {
        let (found, expected) = (&found["airspeed"], &expected["airspeed"]);
        assert!(
            found.is_number() && (found.as_f64().unwrap() - expected.as_f64().unwrap()).abs() < 0.5,
            "{found} {expected}"
        );
    }
}

#[test]
fn a_pilot_who_is_asked_and_agrees_gets_the_airspeeds() {
    let (folder, clip) = lone_clip();
    let mut program = Command::new(env!("CARGO_BIN_EXE_pairspeed"))
        .args(["read", "--ask"])
        .arg(&clip)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // More lines than there can be questions.
    program.stdin.take().unwrap().write_all(&[b'\n'; 40]).unwrap();
    let output = program.wait_with_output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success(), "{said}");
    assert!(!said.contains("not certain"), "all questions are answered: {said}");
    let found = LoadedSetup::load(&folder.path().join("flight.setup.toml")).unwrap();
    assert!(found.setup.region(&Channel::Speed).is_some());
}

#[test]
fn the_setup_of_an_earlier_recording_in_the_folder_is_used_again() {
    let (folder, clip) = lone_clip();
    assert!(read(&clip, &[]).status.success());
    let later = folder.path().join("later.avi");
    std::fs::copy(&clip, &later).unwrap();
    let output = read(&later, &[]);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success(), "{said}");
    assert!(said.contains("flight.setup.toml (it fits this recording)"), "{said}");
    assert!(!folder.path().join("later.setup.toml").exists());
}

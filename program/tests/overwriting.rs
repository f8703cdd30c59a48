//! Files that the program must not overwrite: its own inputs, recordings, and files that it did not make.
#![allow(clippy::unwrap_used)]

mod running;

use std::fs;
use std::path::{Path, PathBuf};

use running::{error_of, pairspeed, project_file};
use tempfile::TempDir;

const CLIP: &str = "demo-clips/salt-flat.avi";
const SETUP: &str = "demo-clips/salt-flat.setup.toml";

/// A folder of a pilot, with a copy of the recording.
struct Home {
    folder: TempDir,
    clip: PathBuf,
}

impl Home {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let clip = folder.path().join("flight.avi");
        fs::copy(project_file(CLIP), &clip).unwrap();
        Self { folder, clip }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Writes a file that the program did not make.
    fn own_file(&self, name: &str, text: &str) -> PathBuf {
        let path = self.path(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(&path, text).unwrap();
        path
    }
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

/// Runs the program, which must refuse with exit code 2 and leave a file as it is. Returns the message.
fn refused(arguments: &[&str], kept: &Path) -> String {
    let before = fs::read(kept).unwrap();
    let output = pairspeed(arguments);
    let message = error_of(&output);
    assert_eq!(output.status.code(), Some(2), "{arguments:?}: {message}");
    assert_eq!(fs::read(kept).unwrap(), before, "{arguments:?} changed {}", kept.display());
    message
}

#[test]
fn the_image_of_inspect_does_not_replace_the_recording_even_if_forced() {
    let home = Home::new();
    let clip = text(&home.clip);
    for arguments in [
        &["inspect", clip, "--at", "1", "--picture", clip][..],
        &["inspect", clip, "--at", "1", "--picture", clip, "--force"],
    ] {
        let message = refused(arguments, &home.clip);
        assert!(message.contains("input of this command"), "{message}");
    }
    let other = home.path("other.avi");
    fs::copy(&home.clip, &other).unwrap();
    let message = refused(&["inspect", clip, "--at", "1", "--picture", text(&other), "--force"], &other);
    assert!(message.contains("recordings are never replaced"), "{message}");
}

#[test]
fn the_image_of_inspect_replaces_a_file_of_the_pilot_only_if_forced() {
    let home = Home::new();
    let picture = home.own_file("holiday.png", "a photo");
    let arguments = ["inspect", text(&home.clip), "--at", "1", "--picture", text(&picture)];
    let message = refused(&arguments, &picture);
    assert!(message.contains("was not made by this program") && message.contains("--force"), "{message}");
    let forced = [&arguments[..], &["--force"]].concat();
    assert!(pairspeed(&forced).status.success());
    // The program made the file now, so it may replace it.
    let output = pairspeed(&arguments);
    assert!(output.status.success(), "{}", error_of(&output));
}

#[cfg(unix)]
#[test]
fn a_link_to_an_input_is_recognised() {
    let home = Home::new();
    let link = home.path("link.png");
    std::os::unix::fs::symlink(&home.clip, &link).unwrap();
    refused(&["inspect", text(&home.clip), "--at", "1", "--picture", text(&link), "--force"], &link);
    let setup = home.path("setup.toml");
    fs::copy(project_file(SETUP), &setup).unwrap();
    let dotted = home.path("./setup.toml");
    refused(
        &[
            "inspect",
            text(&home.clip),
            "--setup",
            text(&setup),
            "--at",
            "1",
            "--picture",
            text(&dotted),
            "--force",
        ],
        &setup,
    );
}

#[test]
fn a_new_setup_replaces_neither_the_clip_nor_its_own_image_nor_a_photo() {
    let home = Home::new();
    let clip = text(&home.clip);
    let message = refused(&["setup", clip, "--out", clip, "--force"], &home.clip);
    assert!(message.contains("input of this command"), "{message}");

    let photo = home.own_file("nose.png", "a photo");
    let setup = home.path("nose.toml");
    let message = refused(&["setup", clip, "--out", text(&setup)], &photo);
    assert!(message.contains("nose.png") && message.contains("was not made by this program"), "{message}");
    assert!(!setup.exists());

    let message = refused(&["setup", clip, "--out", text(&home.path("x.png"))], &home.clip);
    assert!(message.contains("x.png") && message.contains(".toml"), "{message}");
    assert!(!home.path("x.png").exists());
}

#[test]
fn glyphs_are_not_written_into_a_folder_of_other_files() {
    let home = Home::new();
    let photo = home.own_file("photos/label-next-1.png", "a photo");
    let setup_text = fs::read_to_string(project_file(SETUP)).unwrap();
    let setup = home
        .own_file("cameras/nose.toml", &setup_text.replace("[camera]", "[camera]\nglyphs = \"../photos\""));
    let message = refused(&["teach", CLIP, "--setup", text(&setup), "--say", "speed@30=63"], &photo);
    assert!(message.contains("photos") && message.contains("no glyph set"), "{message}");
    assert_eq!(fs::read_dir(home.path("photos")).unwrap().count(), 1);
}

#[test]
fn results_do_not_replace_the_legs_they_are_computed_from() {
    let home = Home::new();
    let legs = home.own_file("result/legs.csv", "start_s,end_s,kind,throttle_percent\n1,9,leg,60\n");
    let out = home.path("result");
    let arguments = ["read", CLIP, "--setup", SETUP, "--legs", text(&legs), "--out", text(&out), "--force"];
    let message = refused(&arguments, &legs);
    assert!(message.contains("legs.csv") && message.contains("input of this command"), "{message}");
}

#[test]
fn a_page_does_not_replace_the_summary_it_is_made_from() {
    let home = Home::new();
    let (one, two) = (home.path("one"), home.path("two"));
    let output = pairspeed(&["demo", "--out", text(&one)]);
    assert!(output.status.success(), "{}", error_of(&output));
    let summary = one.join("summary.json");
    home.own_file("two/summary.json", &fs::read_to_string(&summary).unwrap());
    let page = home.path("one/../one/summary.json");
    let message = refused(&["compare", text(&one), text(&two), "--out", text(&page), "--force"], &summary);
    assert!(message.contains("input of this command"), "{message}");
    refused(
        &["plan", "--from", text(&one), "--within", "2 km/h", "--out", text(&summary), "--force"],
        &summary,
    );
}

#[test]
fn a_page_is_not_written_to_a_device() {
    let message = refused(
        &["plan", "--top-speed", "90 km/h", "--wind", "8 km/h", "--out", "/dev/null", "--force"],
        &project_file("README.md"),
    );
    assert!(!cfg!(unix) || message.contains("a device or a pipe"), "{message}");
}

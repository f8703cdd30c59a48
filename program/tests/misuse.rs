//! Error messages for files and options that cannot be used: they name the file, the line or option, and the
//! fix.
#![allow(clippy::unwrap_used)]

mod running;

use std::path::Path;
use std::process::Command;

const CLIP: &str = "demo-clips/salt-flat.avi";
const GOOD: &str = r#"[camera]
name = "nose"
frame = [640, 480]
# No glyphs are taught yet.

[[region]]
channel = "speed"
box = [62, 210, 66, 37]
unit = "km/h"
"#;

/// Exit code and standard error.
fn pairspeed(arguments: &[&str]) -> (i32, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_pairspeed"))
        .args(arguments)
        .current_dir(running::PROJECT)
        .output()
        .unwrap();
    (output.status.code().unwrap(), String::from_utf8_lossy(&output.stderr).into_owned())
}

#[track_caller]
fn assert_misuse((code, message): (i32, String), parts: &[&str]) {
    assert_eq!(code, 2, "{message}");
    for part in parts {
        assert!(message.contains(part), "\"{part}\" is missing: {message}");
    }
}

/// Asserts that `read` refuses a changed setup before it writes any result.
#[track_caller]
fn assert_setup_refused(from: &str, to: &str, parts: &[&str]) {
    assert!(GOOD.contains(from));
    let folder = tempfile::tempdir().unwrap();
    let setup = folder.path().join("nose.toml");
    std::fs::write(&setup, GOOD.replacen(from, to, 1)).unwrap();
    let out = folder.path().join("result");
    let said = pairspeed(&["read", CLIP, "--setup", text(&setup), "--out", text(&out)]);
    assert_misuse(said, &[&["nose.toml"], parts].concat());
    assert!(!out.exists());
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

/// Asserts that `teach` with a good setup and further options is refused before it writes any glyphs.
#[track_caller]
fn assert_teach_refused(options: &[&str], parts: &[&str]) {
    let folder = tempfile::tempdir().unwrap();
    let setup = folder.path().join("nose.toml");
    std::fs::write(&setup, GOOD).unwrap();
    let said = pairspeed(&[&["teach", CLIP, "--setup", text(&setup)], options].concat());
    assert_misuse(said, parts);
    assert!(!folder.path().join("nose-glyphs").exists());
}

#[test]
fn a_setup_for_another_frame_size_names_both_sizes() {
    assert_setup_refused("[640, 480]", "[720, 576]", &["720 x 576", "640 x 480", "pairspeed setup"]);
}

#[test]
fn a_box_outside_the_frame_names_line_region_and_limit() {
    assert_setup_refused("[62, 210,", "[600, 210,", &["line 8", "region 1 (speed)", "at most 640"]);
}

#[test]
fn an_unknown_key_names_the_one_meant() {
    assert_setup_refused("unit =", "unti =", &["line 9", "unti", "did you mean `unit`"]);
}

#[test]
fn an_unknown_unit_lists_the_known_ones() {
    assert_setup_refused("km/h", "furlongs", &["line 9", "furlongs", "km/h", "mph"]);
}

#[test]
fn a_setup_without_speed_says_what_to_add() {
    assert_setup_refused(
        "channel = \"speed\"\nbox = [62, 210, 66, 37]\nunit = \"km/h\"",
        "channel = \"voltage\"\nbox = [62, 210, 66, 37]\nunit = \"V\"",
        &["channel = \"speed\""],
    );
}

#[test]
fn a_line_that_is_not_toml_is_named() {
    assert_setup_refused("frame = [640, 480]", "frame = [640, 480", &["line", "fix this line"]);
}

#[test]
fn a_missing_setup_file_names_the_command_that_writes_one() {
    assert_misuse(
        pairspeed(&["read", CLIP, "--setup", "no-such.toml"]),
        &["no-such.toml", "pairspeed setup"],
    );
}

#[test]
fn a_missing_clip_is_misuse_for_every_command() {
    for command in [&["setup", "no-such.avi"][..], &["inspect", "no-such.avi"]] {
        assert_misuse(pairspeed(command), &["no-such.avi"]);
    }
}

#[test]
fn a_file_that_is_not_a_video_is_a_failed_read() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("x.toml");
    let (code, message) = pairspeed(&["setup", "README.md", "--out", text(&out)]);
    assert_eq!(code, 1, "{message}");
    assert!(message.contains("README.md"), "{message}");
    assert!(!out.exists());
}

#[test]
fn a_label_of_another_form_is_refused_with_an_example() {
    for say in ["speed", "speed@x=63", "speed@-1=63", "@1=63", "speed@1="] {
        assert_teach_refused(&["--say", say], &[say, "speed@12.4=63"]);
    }
}

#[test]
fn a_character_that_no_number_has_is_named() {
    assert_teach_refused(&["--say", "speed@12.4=63km/h"], &["63km/h", "'k'", "leave out units"]);
}

#[test]
fn a_moment_beyond_the_end_names_the_end() {
    assert_teach_refused(&["--say", "speed@99999=63"], &["speed@99999=63", "salt-flat.avi", "ends at"]);
}

#[test]
fn a_channel_without_region_is_refused_with_the_marked_channels() {
    assert_teach_refused(
        &["--say", "hight@4=63"],
        &["hight@4=63", "none of the labels", "the channels that it has: speed"],
    );
}

#[test]
fn no_label_is_refused_with_an_example() {
    assert_teach_refused(&[], &["speed@12.4=63"]);
}

#[test]
fn a_label_that_does_not_exist_cannot_be_removed() {
    assert_teach_refused(&["--forget", "speed@4"], &["speed@4", "labels.toml"]);
}

#[test]
fn a_missing_glyph_folder_that_is_named_is_an_error() {
    assert_setup_refused(
        "[640, 480]\n",
        "[640, 480]\nglyphs = \"nowhere\"\n",
        &["glyph folder", "nowhere", "that the setup names does not exist", "pairspeed teach"],
    );
}

#[test]
fn clips_of_different_sizes_are_misuse() {
    let digital = "demo-clips/salt-flat-digital.mp4";
    let setup = "demo-clips/salt-flat.setup.toml";
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("result");
    let said = pairspeed(&["read", CLIP, digital, "--setup", setup, "--out", text(&out)]);
    assert_misuse(said, &["640 x 480", "salt-flat-digital.mp4", "read these clips as separate flights"]);
    assert!(!out.exists());
}

#[test]
fn a_clip_given_twice_is_misuse() {
    let setup = "demo-clips/salt-flat.setup.toml";
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("result");
    let said = pairspeed(&["read", CLIP, CLIP, "--setup", setup, "--out", text(&out)]);
    assert_misuse(said, &["salt-flat.avi: this clip is given twice"]);
}

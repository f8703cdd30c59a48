//! The exit codes of the program, for scripts: 0 success, 1 reading or printing failed, 2 wrong usage.
#![allow(clippy::unwrap_used)]

mod running;

use std::path::Path;
use std::process::{Command, Output, Stdio};

const CLIP: &str = "demo-clips/salt-flat.avi";
const SETUP: &str = "demo-clips/salt-flat.setup.toml";

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

fn run(arguments: &[&str], output: impl Into<Stdio>) -> Output {
    Command::new(env!("CARGO_BIN_EXE_pairspeed"))
        .args(arguments)
        .current_dir(running::PROJECT)
        .stdout(output)
        .output()
        .unwrap()
}

fn pairspeed(arguments: &[&str]) -> Output {
    run(arguments, Stdio::piped())
}

fn error_of(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

#[track_caller]
fn assert_misuse(arguments: &[&str], parts: &[&str]) {
    let output = pairspeed(arguments);
    let said = error_of(&output);
    assert_eq!(output.status.code(), Some(2), "{arguments:?}: {said}");
    assert!(said.starts_with("pairspeed: "), "{said}");
    for part in parts {
        assert!(said.contains(part), "{arguments:?}: \"{part}\" is missing: {said}");
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_result_that_cannot_be_printed_is_a_failure_but_a_closed_pipe_is_not() {
    let folder = tempfile::tempdir().unwrap();
    let picture = folder.path().join("p.png");
    let result = folder.path().join("result");
    let read = ["read", CLIP, "--setup", SETUP, "--json", "--out", text(&result)];
    let compare = ["compare", text(&result), text(&result), "--json"];
    let inspect = ["inspect", CLIP, "--json", "--picture", text(&picture)];
    let plan = ["plan", "--top-speed", "90", "--wind", "3", "--json"];
    for arguments in [&read[..], &compare, &inspect, &plan, &plan[..5]] {
        let full = std::fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
        let output = run(arguments, full);
        let said = error_of(&output);
        assert_eq!(output.status.code(), Some(1), "{arguments:?}: {said}");
        assert_eq!(
            said.lines().last().unwrap(),
            "pairspeed: the result could not be printed in full: no space left"
        );
    }
    assert!(result.join("report.html").is_file(), "the results are written all the same");
    let (reader, writer) = std::io::pipe().unwrap();
    drop(reader);
    let output = run(&plan, writer);
    assert_eq!((output.status.code(), error_of(&output).as_str()), (Some(0), ""));
}

#[test]
fn an_output_path_that_cannot_be_written_is_misuse_for_every_command() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("taken"), "mine").unwrap();
    let under = folder.path().join("taken/x");
    let under = text(&under);
    assert_misuse(&["read", CLIP, "--setup", SETUP, "--out", under], &[under]);
    assert_misuse(&["demo", "--out", under], &[under]);
    assert_misuse(&["inspect", CLIP, "--picture", under], &[under]);
    assert_misuse(&["plan", "--top-speed", "90", "--wind", "3", "--out", under], &[under]);
    assert_misuse(
        &["setup", CLIP, "--out", text(&folder.path().join("none/x.toml"))],
        &["there is no such folder"],
    );
}

#[test]
fn invalid_numbers_are_refused_with_the_option_and_the_programs_name() {
    let read = |option: &'static str, value: &'static str| ["read", CLIP, "--setup", SETUP, option, value];
    assert_misuse(&read("--throttle", "a"), &["--throttle", "not a number"]);
    assert_misuse(&read("--throttle", "60,120"), &["--throttle 120: ", "0 and 100 per cent"]);
    assert_misuse(&read("--course", "999"), &["--course", "0 to 360"]);
    assert_misuse(&read("--wind", "4@400"), &["--wind 4@400", "0 to 360 degrees"]);
    assert_misuse(&read("--wind", "90m/s@262"), &["0 to 60 m/s"]);
    assert_misuse(&["inspect", CLIP, "--at", "1:30"], &["--at", "write 90"]);
    assert_misuse(&["inspect", CLIP, "--at", "2,5"], &["--at", "write 2.5"]);
    assert_misuse(
        &["plan", "--top-speed", "90", "--wind", "3", "--minutes", "-3"],
        &["--minutes -3: ", "above 0"],
    );
    assert_misuse(
        &["plan", "--top-speed", "80 parsec", "--wind", "3"],
        &["--top-speed 80 parsec: unknown unit", "km/h"],
    );
}

#[test]
fn a_moment_outside_the_clip_is_not_inspected() {
    for at in ["500", "-5", "nan", "inf"] {
        let folder = tempfile::tempdir().unwrap();
        let picture = folder.path().join("p.png");
        assert_misuse(&["inspect", CLIP, "--at", at, "--picture", text(&picture)], &["--at", at]);
        assert!(!picture.exists());
    }
}

#[test]
fn a_list_of_throttles_beside_a_file_with_throttles_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let legs = folder.path().join("legs.csv");
    std::fs::write(&legs, "start_s,end_s,kind,throttle_percent\n1,9,leg,60\n").unwrap();
    assert_misuse(
        &["read", CLIP, "--setup", SETUP, "--legs", text(&legs), "--throttle", "60,80"],
        &["--throttle", "legs.csv already has the throttle of its legs"],
    );
}

#[test]
fn the_demonstration_replaces_no_other_results() {
    let folder = tempfile::tempdir().unwrap();
    let clip = folder.path().join("salt-flat.mp4");
    std::fs::write(folder.path().join("summary.json"), r#"{"clips":[{"file":"mine.avi"}]}"#).unwrap();
    assert_misuse(&["demo", "--out", text(folder.path())], &["--force"]);
    assert!(!clip.exists());

    let earlier = format!(r#"{{"clips":[{{"file":"{}"}}]}}"#, clip.display());
    std::fs::write(folder.path().join("summary.json"), earlier).unwrap();
    let output = pairspeed(&["demo", "--out", text(folder.path())]);
    assert!(output.status.success(), "{}", error_of(&output));
    assert!(folder.path().join("report.html").is_file());
}

#[test]
fn the_demonstration_replaces_no_other_clip() {
    let folder = tempfile::tempdir().unwrap();
    let clip = folder.path().join("salt-flat.mp4");
    std::fs::write(&clip, "mine").unwrap();
    let refused = ["demo", "--force", "--out", text(folder.path())];
    assert_misuse(&refused, &["salt-flat.mp4", "it is a recording", "--out"]);
    assert_eq!(std::fs::read_to_string(&clip).unwrap(), "mine");
}

#[test]
fn warnings_about_a_setup_come_before_the_reading() {
    let folder = tempfile::tempdir().unwrap();
    let setup = folder.path().join("wing.toml");
    let good = std::fs::read_to_string(running::project_file(SETUP)).unwrap();
    let bare = good.replace("unit = \"km/h\"\n", "").replace("\"satellites\"", "\"satelites\"");
    assert!(good.contains("km/h") && !bare.contains("unit = \"km/h\""));
    std::fs::write(&setup, bare).unwrap();
    // The clip does not exist: this is checked before the options that concern its reading.
    let output = pairspeed(&["read", "no-such.avi", "--setup", text(&setup)]);
    let said = error_of(&output);
    assert!(said.contains("the speed has no unit") && said.contains("unit = \"mph\" or unit ="), "{said}");
    assert!(said.contains("satelites") && said.contains("channel = \"satellites\""), "{said}");
}

#[test]
fn the_help_lists_the_exit_codes() {
    let output = pairspeed(&["--help"]);
    let help = String::from_utf8(output.stdout).unwrap();
    assert!(output.status.success() && help.contains("Exit codes"), "{help}");
    let lines: Vec<&str> = help.lines().map(str::trim_start).collect();
    for start in ["0  success", "1  ", "2  wrong usage"] {
        assert!(lines.iter().any(|line| line.starts_with(start)), "{start}: {help}");
    }
}

#[test]
fn printed_commands_can_be_entered_unchanged() {
    let folder = tempfile::tempdir().unwrap();
    let clip = folder.path().join("last flight.avi");
    std::fs::copy(running::project_file(CLIP), &clip).unwrap();
    let output = pairspeed(&["setup", text(&clip)]);
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    let quoted = format!(
        "pairspeed inspect '{}' --setup '{}'",
        clip.display(),
        text(&clip.with_extension("setup.toml"))
    );
    assert!(said.contains(&quoted), "{said}");
    // The image of each inspected time has a file name of its own.
    for at in ["3", "12.5"] {
        assert!(pairspeed(&["inspect", text(&clip), "--at", at]).status.success());
        assert!(clip.with_extension(format!("inspect-{at}s.png")).is_file());
    }
}

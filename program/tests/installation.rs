//! Tests what an installed program reports about itself and the computer.
#![allow(clippy::unwrap_used)]

mod running;

use std::process::Command;

use running::{error_of, pairspeed};

/// The lines that the program prints.
fn lines(arguments: &[&str]) -> Vec<String> {
    let output = pairspeed(arguments);
    assert!(output.status.success(), "{}", error_of(&output));
    String::from_utf8(output.stdout).unwrap().lines().map(str::to_owned).collect()
}

#[test]
fn the_version_names_the_commit_the_ffmpeg_release_and_the_features() {
    let short = format!("pairspeed {}", env!("CARGO_PKG_VERSION"));
    assert_eq!(lines(&["-V"]), [short.as_str()]);
    let said = lines(&["--version"]);
    assert_eq!((said.len(), said[0].as_str()), (4, short.as_str()), "{said:?}");
    let commit = said[1].strip_prefix("commit ").unwrap();
    // Not the latest commit: there may be a new one since the program was built.
    let object = format!("{commit}^{{commit}}");
    let known = Command::new("git").args(["cat-file", "-e", &object]).current_dir(running::PROJECT).status();
    match known {
        Ok(known) if running::project_file(".git").exists() => assert!(known.success(), "{commit}"),
        // Without git, or outside a checkout, the program is built without the commit.
        _ => assert_eq!(commit, "unknown"),
    }
    let release = said[2].strip_prefix("FFmpeg ").unwrap();
    assert!(!release.is_empty(), "{said:?}");
    let window = if cfg!(feature = "window") { "window" } else { "none" };
    assert!(said[3].starts_with(&format!("features: {window}")), "{said:?}");
}

#[test]
fn a_complete_computer_passes_every_check() {
    let said = lines(&["health"]);
    assert!(said.len() <= 24 && said.iter().all(|line| line.chars().count() <= 250), "{said:?}");
    for subject in ["Recordings", "Results"] {
        assert!(said.iter().any(|line| line.starts_with("ok") && line.contains(subject)), "{said:?}");
    }
}

#[test]
fn a_folder_that_cannot_take_results_is_named_and_the_exit_code_is_1() {
    let output = pairspeed(&["health", "no/such/folder"]);
    assert_eq!(output.status.code(), Some(1));
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    let line = said.lines().find(|line| line.starts_with("MISSING")).unwrap();
    assert!(line.contains("no/such/folder") && line.contains("--out"), "{said}");
    assert!(error_of(&output).contains("one thing is missing"), "{}", error_of(&output));
}

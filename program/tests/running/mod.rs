//! Runs the program in the way that a pilot does, in the project's folder.
#![allow(dead_code)]

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// The project's folder.
pub const PROJECT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/..");

/// Path of a file of the project, given relative to the project's folder.
pub fn project_file(path: &str) -> PathBuf {
    Path::new(PROJECT).join(path)
}

/// Runs the program and waits for its end.
pub fn pairspeed(arguments: &[&str]) -> Output {
    in_folder(Path::new(PROJECT), arguments)
}

/// Runs the program in another folder and waits for its end.
pub fn in_folder(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_pairspeed")).args(arguments).current_dir(folder).output().unwrap()
}

/// The text that the program wrote to standard error.
pub fn error_of(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// Whether this system can confine threads. If it cannot, says so in the output of the test.
pub fn can_confine() -> bool {
    let available = pairspeed::confinement::Confinement::check_available();
    available.inspect_err(|reason| eprintln!("not tested: {reason}")).is_ok()
}

/// Rows of a CSV file as maps from column name to cell.
pub fn rows(path: &Path) -> Vec<HashMap<String, String>> {
    csv::Reader::from_path(path).unwrap().deserialize().map(Result::unwrap).collect()
}

//! The program run as a pilot runs it, in the project's folder.
#![allow(dead_code)]

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// The project's folder.
pub const PROJECT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/..");

/// A file of the project, by its path in the project's folder.
pub fn project_file(path: &str) -> PathBuf {
    Path::new(PROJECT).join(path)
}

/// Runs the program to its end.
pub fn pairspeed(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_pairspeed")).args(arguments).current_dir(PROJECT).output().unwrap()
}

/// What it wrote to its error output.
pub fn error_of(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// Rows of a CSV file by column name.
pub fn rows(path: &Path) -> Vec<HashMap<String, String>> {
    csv::Reader::from_path(path).unwrap().deserialize().map(Result::unwrap).collect()
}

//! Makes clips with the `ffmpeg` program while the tests run.

use std::path::Path;
use std::process::{Command, Stdio};

/// Runs `ffmpeg` with these arguments and returns its standard output.
pub fn ffmpeg(arguments: &[&str]) -> Vec<u8> {
    run("ffmpeg", &[&["-nostdin", "-v", "error", "-y"], arguments].concat())
}

/// Runs `ffprobe` with these arguments and returns its standard output.
pub fn ffprobe(arguments: &[&str]) -> Vec<u8> {
    run("ffprobe", &[&["-v", "error"], arguments].concat())
}

fn run(program: &str, arguments: &[&str]) -> Vec<u8> {
    let output = Command::new(program)
        .args(arguments)
        .stdin(Stdio::null())
        .output()
        .expect("the ffmpeg package is needed for this test");
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{program} {arguments:?}: {said}");
    output.stdout
}

/// A folder for the files of one test, removed at the end of the test.
pub fn folder() -> tempfile::TempDir {
    tempfile::tempdir().expect("a temporary folder can be made")
}

/// A path as an argument for a program.
pub fn text(path: &Path) -> &str {
    path.to_str().expect("temporary paths are text")
}

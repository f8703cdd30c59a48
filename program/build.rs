//! Passes the commit to the program, for `pairspeed --version`. Without git, or outside a checkout of the project, the program
//! is built without it.

use std::path::{Path, PathBuf};
use std::process::Command;

/// What git prints for the project's checkout, without the line feed; `None` if it fails.
fn git(project: &Path, arguments: &[&str]) -> Option<String> {
    let output = Command::new("git").arg("-C").arg(project).args(arguments).output().ok()?;
    let text = String::from_utf8(output.stdout).ok()?;
    output.status.success().then(|| text.trim_end().to_owned())
}

/// Whether the folder is the top of a checkout, not an unpacked archive inside another one.
fn is_checkout(project: &Path) -> bool {
    let top = git(project, &["rev-parse", "--show-toplevel"]).map(PathBuf::from);
    top.and_then(|top| top.canonicalize().ok())
        .is_some_and(|top| project.canonicalize().is_ok_and(|it| it == top))
}

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
    let project = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    if !is_checkout(&project) {
        return;
    }
    // The log gets a line with every change of the commit that is checked out.
    let log = git(&project, &["rev-parse", "--git-path", "logs/HEAD"]).map(|log| project.join(log));
    if let Some(log) = log.filter(|log| log.is_file()) {
        println!("cargo::rerun-if-changed={}", log.display());
    }
    if let Some(commit) = git(&project, &["rev-parse", "--short=12", "HEAD"]) {
        println!("cargo::rustc-env=PAIRSPEED_COMMIT={commit}");
    }
}

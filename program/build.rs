//! Passes the commit to the program, for `pairspeed --version`. Without git, or outside a checkout of the project, the program
//! is built without it. Puts icon, version and manifest into the programs for Windows.

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

/// Passes the commit to the compiler as `PAIRSPEED_COMMIT`.
fn name_commit(project: &Path) {
    if !is_checkout(project) {
        return;
    }
    // The log gets a line with every change of the commit that is checked out.
    let log = git(project, &["rev-parse", "--git-path", "logs/HEAD"]).map(|log| project.join(log));
    if let Some(log) = log.filter(|log| log.is_file()) {
        println!("cargo::rerun-if-changed={}", log.display());
    }
    if let Some(commit) = git(project, &["rev-parse", "--short=12", "HEAD"]) {
        println!("cargo::rustc-env=PAIRSPEED_COMMIT={commit}");
    }
}

/// Links icon, version and manifest. Without the manifest, Windows permits no path longer than 260 characters.
#[cfg(feature = "launcher")]
fn add_windows_resources(packaging: &Path) -> std::io::Result<()> {
    if std::env::var_os("CARGO_CFG_TARGET_OS").is_none_or(|system| system != "windows") {
        return Ok(());
    }
    let [icon, manifest] = ["pairspeed.ico", "pairspeed.manifest"].map(|name| packaging.join(name));
    println!("cargo::rerun-if-changed={}", icon.display());
    println!("cargo::rerun-if-changed={}", manifest.display());
    let mut resources = winresource::WindowsResource::new();
    resources.set("ProductName", "pairspeed").set("FileDescription", "pairspeed");
    let version = std::env::var("CARGO_PKG_VERSION").unwrap_or_default();
    resources.set("ProductVersion", &version).set("FileVersion", &version);
    // English (United States). Source: Microsoft, "Language Identifier Constants and Strings".
    resources.set_language(0x0409);
    resources.set_icon(&icon.to_string_lossy()).set_manifest_file(&manifest.to_string_lossy()).compile()
}

fn main() -> std::io::Result<()> {
    println!("cargo::rerun-if-changed=build.rs");
    let project = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    name_commit(&project);
    #[cfg(feature = "launcher")]
    add_windows_resources(&project.join("packaging"))?;
    Ok(())
}

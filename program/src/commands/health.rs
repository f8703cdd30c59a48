//! `health`: checks whether this computer has all that the program needs.

use std::fs::OpenOptions;
use std::io;
use std::path::{Path, PathBuf};

use clap::Args;
use pairspeed::files::write_error_in_words;
use pairspeed::footage::VideoLibrary;

use super::Failure;
use crate::version;

/// The exit codes of this command.
const EXIT_CODES: &str = "Exit codes
  0  flights can be read and results written; the window may still be missing
  1  something that every command needs is missing
  2  wrong usage";

#[derive(Debug, Args)]
#[command(after_help = EXIT_CODES)]
pub struct HealthArguments {
    /// Folder in which you want results
    #[arg(value_name = "DIR", default_value = ".")]
    folder: PathBuf,
}

/// What a check found missing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Missing {
    /// Nothing is missing.
    Nothing,
    /// Something is missing that only the window needs.
    OnlyForWindow,
    /// Something is missing that every command needs.
    Needed,
}

/// The result of one check.
#[derive(Debug)]
struct Check {
    subject: &'static str,
    missing: Missing,
    /// The finding, and what to do if something is missing.
    found: String,
}

impl Check {
    fn in_words(&self) -> String {
        let outcome = match self.missing {
            Missing::Nothing => "ok",
            Missing::OnlyForWindow => "no",
            Missing::Needed => "MISSING",
        };
        format!("{outcome:<8}{:<12}{}", self.subject, self.found)
    }
}

pub fn run(arguments: &HealthArguments) -> Result<(), Failure> {
    print_line!("pairspeed {}", version::TEXT.replace('\n', ", "));
    print_line!();
    // Printed one by one: the system may take long to answer a check.
    let printed = |check: Check| {
        print_line!("{}", check.in_words());
        check
    };
    let checks = [
        printed(recordings(&VideoLibrary::in_use())),
        printed(results(&arguments.folder)),
        printed(window()),
    ];
    match checks.iter().filter(|check| check.missing == Missing::Needed).count() {
        0 => Ok(()),
        1 => Err(Failure::failed("one thing is missing; see above")),
        count => Err(Failure::Failed(format!("{count} things are missing; see above"))),
    }
}

/// Checks that the video libraries can read the usual recordings.
fn recordings(library: &VideoLibrary) -> Check {
    let (missing, found) = if library.lacks.is_empty() {
        (Missing::Nothing, library.reads.join(", "))
    } else {
        let found = format!(
            "{} cannot be read: install an FFmpeg with decoders for them, or use the portable pairspeed, which brings its own FFmpeg",
            library.lacks.join(", ")
        );
        (Missing::Needed, found)
    };
    Check { subject: "Recordings", missing, found }
}

/// Checks that files can be written in a folder.
fn results(folder: &Path) -> Check {
    let shown = std::path::absolute(folder).unwrap_or_else(|_| folder.to_owned());
    let (missing, found) = match can_write(folder) {
        Ok(()) => (Missing::Nothing, format!("files can be written in {}", shown.display())),
        Err(error) => {
            let reason = write_error_in_words(error);
            let found = format!(
                "no files can be written in {}: {reason}; give `read` another folder with --out",
                shown.display()
            );
            (Missing::Needed, found)
        }
    };
    Check { subject: "Results", missing, found }
}

/// Creates a file in the folder and removes it again.
fn can_write(folder: &Path) -> io::Result<()> {
    let path = folder.join(format!(".pairspeed-health-{}", std::process::id()));
    drop(OpenOptions::new().write(true).create_new(true).open(&path)?);
    std::fs::remove_file(&path)
}

/// Checks that the window can be opened.
#[cfg(feature = "window")]
fn window() -> Check {
    let (missing, found) = match pairspeed_window::try_display() {
        Ok(()) => (Missing::Nothing, "the window can be opened".to_owned()),
        Err(error) => {
            (Missing::OnlyForWindow, format!("{}; all commands work without the window", error.reason()))
        }
    };
    Check { subject: "Window", missing, found }
}

/// Reports that this program was built without the graphical window.
#[cfg(not(feature = "window"))]
fn window() -> Check {
    let found = "this program was built without the window; all commands work without it".to_owned();
    Check { subject: "Window", missing: Missing::OnlyForWindow, found }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn a_codec_that_is_not_read_is_named() {
        let library = VideoLibrary {
            release: "5.1".to_owned(),
            reads: vec!["Motion JPEG", "AVI"],
            lacks: vec!["HEVC", "Matroska"],
        };
        let check = recordings(&library);
        assert_eq!(check.missing, Missing::Needed);
        assert!(check.found.starts_with("HEVC, Matroska cannot be read: install"), "{check:?}");
    }

    #[test]
    fn the_check_of_a_folder_leaves_nothing_behind() {
        let folder = tempfile::tempdir().unwrap();
        assert_eq!(results(folder.path()).missing, Missing::Nothing);
        assert_eq!(folder.path().read_dir().unwrap().count(), 0);
        let none = results(&folder.path().join("none"));
        assert_eq!(none.missing, Missing::Needed);
        assert!(none.found.contains("there is no such folder"), "{none:?}");
    }
}

//! Decides which files the program may write to. Every file is checked here before it is written, replaced or removed.
//!
//! - An input file is never written to, whichever name, link or path is given for it.
//! - A recording is never replaced.
//! - A file that the program did not make is replaced only on request.

use std::fs;
use std::io::{self, Read as _};
use std::path::{Path, PathBuf};

use thiserror::Error;

use super::recording_head::is_recording;

/// What to do if the file to be written exists already.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Existing {
    /// Keep the existing file and fail with [`io::ErrorKind::AlreadyExists`].
    Keep,
    /// Replace the existing file if the program made it; keep any other.
    ReplaceOwn,
    /// Replace the existing file.
    Replace,
}

/// Kind of an output file. It decides how a file that the program made is recognised.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OutputKind {
    /// A setup, a page or a result. The pilot may have edited it, so it is never replaced as if only the program
    /// had written it.
    Document,
    /// A PNG image. The program recognises its own images by the software that their metadata name.
    Picture,
}

/// Keyword of the PNG text chunk that names the software, and its text. Source: PNG specification, third edition, 11.3.3.2.
pub(crate) const PNG_SOFTWARE: (&str, &str) = ("Software", "pairspeed");
/// Number of bytes at the start of a PNG file that are searched for the chunk [`PNG_SOFTWARE`]: the encoder writes
/// it right after the header.
const PNG_HEAD_BYTES: u64 = 256;

/// Why a file may not be written to. The message does not name the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum WriteRefusal {
    /// The file is an input of the command.
    #[error("it is an input of this command and is not changed")]
    Input,
    /// The file is a recording.
    #[error("it is a recording, and recordings are never replaced")]
    Recording,
    /// A folder, a device or a pipe has this name.
    #[error("it is a folder, a device or a pipe")]
    NotAFile,
    /// The file exists and must be kept.
    #[error("it exists already")]
    Exists,
    /// The file exists, and the program did not make it.
    #[error("it exists already and was not made by this program")]
    NotOwn,
}

impl From<WriteRefusal> for io::Error {
    fn from(refusal: WriteRefusal) -> Self {
        let kind = match refusal {
            WriteRefusal::Exists | WriteRefusal::NotOwn => io::ErrorKind::AlreadyExists,
            _ => io::ErrorKind::InvalidInput,
        };
        Self::new(kind, refusal)
    }
}

/// Rules for writing: the input files, which are never written to, and what to do with existing files.
#[derive(Debug, Clone)]
pub struct WriteRules {
    existing: Existing,
    inputs: Vec<FileIdentity>,
}

/// Identifies a file, whatever path or link names it.
#[derive(Debug, Clone, PartialEq, Eq)]
struct FileIdentity {
    /// The path without links; `None` if there is no such file.
    canonical: Option<PathBuf>,
    /// Device and inode number; `None` on systems without them, or if there is no such file.
    number: Option<(u64, u64)>,
}

impl FileIdentity {
    fn of(path: &Path) -> Self {
        Self {
            canonical: fs::canonicalize(path).ok(),
            number: fs::metadata(path).ok().and_then(|found| number(&found)),
        }
    }

    fn is_same(&self, other: &Self) -> bool {
        self.canonical.is_some() && self.canonical == other.canonical
            || self.number.is_some() && self.number == other.number
    }
}

#[cfg(unix)]
fn number(found: &fs::Metadata) -> Option<(u64, u64)> {
    use std::os::unix::fs::MetadataExt as _;
    Some((found.dev(), found.ino()))
}

#[cfg(not(unix))]
fn number(_: &fs::Metadata) -> Option<(u64, u64)> {
    None
}

/// Whether the open file `file` is still the one that `path` names. On systems without inode numbers, any file at
/// `path` counts as the same.
pub(super) fn is_same_file(file: &fs::File, path: &Path) -> bool {
    let numbers = file.metadata().and_then(|open| Ok((number(&open), number(&fs::symlink_metadata(path)?))));
    numbers.is_ok_and(|(open, named)| open == named)
}

/// Whether two paths name the same existing file.
pub(super) fn are_same(one: &Path, other: &Path) -> bool {
    FileIdentity::of(one).is_same(&FileIdentity::of(other))
}

/// Whether two folders belong to the same user and group.
#[cfg(unix)]
pub(super) fn have_same_owner(one: &Path, other: &Path) -> bool {
    use std::os::unix::fs::MetadataExt as _;
    let owner = |path: &Path| fs::metadata(path).map(|found| (found.uid(), found.gid()));
    owner(one).ok().zip(owner(other).ok()).is_some_and(|(one, other)| one == other)
}

#[cfg(not(unix))]
pub(super) fn have_same_owner(_: &Path, _: &Path) -> bool {
    true
}

impl From<Existing> for WriteRules {
    fn from(existing: Existing) -> Self {
        Self { existing, inputs: Vec::new() }
    }
}

impl From<&WriteRules> for WriteRules {
    fn from(rules: &WriteRules) -> Self {
        rules.clone()
    }
}

impl WriteRules {
    /// Adds input files, which are never written to.
    #[must_use]
    pub fn with_inputs<P: AsRef<Path>>(mut self, paths: impl IntoIterator<Item = P>) -> Self {
        self.inputs.extend(paths.into_iter().map(|path| FileIdentity::of(path.as_ref())));
        self
    }

    /// A copy of these rules with another choice for existing files.
    #[must_use]
    pub fn with_existing(&self, existing: Existing) -> Self {
        Self { existing, inputs: self.inputs.clone() }
    }

    /// What to do with existing files.
    #[must_use]
    pub fn existing(&self) -> Existing {
        self.existing
    }

    /// Checks that a file may be written to.
    ///
    /// # Errors
    /// [`WriteRefusal`] says why not.
    pub fn check(&self, path: &Path, kind: OutputKind) -> Result<(), WriteRefusal> {
        let identity = FileIdentity::of(path);
        if self.inputs.iter().any(|input| input.is_same(&identity)) {
            return Err(WriteRefusal::Input);
        }
        let Ok(link) = fs::symlink_metadata(path) else { return Ok(()) };
        let found = fs::metadata(path).unwrap_or(link);
        if !found.is_file() && !found.is_symlink() {
            return Err(WriteRefusal::NotAFile);
        }
        if is_recording(path) {
            return Err(WriteRefusal::Recording);
        }
        match self.existing {
            Existing::Replace => Ok(()),
            Existing::Keep => Err(WriteRefusal::Exists),
            Existing::ReplaceOwn if is_own(path, kind) => Ok(()),
            Existing::ReplaceOwn => Err(WriteRefusal::NotOwn),
        }
    }
}

/// Whether an existing file is recognised as made by the program; always false for [`OutputKind::Document`].
fn is_own(path: &Path, kind: OutputKind) -> bool {
    kind == OutputKind::Picture && names_program(path).unwrap_or(false)
}

/// Whether a PNG names this program as its software.
fn names_program(path: &Path) -> io::Result<bool> {
    let mut head = Vec::new();
    fs::File::open(path)?.take(PNG_HEAD_BYTES).read_to_end(&mut head)?;
    let (keyword, program) = PNG_SOFTWARE;
    let chunk = format!("tEXt{keyword}\0{program}").into_bytes();
    Ok(head.starts_with(b"\x89PNG") && head.windows(chunk.len()).any(|bytes| bytes == chunk))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn replacing(input: &Path) -> WriteRules {
        WriteRules::from(Existing::Replace).with_inputs([input])
    }

    #[test]
    fn an_input_is_not_written_to_under_any_of_its_paths() {
        let folder = tempfile::tempdir().unwrap();
        let input = folder.path().join("legs.csv");
        fs::write(&input, "start_s").unwrap();
        fs::create_dir(folder.path().join("sub")).unwrap();
        let mut paths = vec![input.clone(), folder.path().join("./sub/../legs.csv")];
        #[cfg(unix)]
        {
            let link = folder.path().join("link.csv");
            std::os::unix::fs::symlink(&input, &link).unwrap();
            paths.push(link);
        }
        let hard = folder.path().join("hard.csv");
        fs::hard_link(&input, &hard).unwrap();
        paths.extend(cfg!(unix).then_some(hard));
        for path in paths {
            let refused = replacing(&input).check(&path, OutputKind::Document);
            assert_eq!(refused, Err(WriteRefusal::Input), "{}", path.display());
        }
        let other = folder.path().join("other.csv");
        fs::write(&other, "").unwrap();
        assert_eq!(replacing(&input).check(&other, OutputKind::Document), Ok(()));
    }

    #[test]
    fn inputs_that_do_not_exist_forbid_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let rules = replacing(&folder.path().join("absent.csv"));
        assert_eq!(rules.check(&folder.path().join("new.csv"), OutputKind::Document), Ok(()));
    }

    #[test]
    fn a_recording_or_a_folder_is_not_replaced_even_on_request() {
        let folder = tempfile::tempdir().unwrap();
        let rules = WriteRules::from(Existing::Replace);
        let named = folder.path().join("flight.mp4");
        fs::write(&named, "anything").unwrap();
        let disguised = folder.path().join("flight.png");
        fs::write(&disguised, b"RIFF\0\0\0\0AVI LIST").unwrap();
        for path in [named, disguised] {
            assert_eq!(rules.check(&path, OutputKind::Picture), Err(WriteRefusal::Recording));
        }
        assert_eq!(rules.check(folder.path(), OutputKind::Picture), Err(WriteRefusal::NotAFile));
    }

    #[test]
    fn without_a_request_only_a_picture_of_the_program_is_replaced() {
        let folder = tempfile::tempdir().unwrap();
        let rules = WriteRules::from(Existing::ReplaceOwn);
        let path = folder.path().join("a.png");
        assert_eq!(rules.check(&path, OutputKind::Picture), Ok(()));
        fs::write(&path, b"\x89PNG\r\n\x1a\nholiday").unwrap();
        assert_eq!(rules.check(&path, OutputKind::Picture), Err(WriteRefusal::NotOwn));
        fs::write(&path, b"\x89PNG\r\n\x1a\n....tEXtSoftware\0pairspeed").unwrap();
        assert_eq!(rules.check(&path, OutputKind::Picture), Ok(()));
        assert_eq!(rules.check(&path, OutputKind::Document), Err(WriteRefusal::NotOwn));
        assert_eq!(
            rules.with_existing(Existing::Keep).check(&path, OutputKind::Picture),
            Err(WriteRefusal::Exists)
        );
    }
}

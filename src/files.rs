//! Writes complete files. Each file is written under a temporary name next to its target and then renamed, so
//! that the target is either complete or unchanged. Files that belong together are replaced together or not
//! at all.

use std::fs;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use rayon::prelude::*;
use tempfile::{TempDir, TempPath};
use thiserror::Error;

/// Prefix and suffix of the names of all temporary files.
const TEMPORARY: (&str, &str) = (".pairspeed-", ".part");

/// A file's name without its folder, for messages.
#[must_use]
pub fn file_name(path: &Path) -> String {
    path.file_name().unwrap_or_default().to_string_lossy().into_owned()
}

/// What to do if the file to be written exists already.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Existing {
    /// Keep the existing file and fail with [`io::ErrorKind::AlreadyExists`].
    Keep,
    /// Replace the existing file.
    Replace,
}

/// Writes `bytes` as the file `path`.
///
/// # Errors
///
/// The operating system's error if the file cannot be created, written or renamed. An existing file then
/// stays unchanged.
pub fn write_whole(path: &Path, bytes: &[u8], existing: Existing) -> io::Result<()> {
    if existing == Existing::Keep && path.exists() {
        return Err(io::ErrorKind::AlreadyExists.into());
    }
    let mut aside = temporary(path)?;
    aside.write_all(bytes).and_then(|()| aside.as_file().sync_all()).map_err(write_error_in_words)?;
    let renamed = match existing {
        Existing::Keep => aside.persist_noclobber(path),
        Existing::Replace => aside.persist(path),
    };
    renamed.map(drop).map_err(|failure| write_error_in_words(failure.error))
}

/// Why a batch of files could not be written. The folder is unchanged, unless `kept` says where its previous files are.
#[derive(Debug, Error)]
#[error("cannot write {}: {source}", path.display())]
pub struct FileBatchError {
    /// Path of the file that could not be written.
    pub path: PathBuf,
    /// The operating system's error.
    pub source: io::Error,
    /// The folder with the previous files, if these could not be moved back.
    pub kept: Option<PathBuf>,
}

/// A batch of files that are written into a folder together or not at all. Each is written to a temporary folder when it
/// is added. [`FileBatch::commit`] moves all of them to their targets.
#[derive(Debug)]
pub struct FileBatch {
    folder: PathBuf,
    fresh: TempDir,
    names: Vec<String>,
}

impl FileBatch {
    /// An empty batch for a folder.
    ///
    /// # Errors
    /// [`FileBatchError`] if files cannot be created in the folder.
    pub fn create(folder: &Path) -> Result<Self, FileBatchError> {
        let fresh = temporary_folder(folder).map_err(|source| FileBatchError::at(folder, source))?;
        Ok(Self { folder: folder.to_owned(), fresh, names: Vec::new() })
    }

    /// Writes one file to the temporary folder.
    ///
    /// # Errors
    ///
    /// [`FileBatchError`] if the file cannot be written completely.
    pub fn add(&mut self, name: &str, bytes: &[u8]) -> Result<(), FileBatchError> {
        let answer = self.add_all(&[name], |_, out| out.write_all(bytes))?;
        answer.map_err(|source| FileBatchError::at(&self.folder.join(name), source))
    }

    /// Writes several files to the temporary folder, on all cores. `write` receives the index of a name and
    /// writes that file's content. Returns the first of the errors of `write`, in the order of the names.
    ///
    /// # Errors
    ///
    /// [`FileBatchError`] if one of the files cannot be written completely.
    pub fn add_all<E: Send>(
        &mut self,
        names: &[&str],
        write: impl Fn(usize, &mut dyn io::Write) -> Result<(), E> + Sync,
    ) -> Result<Result<(), E>, FileBatchError> {
        let aside = |(number, name): (usize, &&str)| {
            let path = self.fresh.path().join(name);
            write_new(&path, |out| write(number, out))
                .map_err(|source| FileBatchError::at(&self.folder.join(name), source))
        };
        let answers: Vec<_> = names.par_iter().with_max_len(1).enumerate().map(aside).collect();
        for (name, answer) in names.iter().zip(answers) {
            match answer? {
                Ok(()) => self.names.push((*name).to_owned()),
                failure => return Ok(failure),
            }
        }
        Ok(Ok(()))
    }

    /// Moves all files to their targets and returns their paths in the order in which they were added.
    /// Existing files are moved aside first. If one of the new files cannot be moved, the existing files are
    /// moved back.
    ///
    /// # Errors
    ///
    /// [`FileBatchError`] if a file cannot be moved; with [`Existing::Keep`] also if a target exists.
    pub fn commit(self, existing: Existing) -> Result<Vec<PathBuf>, FileBatchError> {
        let Self { folder, fresh, names } = &self;
        let previous = temporary_folder(folder).map_err(|source| FileBatchError::at(folder, source))?;
        let mut exchange = Exchange { folder, previous, steps: Vec::new() };
        let names = || names.iter().map(String::as_str);
        let aside = if existing == Existing::Replace { exchange.all_aside(names()) } else { Ok(()) };
        match aside.and_then(|()| exchange.all_in(names(), fresh.path())) {
            Ok(()) => Ok(names().map(|name| folder.join(name)).collect()),
            Err((path, source)) => {
                Err(FileBatchError { kept: exchange.undo(), ..FileBatchError::at(&path, source) })
            }
        }
    }
}

impl FileBatchError {
    fn at(path: &Path, source: io::Error) -> Self {
        Self { path: path.to_owned(), source: write_error_in_words(source), kept: None }
    }
}

/// Checks that files can be written into a folder.
///
/// # Errors
///
/// The operating system's error if files cannot be written.
pub fn check_writable(folder: &Path) -> io::Result<()> {
    temporary_folder(folder).map(drop)
}

/// The moves made so far, so that they can be undone.
struct Exchange<'a> {
    folder: &'a Path,
    previous: TempDir,
    steps: Vec<MoveStep>,
}

enum MoveStep {
    /// The existing file of this name was moved aside.
    Aside(PathBuf),
    /// The new file was moved to this path.
    In(PathBuf),
}

type MoveResult = Result<(), (PathBuf, io::Error)>;

impl Exchange<'_> {
    fn all_aside<'n>(&mut self, names: impl Iterator<Item = &'n str>) -> MoveResult {
        for name in names {
            let path = self.folder.join(name);
            if fs::symlink_metadata(&path).is_ok_and(|found| !found.is_dir()) {
                fs::rename(&path, self.previous.path().join(name)).map_err(|source| (path, source))?;
                self.steps.push(MoveStep::Aside(name.into()));
            }
        }
        Ok(())
    }

    fn all_in<'n>(&mut self, names: impl Iterator<Item = &'n str>, fresh: &Path) -> MoveResult {
        for name in names {
            let path = self.folder.join(name);
            TempPath::try_from_path(fresh.join(name))
                .map_err(|source| (path.clone(), source))?
                .persist_noclobber(&path)
                .map_err(|failure| (path.clone(), failure.error))?;
            self.steps.push(MoveStep::In(path));
        }
        Ok(())
    }

    /// Undoes the moves, the last one first. Returns the folder of the previous files if not all of them
    /// could be moved back.
    fn undo(self) -> Option<PathBuf> {
        let mut all_back = true;
        for step in self.steps.iter().rev() {
            let back = match step {
                MoveStep::In(path) => fs::remove_file(path),
                MoveStep::Aside(name) => fs::rename(self.previous.path().join(name), self.folder.join(name)),
            };
            all_back &= back.is_ok();
        }
        (!all_back).then(|| self.previous.keep())
    }
}

/// Creates a file with `write` and returns its result. An input or output error counts even if `write` does not return it.
fn write_new<E>(
    path: &Path,
    write: impl FnOnce(&mut dyn io::Write) -> Result<(), E>,
) -> io::Result<Result<(), E>> {
    let mut file = ErrorKeeper { inner: io::BufWriter::new(fs::File::create_new(path)?), failure: None };
    let answer = write(&mut file);
    if let Some(failure) = file.failure {
        return Err(failure);
    }
    file.inner.into_inner().map_err(io::IntoInnerError::into_error)?.sync_all()?;
    Ok(answer)
}

/// A writer that keeps its first error, because callers may replace the error by one of their own.
struct ErrorKeeper<W> {
    inner: W,
    failure: Option<io::Error>,
}

impl<W> ErrorKeeper<W> {
    fn keep<T>(&mut self, outcome: io::Result<T>) -> io::Result<T> {
        outcome.map_err(|failure| {
            let copy = failure.kind().into();
            if failure.kind() != io::ErrorKind::Interrupted {
                self.failure.get_or_insert(failure);
            }
            copy
        })
    }
}

impl<W: io::Write> io::Write for ErrorKeeper<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let outcome = self.inner.write(bytes);
        self.keep(outcome)
    }

    fn flush(&mut self) -> io::Result<()> {
        let outcome = self.inner.flush();
        self.keep(outcome)
    }
}

/// A temporary folder inside `folder`. It is removed with its content when dropped.
fn temporary_folder(folder: &Path) -> io::Result<TempDir> {
    tempfile::Builder::new()
        .prefix(TEMPORARY.0)
        .suffix(TEMPORARY.1)
        .tempdir_in(folder)
        .map_err(write_error_in_words)
}

/// A temporary file next to `path`. It is removed when dropped.
fn temporary(path: &Path) -> io::Result<tempfile::NamedTempFile> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut builder = tempfile::Builder::new();
    builder.prefix(TEMPORARY.0).suffix(TEMPORARY.1);
    if let Some(permissions) = readable_by_others() {
        builder.permissions(permissions);
    }
    builder.tempfile_in(folder).map_err(write_error_in_words)
}

/// The permissions of an ordinary new file, before the user's mask (umask) is applied. Temporary files would
/// otherwise be private.
#[cfg(unix)]
fn readable_by_others() -> Option<std::fs::Permissions> {
    use std::os::unix::fs::PermissionsExt as _;
    Some(std::fs::Permissions::from_mode(0o666))
}

#[cfg(not(unix))]
fn readable_by_others() -> Option<std::fs::Permissions> {
    None
}

/// Rewords an error of writing a file for the user, keeping its kind. The temporary name that the crate
/// tempfile adds is left out.
pub fn write_error_in_words(error: io::Error) -> io::Error {
    use io::ErrorKind as Kind;
    let said = match error.kind() {
        Kind::NotFound => "there is no such folder",
        Kind::PermissionDenied => "you have no permission to write there",
        Kind::StorageFull | Kind::QuotaExceeded => "no space left",
        Kind::ReadOnlyFilesystem => "nothing can be written to this disk",
        Kind::NotADirectory => "a part of the path is not a folder",
        Kind::IsADirectory => "it is a folder",
        kind => return error.raw_os_error().map_or_else(|| kind.into(), io::Error::from_raw_os_error),
    };
    io::Error::new(error.kind(), said)
}

/// Rewords an error of reading a file for the user, keeping its kind.
pub(crate) fn read_error_in_words(error: io::Error) -> io::Error {
    use io::ErrorKind as Kind;
    let said = match error.kind() {
        Kind::NotFound => "there is no such file",
        Kind::PermissionDenied => "you have no permission to read it",
        Kind::IsADirectory => "it is a folder",
        Kind::InvalidData => "it is not text in UTF-8",
        _ => return error,
    };
    io::Error::new(error.kind(), said)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn a_file_is_replaced_only_when_asked_and_nothing_else_is_left() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.txt");
        write_whole(&path, b"one", Existing::Keep).unwrap();
        let refused = write_whole(&path, b"two", Existing::Keep).unwrap_err();
        assert_eq!(refused.kind(), io::ErrorKind::AlreadyExists);
        assert_eq!(std::fs::read(&path).unwrap(), b"one");
        write_whole(&path, b"three", Existing::Replace).unwrap();
        assert_eq!(std::fs::read(&path).unwrap(), b"three");
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    /// A disk with room for this many more bytes.
    struct Full(usize);

    impl io::Write for Full {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            let some = bytes.len().min(self.0);
            self.0 -= some;
            if some == 0 { Err(io::ErrorKind::StorageFull.into()) } else { Ok(some) }
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    #[test]
    fn the_error_of_a_full_disk_is_kept_even_if_the_caller_rewords_it() {
        let mut roomy = ErrorKeeper { inner: Full(100), failure: None };
        roomy.write_all(b"some bytes").unwrap();
        assert!(roomy.failure.is_none());
        let mut full = ErrorKeeper { inner: Full(4), failure: None };
        let _in_other_words = full.write_all(b"some bytes").map_err(|_| "no table").unwrap_err();
        assert_eq!(full.failure.unwrap().kind(), io::ErrorKind::StorageFull);
    }

    fn names_in(folder: &Path) -> Vec<String> {
        let entries = fs::read_dir(folder).unwrap();
        let mut names: Vec<String> = entries.map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    fn three(text: &str) -> [(&'static str, Vec<u8>); 3] {
        ["a.txt", "b.txt", "c.txt"].map(|name| (name, format!("{text} {name}").into_bytes()))
    }

    fn put_three(folder: &Path, text: &str, existing: Existing) -> Result<Vec<PathBuf>, FileBatchError> {
        let mut files = FileBatch::create(folder)?;
        for (name, bytes) in three(text) {
            files.add(name, &bytes)?;
        }
        files.commit(existing)
    }

    #[test]
    fn files_that_belong_together_are_replaced_together() {
        let folder = tempfile::tempdir().unwrap();
        put_three(folder.path(), "old", Existing::Keep).unwrap();
        let written = put_three(folder.path(), "new", Existing::Replace).unwrap();
        for (path, (name, bytes)) in written.iter().zip(three("new")) {
            assert_eq!(*path, folder.path().join(name));
            assert_eq!(fs::read(path).unwrap(), bytes);
        }
        assert_eq!(names_in(folder.path()), ["a.txt", "b.txt", "c.txt"]);
    }

    #[test]
    fn a_rename_that_fails_midway_moves_the_previous_files_back() {
        let folder = tempfile::tempdir().unwrap();
        put_three(folder.path(), "old", Existing::Keep).unwrap();
        fs::remove_file(folder.path().join("b.txt")).unwrap();
        fs::create_dir(folder.path().join("b.txt")).unwrap();
        fs::write(folder.path().join("b.txt/within"), "kept").unwrap();

        let error = put_three(folder.path(), "new", Existing::Replace).unwrap_err();
        assert!(error.path.ends_with("b.txt") && error.kept.is_none(), "{error:?}");
        for (name, text) in [("a.txt", "old a.txt"), ("b.txt/within", "kept"), ("c.txt", "old c.txt")] {
            assert_eq!(fs::read_to_string(folder.path().join(name)).unwrap(), text);
        }
        assert_eq!(names_in(folder.path()), ["a.txt", "b.txt", "c.txt"]);
    }

    #[test]
    fn a_file_that_appeared_meanwhile_is_kept_and_none_is_added() {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("c.txt"), "mine").unwrap();
        let error = put_three(folder.path(), "new", Existing::Keep).unwrap_err();
        assert_eq!(error.source.kind(), io::ErrorKind::AlreadyExists);
        assert_eq!(names_in(folder.path()), ["c.txt"]);
        assert_eq!(fs::read_to_string(folder.path().join("c.txt")).unwrap(), "mine");
    }

    #[test]
    fn previous_files_that_cannot_be_moved_back_are_kept_and_named() {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("a.txt"), "old").unwrap();
        let previous = temporary_folder(folder.path()).unwrap();
        let mut exchange = Exchange { folder: folder.path(), previous, steps: Vec::new() };
        exchange.all_aside(["a.txt"].into_iter()).unwrap();
        // Something else takes the name before the file can return.
        fs::create_dir(folder.path().join("a.txt")).unwrap();
        let kept = exchange.undo().unwrap();
        assert_eq!(fs::read_to_string(kept.join("a.txt")).unwrap(), "old");
    }

    #[test]
    fn the_message_of_a_full_disk_has_no_temporary_name() {
        let hidden = io::Error::other("at path \"/card/.pairspeed-x.part\"").to_string();
        let said = write_error_in_words(io::Error::new(io::ErrorKind::StorageFull, hidden));
        assert_eq!((said.to_string().as_str(), said.kind()), ("no space left", io::ErrorKind::StorageFull));
    }

    #[test]
    fn the_message_of_a_missing_folder_has_no_temporary_name() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("absent").join("a.txt");
        let message = write_whole(&path, b"one", Existing::Replace).unwrap_err().to_string();
        assert_eq!(message, "there is no such folder");
    }
}

//! Writing files whole: under a temporary name beside the target, then renamed, so that a file is
//! either complete or not there. Files that belong together are replaced together or not at all.

use std::fs;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use rayon::prelude::*;
use tempfile::{TempDir, TempPath};
use thiserror::Error;

/// Prefix and suffix of every temporary name.
const TEMPORARY: (&str, &str) = (".pairspeed-", ".part");

/// A file's name without its folder, for a reader.
#[must_use]
pub fn file_name(path: &Path) -> String {
    path.file_name().unwrap_or_default().to_string_lossy().into_owned()
}

/// What to do where the file exists already.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Existing {
    /// Leave it and fail with [`io::ErrorKind::AlreadyExists`].
    Keep,
    /// Replace it.
    Replace,
}

/// Writes `bytes` as the file `path`.
///
/// # Errors
/// Any failure to create, write or rename; the file as it was before then stays untouched.
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

/// Why files that belong together could not be written; the folder is as it was, unless `kept`
/// says where its former files are.
#[derive(Debug, Error)]
#[error("cannot write {}: {source}", path.display())]
pub struct FileBatchError {
    /// The file that failed.
    pub path: PathBuf,
    /// The system's reason.
    pub source: io::Error,
    /// The folder that holds the former files, where they could not be put back.
    pub kept: Option<PathBuf>,
}

/// Files that are written into a folder all of them, or none: each is written in full into a temporary folder within it
/// when it is added, and all take their places at once.
#[derive(Debug)]
pub struct FileBatch {
    folder: PathBuf,
    fresh: TempDir,
    names: Vec<String>,
}

impl FileBatch {
    /// Begins with none.
    ///
    /// # Errors
    /// [`FileBatchError`] where the folder takes no files.
    pub fn create(folder: &Path) -> Result<Self, FileBatchError> {
        let fresh = temporary_folder(folder).map_err(|source| FileBatchError::at(folder, source))?;
        Ok(Self { folder: folder.to_owned(), fresh, names: Vec::new() })
    }

    /// Writes one more file, which takes its place later.
    ///
    /// # Errors
    /// [`FileBatchError`] where it cannot be written in full.
    pub fn add(&mut self, name: &str, bytes: &[u8]) -> Result<(), FileBatchError> {
        let answer = self.add_all(&[name], |_, out| out.write_all(bytes))?;
        answer.map_err(|source| FileBatchError::at(&self.folder.join(name), source))
    }

    /// The same of several files, on all cores: `write` writes the one of a number bit by bit. Gives the first of its
    /// failures in their order.
    ///
    /// # Errors
    /// [`FileBatchError`] where one cannot be written in full.
    pub fn add_all<E: Send>(
        &mut self,
        names: &[&str],
        write: impl Fn(usize, &mut dyn io::Write) -> Result<(), E> + Sync,
    ) -> Result<Result<(), E>, FileBatchError> {
        let aside = |(number, name): (usize, &&str)| {
            let path = self.fresh.path().join(name);
            written(&path, |out| write(number, out))
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

    /// Puts all files in their places and gives their paths in the order added. The former files are moved aside first
    /// and, should one of the new ones not take its place, put back.
    ///
    /// # Errors
    /// [`FileBatchError`]; with [`Existing::Keep`] also where one of the files exists.
    pub fn commit(self, existing: Existing) -> Result<Vec<PathBuf>, FileBatchError> {
        let Self { folder, fresh, names } = &self;
        let former = temporary_folder(folder).map_err(|source| FileBatchError::at(folder, source))?;
        let mut exchange = Exchange { folder, former, steps: Vec::new() };
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

/// Makes sure that files can be written into a folder.
///
/// # Errors
/// The system's reason why not.
pub fn check_writable(folder: &Path) -> io::Result<()> {
    temporary_folder(folder).map(drop)
}

/// What was moved so far, so that it can be moved back.
struct Exchange<'a> {
    folder: &'a Path,
    former: TempDir,
    steps: Vec<Step>,
}

enum Step {
    /// The former file of this name was moved aside.
    Aside(PathBuf),
    /// The new file was moved to this path.
    In(PathBuf),
}

type Moved = Result<(), (PathBuf, io::Error)>;

impl Exchange<'_> {
    fn all_aside<'n>(&mut self, names: impl Iterator<Item = &'n str>) -> Moved {
        for name in names {
            let path = self.folder.join(name);
            if fs::symlink_metadata(&path).is_ok_and(|found| !found.is_dir()) {
                fs::rename(&path, self.former.path().join(name)).map_err(|source| (path, source))?;
                self.steps.push(Step::Aside(name.into()));
            }
        }
        Ok(())
    }

    fn all_in<'n>(&mut self, names: impl Iterator<Item = &'n str>, fresh: &Path) -> Moved {
        for name in names {
            let path = self.folder.join(name);
            TempPath::try_from_path(fresh.join(name))
                .map_err(|source| (path.clone(), source))?
                .persist_noclobber(&path)
                .map_err(|failure| (path.clone(), failure.error))?;
            self.steps.push(Step::In(path));
        }
        Ok(())
    }

    /// Takes the steps back, the last one first; the folder of the former files where they could not
    /// all be put back.
    fn undo(self) -> Option<PathBuf> {
        let mut all_back = true;
        for step in self.steps.iter().rev() {
            let back = match step {
                Step::In(path) => fs::remove_file(path),
                Step::Aside(name) => fs::rename(self.former.path().join(name), self.folder.join(name)),
            };
            all_back &= back.is_ok();
        }
        (!all_back).then(|| self.former.keep())
    }
}

/// Lets `write` write a new file, and gives its answer. That it was told of a failure of the system counts as one.
fn written<E>(
    path: &Path,
    write: impl FnOnce(&mut dyn io::Write) -> Result<(), E>,
) -> io::Result<Result<(), E>> {
    let mut file = Noting { inner: io::BufWriter::new(fs::File::create_new(path)?), failure: None };
    let answer = write(&mut file);
    if let Some(failure) = file.failure {
        return Err(failure);
    }
    file.inner.into_inner().map_err(io::IntoInnerError::into_error)?.sync_all()?;
    Ok(answer)
}

/// Keeps the first failure to write, which others may wrap in words of their own.
struct Noting<W> {
    inner: W,
    failure: Option<io::Error>,
}

impl<W> Noting<W> {
    fn noted<T>(&mut self, outcome: io::Result<T>) -> io::Result<T> {
        outcome.map_err(|failure| {
            let again = failure.kind().into();
            if failure.kind() != io::ErrorKind::Interrupted {
                self.failure.get_or_insert(failure);
            }
            again
        })
    }
}

impl<W: io::Write> io::Write for Noting<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let outcome = self.inner.write(bytes);
        self.noted(outcome)
    }

    fn flush(&mut self) -> io::Result<()> {
        let outcome = self.inner.flush();
        self.noted(outcome)
    }
}

/// A temporary folder within `folder` that removes itself with what it holds.
fn temporary_folder(folder: &Path) -> io::Result<TempDir> {
    tempfile::Builder::new()
        .prefix(TEMPORARY.0)
        .suffix(TEMPORARY.1)
        .tempdir_in(folder)
        .map_err(write_error_in_words)
}

/// A temporary file beside `path` that removes itself.
fn temporary(path: &Path) -> io::Result<tempfile::NamedTempFile> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut builder = tempfile::Builder::new();
    builder.prefix(TEMPORARY.0).suffix(TEMPORARY.1);
    if let Some(permissions) = readable_by_others() {
        builder.permissions(permissions);
    }
    builder.tempfile_in(folder).map_err(write_error_in_words)
}

/// Rights of an ordinary new file, which the user's mask then narrows; temporary files would
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

/// The reason why a file could not be written, in plain words and without the temporary name that tempfile
/// adds to it; of the same kind.
pub fn write_error_in_words(error: io::Error) -> io::Error {
    use io::ErrorKind as Kind;
    let said = match error.kind() {
        Kind::NotFound => "there is no such folder",
        Kind::PermissionDenied => "you may not write there",
        Kind::StorageFull | Kind::QuotaExceeded => "no space left",
        Kind::ReadOnlyFilesystem => "nothing can be written to this disk",
        Kind::NotADirectory => "a part of the path is no folder",
        Kind::IsADirectory => "it is a folder",
        kind => return error.raw_os_error().map_or_else(|| kind.into(), io::Error::from_raw_os_error),
    };
    io::Error::new(error.kind(), said)
}

/// The reason why a file could not be read, in plain words; of the same kind.
pub(crate) fn read_error_in_words(error: io::Error) -> io::Error {
    use io::ErrorKind as Kind;
    let said = match error.kind() {
        Kind::NotFound => "there is no such file",
        Kind::PermissionDenied => "you may not read it",
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

    /// A disk with room for so many bytes more.
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
    fn a_full_disk_is_noted_whatever_is_made_of_it() {
        let mut roomy = Noting { inner: Full(100), failure: None };
        roomy.write_all(b"some bytes").unwrap();
        assert!(roomy.failure.is_none());
        let mut full = Noting { inner: Full(4), failure: None };
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
    fn a_rename_that_fails_midway_puts_the_former_files_back() {
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
    fn former_files_that_cannot_be_put_back_are_kept_and_named() {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("a.txt"), "old").unwrap();
        let former = temporary_folder(folder.path()).unwrap();
        let mut exchange = Exchange { folder: folder.path(), former, steps: Vec::new() };
        exchange.all_aside(["a.txt"].into_iter()).unwrap();
        // Something else takes the name before the file can return.
        fs::create_dir(folder.path().join("a.txt")).unwrap();
        let kept = exchange.undo().unwrap();
        assert_eq!(fs::read_to_string(kept.join("a.txt")).unwrap(), "old");
    }

    #[test]
    fn a_full_disk_is_said_in_words_without_the_temporary_name() {
        let hidden = io::Error::other("at path \"/card/.pairspeed-x.part\"").to_string();
        let said = write_error_in_words(io::Error::new(io::ErrorKind::StorageFull, hidden));
        assert_eq!((said.to_string().as_str(), said.kind()), ("no space left", io::ErrorKind::StorageFull));
    }

    #[test]
    fn a_missing_folder_is_an_error_without_the_temporary_name() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("absent").join("a.txt");
        let message = write_whole(&path, b"one", Existing::Replace).unwrap_err().to_string();
        assert_eq!(message, "there is no such folder");
    }
}

//! Writes and removes single files.

use std::fs::File;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use super::disk::Disk;
use super::file_lock::{Busy, lock};
use super::leftovers::{remove_unlocked, temporary_beside};
use super::write_error_in_words;
use super::write_rules::{Existing, OutputKind, WriteRules, is_same_file};

/// Maximum number of attempts to create a temporary file, if a file with its name exists: one that a killed run left
/// is removed first.
const ATTEMPTS: usize = 4;

/// Writes `bytes` to the file `path`, a setup, a page or another [`OutputKind::Document`].
///
/// # Errors
///
/// An error with [`WriteRefusal`](super::WriteRefusal) as its source if the rules forbid writing; the operating
/// system's error if the file cannot be created, written or renamed. An existing file then stays unchanged.
pub fn write_whole(path: &Path, bytes: &[u8], rules: impl Into<WriteRules>) -> io::Result<()> {
    write_kind(path, bytes, OutputKind::Document, &rules.into())
}

/// Writes `bytes` to the file `path`. `kind` decides how an existing file is recognised as made by the program.
///
/// # Errors
///
/// Those of [`write_whole`].
pub fn write_kind(path: &Path, bytes: &[u8], kind: OutputKind, rules: &WriteRules) -> io::Result<()> {
    write_on(path, bytes, kind, rules, &Disk::default())
}

/// Removes a file that the program made. The caller makes sure of that; this function refuses only inputs, recordings
/// and paths that are no files.
///
/// # Errors
///
/// An error with [`WriteRefusal`](super::WriteRefusal) as its source if the file may not be removed; otherwise the
/// operating system's error.
pub fn remove_checked(path: &Path, rules: &WriteRules) -> io::Result<()> {
    rules.with_existing(Existing::Replace).check(path, OutputKind::Document)?;
    Disk::default().remove_file(path)
}

fn write_on(path: &Path, bytes: &[u8], kind: OutputKind, rules: &WriteRules, disk: &Disk) -> io::Result<()> {
    rules.check(path, kind)?;
    let mut aside = TemporaryFile::beside(path, disk).map_err(write_error_in_words)?;
    aside.file.write_all(bytes).and_then(|()| aside.file.sync_all()).map_err(write_error_in_words)?;
    let renamed = match rules.existing() {
        Existing::Keep => disk.rename_new(&aside.path, path),
        Existing::ReplaceOwn | Existing::Replace => disk.rename(&aside.path, path),
    };
    renamed.map_err(write_error_in_words)
}

/// A file under a temporary name. The file is locked, and is removed when this value is dropped if the file still has
/// the temporary name.
struct TemporaryFile<'a> {
    path: PathBuf,
    file: File,
    disk: &'a Disk,
}

impl<'a> TemporaryFile<'a> {
    fn beside(target: &Path, disk: &'a Disk) -> io::Result<Self> {
        let path = temporary_beside(target).ok_or(io::ErrorKind::IsADirectory)?;
        for _ in 0..ATTEMPTS {
            match disk.create_file(&path) {
                Ok(file) if lock(&file)? && is_same_file(&file, &path) => {
                    return Ok(Self { path, file, disk });
                }
                Ok(_) => {}
                Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {
                    if remove_unlocked(&path, disk).is_ok_and(|removed| !removed) {
                        return Err(Busy.into());
                    }
                }
                Err(error) => return Err(error),
            }
        }
        Err(Busy.into())
    }
}

impl Drop for TemporaryFile<'_> {
    fn drop(&mut self) {
        if is_same_file(&self.file, &self.path) {
            // The next run removes a file that stays.
            let _stays = self.disk.remove_file(&self.path);
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::super::disk::failing;
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

    #[test]
    fn a_kill_at_any_change_leaves_the_old_or_the_new_file_and_the_next_run_tidies() {
        for changes in 0..6 {
            let folder = tempfile::tempdir().unwrap();
            let path = folder.path().join("a.txt");
            write_whole(&path, b"old", Existing::Keep).unwrap();
            let (disk, _) = failing(changes, false);
            let rules = WriteRules::from(Existing::Replace);
            let outcome = write_on(&path, b"new", OutputKind::Document, &rules, &disk);
            let text = std::fs::read_to_string(&path).unwrap();
            assert_eq!(text, if outcome.is_ok() { "new" } else { "old" });
            write_whole(&path, b"next", Existing::Replace).unwrap();
            assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1, "after {changes} changes");
        }
    }

    #[test]
    fn a_second_writer_of_a_file_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.txt");
        let disk = Disk::default();
        let first = TemporaryFile::beside(&path, &disk).unwrap();
        let message = write_whole(&path, b"two", Existing::Keep).unwrap_err().to_string();
        assert!(message.contains("another run"), "{message}");
        drop(first);
        write_whole(&path, b"two", Existing::Keep).unwrap();
    }

    #[test]
    fn the_message_of_a_missing_folder_has_no_temporary_name() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("absent").join("a.txt");
        let message = write_whole(&path, b"one", Existing::Replace).unwrap_err().to_string();
        assert_eq!(message, "there is no such folder");
    }
}

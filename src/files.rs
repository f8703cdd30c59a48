//! Writing files whole: to a temporary name beside the target, then renamed, so that a file is
//! either complete or not there.

use std::io::{self, Write as _};
use std::path::Path;

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
    aside.write_all(bytes)?;
    aside.as_file().sync_all()?;
    let renamed = match existing {
        Existing::Keep => aside.persist_noclobber(path),
        Existing::Replace => aside.persist(path),
    };
    renamed.map(drop).map_err(|failure| failure.error)
}

/// A temporary file beside `path` that removes itself.
fn temporary(path: &Path) -> io::Result<tempfile::NamedTempFile> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut builder = tempfile::Builder::new();
    builder.prefix(".pairspeed-").suffix(".part");
    if let Some(permissions) = readable_by_others() {
        builder.permissions(permissions);
    }
    builder.tempfile_in(folder).map_err(plain)
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

/// The system's reason without the temporary name that tempfile adds to it.
fn plain(error: io::Error) -> io::Error {
    error.raw_os_error().map_or_else(|| io::Error::from(error.kind()), io::Error::from_raw_os_error)
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

    #[test]
    fn a_missing_folder_is_an_error_without_the_temporary_name() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("absent").join("a.txt");
        let message = write_whole(&path, b"one", Existing::Replace).unwrap_err().to_string();
        assert!(!message.contains(".part"), "{message}");
    }
}

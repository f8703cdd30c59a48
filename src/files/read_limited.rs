//! Reads input files up to a size limit for each kind of file. Devices and pipes are refused: reading them may never
//! end.

use std::fs::{File, OpenOptions};
use std::io::{self, Read as _};
use std::path::Path;

use thiserror::Error;

/// Maximum size of a text file that a pilot may write (setup, aircraft, legs, labels, glyph description), in bytes: 1 MiB.
/// Such files have a few thousand bytes; the parser needs up to a hundred times the size of the text. Set by judgement.
pub const MAX_TEXT_BYTES: u64 = 1 << 20;
/// Maximum size of an image of glyphs, in bytes: 8 MiB, two bytes for each of the 4 million pixels that the glyphs of
/// a set may have together. Set by judgement.
pub const MAX_PICTURE_BYTES: u64 = 8 << 20;
/// Maximum size of a `summary.json`, in bytes: 8 MiB, two hundred times the size for a flight of an hour. Set by
/// judgement.
pub const MAX_SUMMARY_BYTES: u64 = 8 << 20;

/// Why an input file is not read. The message does not name the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum ReadRefusal {
    /// The path is that of a device or a pipe.
    #[error("it is a device or a pipe, not a file")]
    NotAFile,
    /// The file is too large.
    #[error("it is larger than {} KiB, the limit for a file of this kind; is it the right file?", limit_bytes >> 10)]
    TooLarge {
        /// The limit, in bytes.
        limit_bytes: u64,
    },
}

impl From<ReadRefusal> for io::Error {
    fn from(refusal: ReadRefusal) -> Self {
        let kind = match refusal {
            ReadRefusal::NotAFile => io::ErrorKind::InvalidInput,
            ReadRefusal::TooLarge { .. } => io::ErrorKind::FileTooLarge,
        };
        Self::new(kind, refusal)
    }
}

/// Reads a regular file of at most `limit_bytes` bytes.
///
/// # Errors
///
/// An error with [`ReadRefusal`] as its source if the path is a device or a pipe, or if the file is too large;
/// otherwise the operating system's error in words for the user.
pub fn read_bytes(path: &Path, limit_bytes: u64) -> io::Result<Vec<u8>> {
    let file = open(path).map_err(read_error_in_words)?;
    let found = file.metadata()?;
    if found.is_dir() {
        return Err(read_error_in_words(io::ErrorKind::IsADirectory.into()));
    }
    if !found.is_file() {
        return Err(ReadRefusal::NotAFile.into());
    }
    let mut bytes = Vec::new();
    if found.len() <= limit_bytes {
        // The file may grow while it is read.
        file.take(limit_bytes + 1).read_to_end(&mut bytes).map_err(read_error_in_words)?;
    }
    if found.len() > limit_bytes || bytes.len() as u64 > limit_bytes {
        return Err(ReadRefusal::TooLarge { limit_bytes }.into());
    }
    Ok(bytes)
}

/// Reads a regular file of at most `limit_bytes` bytes as text in UTF-8.
///
/// # Errors
///
/// Those of [`read_bytes`]; [`io::ErrorKind::InvalidData`] if the file is not text.
pub fn read_text(path: &Path, limit_bytes: u64) -> io::Result<String> {
    let bytes = read_bytes(path, limit_bytes)?;
    String::from_utf8(bytes).map_err(|_| read_error_in_words(io::ErrorKind::InvalidData.into()))
}

/// Opens a file without blocking: opening a pipe without a writer would block forever.
#[cfg(unix)]
fn open(path: &Path) -> io::Result<File> {
    use std::os::unix::fs::OpenOptionsExt as _;
    let flags = rustix::fs::OFlags::NONBLOCK | rustix::fs::OFlags::NOCTTY;
    OpenOptions::new().read(true).custom_flags(flags.bits().cast_signed()).open(path)
}

/// Opens a file. Windows reports only missing rights if the path is a folder; the error is then replaced by
/// [`io::ErrorKind::IsADirectory`].
#[cfg(not(unix))]
fn open(path: &Path) -> io::Result<File> {
    let in_words = |error| if path.is_dir() { io::ErrorKind::IsADirectory.into() } else { error };
    OpenOptions::new().read(true).open(path).map_err(in_words)
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
    fn a_file_above_its_limit_is_refused_and_not_cut() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.toml");
        std::fs::write(&path, [b' '; 2048]).unwrap();
        assert_eq!(read_bytes(&path, 2048).unwrap().len(), 2048);
        let error = read_text(&path, 2047).unwrap_err();
        assert_eq!(error.kind(), io::ErrorKind::FileTooLarge);
        assert!(error.to_string().contains("larger than 1 KiB"), "{error}");
    }

    #[test]
    fn a_file_that_is_not_text_is_refused_with_the_reason() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.toml");
        std::fs::write(&path, [0xff, 0xfe]).unwrap();
        assert_eq!(read_text(&path, 10).unwrap_err().to_string(), "it is not text in UTF-8");
        assert_eq!(read_text(folder.path(), 10).unwrap_err().to_string(), "it is a folder");
        let absent = read_text(&folder.path().join("b.toml"), 10).unwrap_err();
        assert_eq!(
            (absent.kind(), absent.to_string().as_str()),
            (io::ErrorKind::NotFound, "there is no such file")
        );
    }

    #[cfg(unix)]
    #[test]
    fn a_device_that_never_ends_and_a_pipe_without_a_writer_are_refused() {
        let folder = tempfile::tempdir().unwrap();
        let pipe = folder.path().join("pipe.toml");
        rustix::fs::mkfifoat(rustix::fs::CWD, &pipe, rustix::fs::Mode::RWXU).unwrap();
        for path in [Path::new("/dev/zero"), pipe.as_path()] {
            let message = read_bytes(path, 1 << 20).unwrap_err().to_string();
            assert!(message.contains("a device or a pipe"), "{}: {message}", path.display());
        }
    }
}

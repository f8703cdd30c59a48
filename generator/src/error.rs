//! Errors of making a clip from a scenario.

use std::path::{Path, PathBuf};

use thiserror::Error;

/// An error, worded for the author of the scenario.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum Error {
    /// A file could not be read.
    #[error("cannot read {path}: {cause}", path = path.display())]
    Read {
        /// Path of the file.
        path: PathBuf,
        /// The message of the operating system.
        cause: std::io::Error,
    },
    /// A file or folder could not be written.
    #[error("cannot write {path}: {cause}; check the folder, its permissions and free space", path = path.display())]
    Write {
        /// Path of the file or folder.
        path: PathBuf,
        /// The message of the operating system.
        cause: std::io::Error,
    },
    /// The scenario is not valid TOML or has an unknown or missing key.
    #[error("the scenario is not valid: {0}")]
    Parse(#[from] toml::de::Error),
    /// A value of the scenario is out of its range.
    #[error("scenario: {key} is {actual}, but must be {wanted}")]
    Value {
        /// Name of the key, with its table.
        key: String,
        /// The value in the scenario.
        actual: String,
        /// The allowed values.
        wanted: String,
    },
    /// A font file cannot be used.
    #[error("cannot use the font {path}: {reason}; name a drawn set (block, slim, round) or a TTF or OTF file", path = path.display())]
    Font {
        /// Path of the font file, or the unknown name of a glyph set.
        path: PathBuf,
        /// Reason of the failure.
        reason: String,
    },
    /// A background film cannot be decoded.
    #[error("cannot use the background film {path}: {reason}; name a video file that ffmpeg decodes, or leave scenery.background out", path = path.display())]
    Film {
        /// Path of the film.
        path: PathBuf,
        /// Reason of the failure.
        reason: String,
    },
    /// The encoder is not installed.
    #[error(
        "the program ffmpeg was not found; install it (Debian, Ubuntu: apt-get install ffmpeg; others: the package named ffmpeg)"
    )]
    NoEncoder,
    /// The encoder ended with an error.
    #[error("ffmpeg could not write {path}: {message}", path = path.display())]
    Encoder {
        /// Path of the clip that is being written.
        path: PathBuf,
        /// The last lines of ffmpeg's messages.
        message: String,
    },
}

impl Error {
    pub(crate) fn write(path: &Path, cause: std::io::Error) -> Self {
        Self::Write { path: path.to_path_buf(), cause }
    }

    pub(crate) fn value(key: impl Into<String>, actual: impl ToString, wanted: impl Into<String>) -> Self {
        Self::Value { key: key.into(), actual: actual.to_string(), wanted: wanted.into() }
    }
}

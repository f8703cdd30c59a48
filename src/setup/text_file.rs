//! Reads a setup file as text.

use std::io;
use std::path::Path;

use super::error::SetupError;
use crate::files::MAX_TEXT_BYTES;

/// Reads the text of a setup file.
pub(super) fn read_text(path: &Path) -> Result<String, SetupError> {
    crate::files::read_text(path, MAX_TEXT_BYTES).map_err(|source| match source.kind() {
        io::ErrorKind::FileTooLarge => {
            SetupError::TooLarge { path: path.to_owned(), limit_bytes: MAX_TEXT_BYTES }
        }
        io::ErrorKind::InvalidData => SetupError::NotText { path: path.to_owned() },
        _ => SetupError::Unreadable { path: path.to_owned(), source },
    })
}

/// The number of the line that contains a byte of the text, from 1.
pub(super) fn line_at(text: &str, byte: usize) -> usize {
    1 + text.bytes().take(byte).filter(|byte| *byte == b'\n').count()
}

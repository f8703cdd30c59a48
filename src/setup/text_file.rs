//! Reads a setup file as text.

use std::fs::File;
use std::io::Read as _;
use std::path::Path;

use super::error::SetupError;
use crate::files::read_error_in_words;

/// Maximum size of a file that is read, in bytes (1 MiB). The limit keeps a clip that is given by mistake out
/// of memory; files written by hand have a few thousand bytes. Set by judgement.
pub(super) const MAX_FILE_BYTES: u64 = 1 << 20;

/// Reads the text of a setup file.
pub(super) fn read_text(path: &Path) -> Result<String, SetupError> {
    let mut bytes = Vec::new();
    File::open(path).and_then(|file| file.take(MAX_FILE_BYTES + 1).read_to_end(&mut bytes)).map_err(
        |error| SetupError::Unreadable { path: path.to_owned(), source: read_error_in_words(error) },
    )?;
    if bytes.len() as u64 > MAX_FILE_BYTES {
        return Err(SetupError::TooLarge { path: path.to_owned(), limit_bytes: MAX_FILE_BYTES });
    }
    String::from_utf8(bytes).map_err(|_| SetupError::NotText { path: path.to_owned() })
}

/// The number of the line that contains a byte of the text, from 1.
pub(super) fn line_at(text: &str, byte: usize) -> usize {
    1 + text.bytes().take(byte).filter(|byte| *byte == b'\n').count()
}

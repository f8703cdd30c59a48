//! Writes complete files. Each file is written under a temporary name next to its target and then renamed, so that the
//! target is either complete or unchanged. Files that belong together are replaced together or not at all.
//! [`WriteRules`] decides which files may be written to. [`read_bytes`] reads every input file that is not a recording.

mod batch;
mod disk;
mod error_keeper;
mod file_lock;
mod folder_lock;
mod leftovers;
mod read_limited;
mod recording_head;
mod write_rules;
mod write_whole;

use std::io;
use std::path::{Path, PathBuf};

pub use batch::{FileBatch, FileBatchError};
pub use file_lock::Busy;
pub use folder_lock::FolderLock;
pub(crate) use read_limited::read_error_in_words;
pub use read_limited::{
    MAX_PICTURE_BYTES, MAX_SUMMARY_BYTES, MAX_TEXT_BYTES, ReadRefusal, read_bytes, read_text,
};
pub use recording_head::is_recording_name;
pub(crate) use write_rules::PNG_SOFTWARE;
pub use write_rules::{Existing, OutputKind, WriteRefusal, WriteRules};
pub use write_whole::{remove_checked, write_kind, write_whole};

/// A file's name without its folder, for messages.
#[must_use]
pub fn file_name(path: &Path) -> String {
    path.file_name().unwrap_or_default().to_string_lossy().into_owned()
}

/// The folder of a file; `.` for a name without a folder.
#[must_use]
pub fn folder_of(path: &Path) -> &Path {
    path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

/// The entries of a folder, without hidden ones (names that begin with a dot); empty if the folder cannot be listed.
#[must_use]
pub fn files_in(folder: &Path) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let visible = entries.filter(|entry| !entry.file_name().as_encoded_bytes().starts_with(b"."));
    visible.map(|entry| entry.path()).collect()
}

/// Rewords an error of writing a file for the user, keeping its kind. The temporary name that the crate
/// tempfile adds is left out.
pub fn write_error_in_words(error: io::Error) -> io::Error {
    use io::ErrorKind as Kind;
    if error.get_ref().is_some_and(|inner| inner.is::<WriteRefusal>() || inner.is::<Busy>()) {
        return error;
    }
    let said = match error.kind() {
        Kind::NotFound => "there is no such folder",
        Kind::PermissionDenied => "you have no permission to write there",
        Kind::StorageFull | Kind::QuotaExceeded => "no space left",
        Kind::ReadOnlyFilesystem => "this disk is read-only",
        Kind::NotADirectory => "a part of the path is not a folder",
        Kind::IsADirectory => "it is a folder",
        kind => return error.raw_os_error().map_or_else(|| kind.into(), io::Error::from_raw_os_error),
    };
    io::Error::new(error.kind(), said)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn the_message_of_a_full_disk_has_no_temporary_name() {
        let hidden = io::Error::other("at path \"/card/.pairspeed-x.part\"").to_string();
        let said = write_error_in_words(io::Error::new(io::ErrorKind::StorageFull, hidden));
        assert_eq!((said.to_string().as_str(), said.kind()), ("no space left", io::ErrorKind::StorageFull));
    }
}

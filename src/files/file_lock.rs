//! Locks, so that two runs do not write to the same file at the same time.

use std::fs::{File, TryLockError};
use std::io;

use thiserror::Error;

/// Another run writes to the file or folder.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[error("another run of this program is writing there; wait until it has ended")]
pub struct Busy;

impl From<Busy> for io::Error {
    fn from(busy: Busy) -> Self {
        Self::new(io::ErrorKind::ResourceBusy, busy)
    }
}

/// Locks a file until it is closed. Returns `true` if this succeeded, or if the file system has no locks; `false` if the
/// file is locked already.
pub(super) fn lock(file: &File) -> io::Result<bool> {
    match file.try_lock() {
        Ok(()) | Err(TryLockError::Error(_)) => Ok(true),
        Err(TryLockError::WouldBlock) => Ok(false),
    }
}

//! The lock of a folder, so that two runs do not write to it at the same time.

use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};

use super::disk::Disk;
use super::file_lock::{Busy, lock};
use super::leftovers::recover;
use super::write_rules::is_same_file;

/// Name of the lock file in a folder. It is removed when the lock is released; the operating system releases the lock of
/// a run that was killed.
const LOCK: &str = ".pairspeed.lock";
/// Maximum number of attempts to lock the lock file, which the previous holder may remove at the same time.
const ATTEMPTS: usize = 16;

/// The right of one run to write into a folder.
#[derive(Debug)]
pub struct FolderLock {
    folder: PathBuf,
    file: File,
    disk: Disk,
}

impl FolderLock {
    /// Locks an existing folder, and completes or removes the files that a killed run left there.
    ///
    /// # Errors
    ///
    /// [`Busy`] if another run holds the lock; the operating system's error if files cannot be created in the folder.
    pub fn take(folder: &Path) -> io::Result<Self> {
        Self::take_on(folder, Disk::default())
    }

    pub(super) fn take_on(folder: &Path, disk: Disk) -> io::Result<Self> {
        let path = folder.join(LOCK);
        for _ in 0..ATTEMPTS {
            let file = disk.open_or_create(&path)?;
            if !lock(&file)? {
                return Err(Busy.into());
            }
            if is_same_file(&file, &path) {
                let taken = Self { folder: folder.to_owned(), file, disk };
                recover(folder, taken.disk());
                return Ok(taken);
            }
        }
        Err(Busy.into())
    }

    /// The locked folder.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    pub(super) fn disk(&self) -> &Disk {
        &self.disk
    }
}

impl Drop for FolderLock {
    fn drop(&mut self) {
        let path = self.folder.join(LOCK);
        if is_same_file(&self.file, &path) {
            // A lock file that remains does not prevent the next run.
            let _stays = self.disk.remove_file(&path);
        }
    }
}

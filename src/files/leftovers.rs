//! Files left by a run of the program that was killed while writing. The next run completes or removes them. FOLDER
//! is the folder of the results, PARENT the folder that contains FOLDER. Where the system supports it, a complete new
//! folder beside FOLDER and FOLDER exchange their names (the exchange below).
//!
//! ```text
//! FOLDER/.pairspeed.lock           lock of a run; free once the run has ended
//! FOLDER/.pairspeed-new.part/      new files, not complete: removed
//! FOLDER/.pairspeed-commit/        new files, complete, some moved already: the others are moved
//! PARENT/.pairspeed-HASH.part/     before the exchange the new files, not complete; after it the previous files: removed,
//!                                  with subfolders and links of the pilot moved back
//! FOLDER/.pairspeed-HASH.part      a single new file, not complete: removed
//! ```

use std::fs::{self, DirEntry, OpenOptions};
use std::hash::{DefaultHasher, Hash as _, Hasher as _};
use std::io;
use std::path::{Path, PathBuf};

use super::disk::{Disk, no_follow};
use super::file_lock::lock;
use super::folder_of;
use super::write_rules::{Existing, OutputKind, WriteRules};

/// Prefix and suffix of the names of temporary files and folders.
const TEMPORARY: (&str, &str) = (".pairspeed-", ".part");
/// Name of the folder of complete files that are being moved to their targets.
pub(super) const COMMIT: &str = ".pairspeed-commit";
/// Name of the temporary folder inside the target folder, used if the parent of the target folder cannot be written to.
pub(super) const STAGE: &str = ".pairspeed-new.part";

/// Path of the temporary file or folder beside `path`. It depends on the name only, so that the next run
/// finds it. `None` if `path` names no file.
pub(super) fn temporary_beside(path: &Path) -> Option<PathBuf> {
    let mut hasher = DefaultHasher::new();
    path.file_name()?.hash(&mut hasher);
    let name = format!("{}{:016x}{}", TEMPORARY.0, hasher.finish(), TEMPORARY.1);
    Some(folder_of(path).join(name))
}

/// Whether the name of an entry is that of a temporary file or folder.
pub(super) fn is_temporary(entry: &DirEntry) -> bool {
    let name = entry.file_name();
    let name = name.to_string_lossy();
    name.starts_with(TEMPORARY.0) && name.ends_with(TEMPORARY.1)
}

/// Completes or removes the files that a killed run left in a locked folder and beside it. Files that cannot be moved
/// stay for the next run.
pub(super) fn recover(folder: &Path, disk: &Disk) {
    let _stays = move_committed(folder, disk);
    remove_folder(&folder.join(STAGE), disk);
    if let Some(beside) = fs::canonicalize(folder).ok().and_then(|folder| temporary_beside(&folder)) {
        move_back(&beside, folder, disk);
        remove_folder(&beside, disk);
    }
    for entry in entries(folder).filter(is_temporary) {
        if entry.file_type().is_ok_and(|kind| kind.is_file()) {
            let _stays = remove_unlocked(&entry.path(), disk);
        }
    }
}

/// Moves complete new files to their targets. Fails with the path of the first target to which a file cannot be
/// moved.
pub(super) fn move_committed(folder: &Path, disk: &Disk) -> Result<(), (PathBuf, io::Error)> {
    let commit = folder.join(COMMIT);
    let rules = WriteRules::from(Existing::Replace);
    for entry in entries(&commit).filter(is_file) {
        let target = folder.join(entry.file_name());
        let moved = rules.check(&target, OutputKind::Document).map_err(io::Error::from);
        moved.and_then(|()| disk.rename(&entry.path(), &target)).map_err(|error| (target, error))?;
    }
    if commit.is_dir() {
        disk.remove_empty_folder(&commit).map_err(|error| (commit, error))?;
        disk.sync_folder(folder);
    }
    Ok(())
}

/// Moves subfolders and links from the previous folder into the new one.
pub(super) fn move_back(previous: &Path, folder: &Path, disk: &Disk) {
    for entry in entries(previous).filter(|entry| !is_file(entry) && !is_temporary(entry)) {
        // An entry whose name exists in the new folder stays.
        let _stays = disk.rename_new(&entry.path(), &folder.join(entry.file_name()));
    }
}

/// Removes a folder and the files in it. Folders inside it are kept, unless they are temporary ones.
pub(super) fn remove_folder(folder: &Path, disk: &Disk) {
    if !fs::symlink_metadata(folder).is_ok_and(|found| found.is_dir()) {
        return;
    }
    for entry in entries(folder) {
        match entry.file_type() {
            Ok(kind) if kind.is_dir() && is_temporary(&entry) => remove_folder(&entry.path(), disk),
            Ok(kind) if kind.is_file() => _ = disk.remove_file(&entry.path()),
            _ => {}
        }
    }
    // A folder that is not empty stays.
    let _stays = disk.remove_empty_folder(folder);
}

/// Removes a temporary file, unless another run is writing it. Returns whether it is removed.
pub(super) fn remove_unlocked(path: &Path, disk: &Disk) -> io::Result<bool> {
    let mut options = OpenOptions::new();
    options.write(true);
    no_follow(&mut options);
    let file = options.open(path)?;
    if !file.metadata()?.is_file() || !lock(&file)? {
        return Ok(false);
    }
    disk.remove_file(path).map(|()| true)
}

pub(super) fn entries(folder: &Path) -> impl Iterator<Item = DirEntry> + use<> {
    fs::read_dir(folder).into_iter().flatten().flatten()
}

pub(super) fn is_file(entry: &DirEntry) -> bool {
    entry.file_type().is_ok_and(|kind| kind.is_file())
}

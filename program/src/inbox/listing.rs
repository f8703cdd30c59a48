//! Lists the recordings and setups of an inbox.

use std::fs::{self, Metadata};
use std::io;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use pairspeed::files::{file_name, is_recording_name};
use pairspeed::known_camera::SETUP_ENDING;
use pairspeed::output::folder::RESULT_ENDING;

/// Maximum depth of the folders that are searched. Set by judgement: cards have two levels (DCIM/100MEDIA).
const MAX_DEPTH: usize = 6;
/// Maximum number of entries that are examined, to limit memory and time. Set by judgement: a full card has a few
/// thousand.
const MAX_ENTRIES: usize = 50_000;

/// Size and modification time of a file, which change while it grows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stamp {
    /// Size in bytes.
    pub bytes: u64,
    /// Time of the last change according to the file system; `None` if it states none.
    pub modified: Option<SystemTime>,
}

impl Stamp {
    fn of(found: &Metadata) -> Self {
        Self { bytes: found.len(), modified: found.modified().ok() }
    }
}

/// The files of an inbox at one moment.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Listing {
    /// Device and inode number of the folder; `None` on systems without them. These numbers change when another card
    /// is mounted.
    pub folder: Option<(u64, u64)>,
    /// The recordings, sorted by path.
    pub recordings: Vec<(PathBuf, Stamp)>,
    /// The setup files, sorted by path.
    pub setups: Vec<(PathBuf, Stamp)>,
}

impl Listing {
    /// Lists `folder` and the folders in it, except hidden ones, links and result folders.
    ///
    /// # Errors
    ///
    /// The operating system's error if the folder itself cannot be listed. Folders in it that cannot be listed are left out.
    pub fn of(folder: &Path) -> io::Result<Self> {
        let mut listing = Self { folder: number(&fs::metadata(folder)?), ..Self::default() };
        let mut entries_left = MAX_ENTRIES;
        let mut folders = vec![(folder.to_owned(), 0)];
        while let Some((folder, depth)) = folders.pop() {
            let entries = match fs::read_dir(&folder) {
                Ok(entries) => entries,
                Err(error) if depth == 0 => return Err(error),
                Err(_) => continue,
            };
            for entry in entries.flatten() {
                entries_left = entries_left.saturating_sub(1);
                let Ok(kind) = entry.file_type() else { continue };
                let path = entry.path();
                let name = file_name(&path);
                if entries_left == 0 || name.starts_with('.') {
                    continue;
                }
                if kind.is_dir() && depth < MAX_DEPTH && !name.ends_with(RESULT_ENDING) {
                    folders.push((path, depth + 1));
                } else if kind.is_file()
                    && let Ok(found) = entry.metadata()
                {
                    listing.add(path, &name, Stamp::of(&found));
                }
            }
        }
        listing.recordings.sort_by(|(one, _), (other, _)| one.cmp(other));
        listing.setups.sort_by(|(one, _), (other, _)| one.cmp(other));
        Ok(listing)
    }

    fn add(&mut self, path: PathBuf, name: &str, stamp: Stamp) {
        if name.ends_with(SETUP_ENDING) {
            self.setups.push((path, stamp));
        } else if is_recording_name(&path) {
            self.recordings.push((path, stamp));
        }
    }
}

#[cfg(unix)]
fn number(found: &Metadata) -> Option<(u64, u64)> {
    use std::os::unix::fs::MetadataExt as _;
    Some((found.dev(), found.ino()))
}

#[cfg(not(unix))]
fn number(_: &Metadata) -> Option<(u64, u64)> {
    None
}

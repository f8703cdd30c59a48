//! The journal of an inbox: the state of each recording, so that after a restart nothing is missed or done twice.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, Read as _, Seek as _, SeekFrom};
use std::path::{Path, PathBuf};

use pairspeed::files::{Existing, FolderLock, read_bytes, write_whole};
use serde::{Deserialize, Serialize};
use thiserror::Error;

/// Name of the journal in the folder of the inbox, or of its results.
const NAME: &str = ".pairspeed-inbox.json";
/// Maximum size of a journal, in bytes: 16 MiB, for about 80,000 recordings. Set by judgement.
const MAX_BYTES: u64 = 16 << 20;
/// Number of bytes at the start and at the end of a recording whose checksums identify it. Set by judgement: an AVI
/// header has 2 to 4 kB.
const END_BYTES: u64 = 64 << 10;
/// Version of the journal's format.
const FORMAT: u32 = 1;

/// Why a journal cannot be used.
#[derive(Debug, Error)]
pub enum JournalError {
    /// The journal cannot be read or written.
    #[error("{}: {source}", path.display())]
    File {
        /// Path of the journal.
        path: PathBuf,
        /// Error of the operating system, or the reason why the file may not be read or written.
        source: io::Error,
    },
    /// The file is not a journal, or a journal of another version.
    #[error("{}: this version of the program cannot read this list of the recordings already read from the inbox ({reason}); move the file away", path.display())]
    Foreign {
        /// Path of the journal.
        path: PathBuf,
        /// What is wrong with the file.
        reason: String,
    },
}

/// Identifies a recording. File times are not used: those of a card change with the time zone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Identity {
    bytes: u64,
    /// CRC-32 of the first [`END_BYTES`] bytes.
    head: u32,
    /// CRC-32 of the last [`END_BYTES`] bytes.
    tail: u32,
}

impl Identity {
    /// Reads the length and the checksums by which a recording is recognised from the file `path`.
    pub(super) fn of(path: &Path) -> io::Result<Self> {
        let mut file = File::open(path)?;
        let bytes = file.metadata()?.len();
        let head = checksum(&mut file)?;
        file.seek(SeekFrom::Start(bytes.saturating_sub(END_BYTES)))?;
        Ok(Self { bytes, head, tail: checksum(&mut file)? })
    }

    /// Whether this can be the first part of the recording `whole`, as after an interrupted copy.
    pub(super) fn is_part_of(self, whole: Self) -> bool {
        self.bytes < whole.bytes && self.bytes >= END_BYTES && self.head == whole.head
    }
}

fn checksum(file: &mut File) -> io::Result<u32> {
    let mut bytes = Vec::new();
    file.take(END_BYTES).read_to_end(&mut bytes)?;
    Ok(crc32fast::hash(&bytes))
}

/// State of a recording.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum State {
    /// The recording is not read yet. The number counts the attempts that began and did not finish.
    Begun(u32),
    /// The recording was read, and its results were written.
    Read,
    /// The recording already had results before the inbox read it.
    HadResults,
    /// The recording cannot be read, with the reason.
    Unreadable(String),
}

/// The entry of one recording in the journal.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct JournalEntry {
    pub(super) identity: Identity,
    pub(super) state: State,
    /// Number of the recording's result folder, from 1: recordings that have had the same path have different
    /// numbers.
    pub(super) folder: u32,
}

#[derive(Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Content {
    format: u32,
    /// The recordings that each path has had: recorders reuse names.
    recordings: BTreeMap<String, Vec<JournalEntry>>,
}

/// The journal of a folder. It is locked, so that no other run works on the same folder.
pub(super) struct Journal {
    path: PathBuf,
    /// The folder that contains the recordings.
    inbox: PathBuf,
    content: Content,
    _lock: FolderLock,
}

impl Journal {
    /// Opens the journal in `folder`, or starts a new one. It contains the recordings below `inbox`.
    pub(super) fn open(folder: &Path, inbox: &Path) -> Result<Self, JournalError> {
        let path = folder.join(NAME);
        let at = |source| JournalError::File { path: path.clone(), source };
        let lock = FolderLock::take(folder).map_err(at)?;
        let content = match read_bytes(&path, MAX_BYTES) {
            Ok(bytes) => {
                content(&bytes).map_err(|reason| JournalError::Foreign { path: path.clone(), reason })?
            }
            Err(error) if error.kind() == io::ErrorKind::NotFound => {
                Content { format: FORMAT, ..Content::default() }
            }
            Err(error) => return Err(at(error)),
        };
        Ok(Self { path, inbox: inbox.to_owned(), content, _lock: lock })
    }

    /// The entries of all recordings that have had the path `recording`: recorders reuse names.
    pub(super) fn entries(&self, recording: &Path) -> &[JournalEntry] {
        self.content.recordings.get(&self.key(recording)).map_or(&[], Vec::as_slice)
    }

    /// Writes the entry of a recording to the disk. It replaces the entry `before`, and an earlier entry of the
    /// same recording.
    pub(super) fn write(
        &mut self,
        recording: &Path,
        before: Option<&JournalEntry>,
        entry: JournalEntry,
    ) -> Result<(), JournalError> {
        let entries = self.content.recordings.entry(self.key(recording)).or_default();
        let kept = entries.clone();
        entries.retain(|other| Some(other) != before && other.identity != entry.identity);
        entries.push(entry);
        let saved = self.save();
        if saved.is_err() {
            self.content.recordings.insert(self.key(recording), kept);
        }
        saved
    }

    fn save(&self) -> Result<(), JournalError> {
        let at = |source| JournalError::File { path: self.path.clone(), source };
        let bytes = serde_json::to_vec_pretty(&self.content).map_err(|error| at(error.into()))?;
        // The file that is replaced was recognised as a journal when it was opened.
        write_whole(&self.path, &bytes, Existing::Replace).map_err(at)
    }

    /// The path of a recording relative to the inbox, with all bytes escaped that are not ASCII text.
    fn key(&self, recording: &Path) -> String {
        let inside = recording.strip_prefix(&self.inbox).unwrap_or(recording);
        inside.as_os_str().as_encoded_bytes().escape_ascii().to_string()
    }
}

fn content(bytes: &[u8]) -> Result<Content, String> {
    let content: Content = serde_json::from_slice(bytes).map_err(|error| error.to_string())?;
    if content.format == FORMAT { Ok(content) } else { Err(format!("format {}", content.format)) }
}

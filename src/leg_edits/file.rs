//! The file of edited legs, kept with the results of a recording.
//!
//! ```toml
//! recording_s = [0.0, 163.2]   # times of the first and last frame
//! [[clip]]                     # the recording it belongs to: its files, in order
//! name = "flight.avi"
//! bytes = 73400320             # identifies the file after it was renamed or moved
//! [[leg]]                      # the legs as found; times in seconds of flight time
//! start_s = 20.4
//! end_s = 31.2
//! kind = "leg"                 # upwind, downwind, unpaired (left out), or leg (the speed decides)
//! whole_s = [19.6, 32.0]       # optional: the whole leg around the steady middle
//! throttle_percent = 60.0      # optional
//! pair = 1                     # optional: legs with the same number form a pair
//! [[edit]]                     # the edits in order; legs are numbered as before the edit
//! what = "move-end"            # move-start, move-end: leg, to_s; split: leg, at_s; join, delete: leg;
//! leg = 1                      # mark: leg, kind; throttle: leg, percent; add: start_s, end_s
//! to_s = 30.0
//! ```

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::{LegEdit, LegEditError, LegEdits};
use crate::files::{Existing, MAX_TEXT_BYTES, WriteRules, file_name, read_error_in_words, write_whole};
use crate::legs::{GivenLeg, MAX_TIME_S};
use crate::toml_words::in_one_line;

/// Name of the file among the results of a recording.
pub const EDITS_FILE: &str = "legs.toml";

const HEAD: &str = "# The legs as found, and the edits made by hand. Give this file when the flight is read again, to keep the edits.\n";

/// A problem with a file of edited legs.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum EditsFileError {
    /// The file of edits cannot be read.
    #[error("cannot read the file of edited legs {}: {source}; give the file legs.toml from the results of this recording", path.display())]
    Unreadable {
        /// Path of the file of edits.
        path: PathBuf,
        /// Error of the operating system.
        source: io::Error,
    },
    /// The content of the file of edits is not valid.
    #[error("the file of edited legs {} is not usable: {reason}; correct the file, or remove it to start again", path.display())]
    Malformed {
        /// Path of the file of edits.
        path: PathBuf,
        /// What is wrong with the content, in words.
        reason: String,
    },
    /// An edit in the file cannot be applied to the legs that result from the edits before it.
    #[error("the file of edited legs {}: edit {number} ({edit}) is not possible: {source}; remove that edit from the file", path.display())]
    Edit {
        /// Path of the file of edits.
        path: PathBuf,
        /// Number of the edit, from 1.
        number: usize,
        /// The edit.
        edit: LegEdit,
        /// Why the edit is not possible.
        source: LegEditError,
    },
    /// The file of edits belongs to another recording.
    #[error(
        "the file of edited legs {} belongs to another recording ({of}), not to {}: give the file from the results of this recording",
        path.display(),
        clip.display()
    )]
    OtherRecording {
        /// Path of the file of edits.
        path: PathBuf,
        /// Names of the clips that the file belongs to.
        of: String,
        /// Path of the first clip of the recording that is being read.
        clip: PathBuf,
    },
    /// A clip cannot be opened to identify it.
    #[error("cannot open the clip {}: {source}", clip.display())]
    NoClip {
        /// Path of the clip.
        clip: PathBuf,
        /// Error of the operating system.
        source: io::Error,
    },
    /// The file of edits cannot be written.
    #[error("cannot write the file of edited legs {}: {source}; check the free space and that you may write there", path.display())]
    Unwritable {
        /// Path of the file of edits.
        path: PathBuf,
        /// Error of the operating system.
        source: io::Error,
    },
}

/// Name and size of one clip of the recording; the size in bytes identifies the clip.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct ClipIdentity {
    name: String,
    bytes: u64,
}

#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct EditsTable {
    recording_s: (f64, f64),
    #[serde(rename = "clip")]
    clips: Vec<ClipIdentity>,
    #[serde(default, rename = "leg")]
    legs: Vec<GivenLeg>,
    #[serde(default, rename = "edit")]
    edits: Vec<LegEdit>,
}

impl LegEdits {
    /// Loads the edits of a recording and applies them to the found legs, which are stored in the same file.
    ///
    /// # Errors
    ///
    /// [`EditsFileError`] if the file cannot be used, or if it belongs to a recording other than `clips`.
    pub fn load(path: &Path, clips: &[PathBuf]) -> Result<Self, EditsFileError> {
        let malformed = |reason| EditsFileError::Malformed { path: path.to_owned(), reason };
        let text = read_text(path)?;
        let table: EditsTable =
            toml::from_str(&text).map_err(|error| malformed(in_one_line(&text, &error)))?;
        check_belongs(path, &table.clips, clips)?;
        check_found(&table).map_err(malformed)?;
        let mut edits = Self::from_found(table.recording_s, table.legs);
        for (edit, number) in table.edits.into_iter().zip(1..) {
            edits.make(edit).map_err(|source| EditsFileError::Edit {
                path: path.to_owned(),
                number,
                edit,
                source,
            })?;
        }
        Ok(edits)
    }

    /// Saves the edits of a recording; the file is written whole or not at all.
    ///
    /// # Errors
    ///
    /// [`EditsFileError::NoClip`] if a clip cannot be opened, [`EditsFileError::Unwritable`] if the file
    /// cannot be written.
    pub fn save(&self, path: &Path, clips: &[PathBuf]) -> Result<(), EditsFileError> {
        let unwritable = |source| EditsFileError::Unwritable { path: path.to_owned(), source };
        let table = EditsTable {
            recording_s: self.recording_s,
            clips: identities(clips)?,
            legs: self.found.clone(),
            edits: self.edits.clone(),
        };
        let text = toml::to_string(&table).map_err(|error| unwritable(io::Error::other(error)))?;
        let rules = WriteRules::from(Existing::Replace).with_inputs(clips);
        write_whole(path, format!("{HEAD}{text}").as_bytes(), rules).map_err(unwritable)
    }
}

fn read_text(path: &Path) -> Result<String, EditsFileError> {
    crate::files::read_text(path, MAX_TEXT_BYTES)
        .map_err(|source| EditsFileError::Unreadable { path: path.to_owned(), source })
}

fn identities(clips: &[PathBuf]) -> Result<Vec<ClipIdentity>, EditsFileError> {
    let identity = |clip: &PathBuf| {
        let found = fs::metadata(clip).map_err(|error| EditsFileError::NoClip {
            clip: clip.clone(),
            source: read_error_in_words(error),
        })?;
        Ok(ClipIdentity { name: file_name(clip), bytes: found.len() })
    };
    clips.iter().map(identity).collect()
}

/// Checks that a file of edits belongs to these clips. A recording is identified by the lengths of its files
/// in bytes, since files may have been renamed or moved.
fn check_belongs(path: &Path, of: &[ClipIdentity], clips: &[PathBuf]) -> Result<(), EditsFileError> {
    let lengths =
        |identities: &[ClipIdentity]| identities.iter().map(|identity| identity.bytes).collect::<Vec<u64>>();
    if lengths(of) == lengths(&identities(clips)?) {
        return Ok(());
    }
    Err(EditsFileError::OtherRecording {
        path: path.to_owned(),
        of: of.iter().map(|identity| identity.name.as_str()).collect::<Vec<_>>().join(", "),
        clip: clips.first().cloned().unwrap_or_default(),
    })
}

/// Checks that the legs as found are in order of time and within the recording. The error states the problem
/// in words.
fn check_found(table: &EditsTable) -> Result<(), String> {
    let (first_s, last_s) = table.recording_s;
    let mut until_s = first_s;
    for (leg, number) in table.legs.iter().zip(1..) {
        let GivenLeg { start_s, end_s, whole_s, throttle_percent, .. } = *leg;
        let (from_s, to_s) = whole_s.unwrap_or((start_s, end_s));
        let times = [first_s, last_s, start_s, end_s, from_s, to_s];
        if times.into_iter().any(|time_s| time_s.abs() > MAX_TIME_S) {
            return Err(format!(
                "a time of leg {number} or of the recording is later than {MAX_TIME_S} s or earlier than -{MAX_TIME_S} s"
            ));
        }
        let in_order = until_s <= start_s && start_s < end_s && end_s <= last_s;
        if !(in_order && from_s <= start_s && end_s <= to_s) {
            return Err(format!(
                "leg {number}, from {start_s} s to {end_s} s, ends before it starts, overlaps the leg before it, or lies outside the recording, which lasts from {first_s} s to {last_s} s"
            ));
        }
        if let Some(percent) = throttle_percent.filter(|percent| !(0.0..=100.0).contains(percent)) {
            return Err(format!("the throttle of leg {number}, {percent} %, is not within 0 to 100"));
        }
        until_s = end_s;
    }
    Ok(())
}

//! The label file in the folder of a glyph set: it keeps all labels, so that later labels add to earlier
//! ones.
//!
//! ```toml
//! [[label]]
//! clip = "flight.avi"        # looked for in the folder of the clip that is labelled now
//! channel = "speed"
//! time_s = 12.4              # seconds from the clip's first video frame
//! text = "63"                # the text on screen
//! insisted = true            # use the label although others contradict it; default: false
//! ```

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::reading::{LabelMoment, LabelledReading};
use crate::files::{Existing, MAX_TEXT_BYTES, read_text, write_whole};
use crate::glyphs::LABEL_FILES;
use crate::model::channel::Channel;
use crate::toml_words::in_one_line;

/// Difference in time below which two labels of one channel belong to the same frame, in seconds: the frame interval
/// at 100 frames a second, which is faster than cameras record.
const SAME_MOMENT_S: f64 = 0.01;
/// Comment at the top of the label file.
const HEAD: &str = "# Labelled readings that the digits are learned from. Edit, add or remove readings here as you like;\n\
    # the next time the digits are taught, all readings in this file are used.\n\n";

/// Why the label file cannot be used.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum LabelFileError {
    /// The label file cannot be read.
    #[error("cannot read the file of labelled readings {}: {reason}; correct the file, or remove it to start again", path.display())]
    Unusable {
        /// Path of the label file.
        path: PathBuf,
        /// Reason of the failure.
        reason: String,
    },
    /// The label file cannot be written.
    #[error(
        "cannot write the file of labelled readings {}: {reason}; check that you may write to its folder",
        path.display()
    )]
    Unwritable {
        /// Path of the label file.
        path: PathBuf,
        /// Reason of the failure.
        reason: String,
    },
}

/// A label as the label file stores it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StoredLabel {
    /// File name of the clip, without its folder.
    pub clip: String,
    /// Channel that was labelled.
    pub channel: Channel,
    /// Time in seconds from the clip's first frame.
    pub time_s: f64,
    /// The text on screen at that time.
    pub text: String,
    /// Whether the label is used although other labels contradict it.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub insisted: bool,
}

impl StoredLabel {
    /// The label without the name of its clip.
    #[must_use]
    pub fn reading(&self) -> LabelledReading {
        LabelledReading { channel: self.channel.clone(), time_s: self.time_s, text: self.text.clone() }
    }

    fn is_at(&self, clip: &str, channel: &Channel, time_s: f64) -> bool {
        self.clip == clip && self.channel == *channel && (self.time_s - time_s).abs() < SAME_MOMENT_S
    }
}

/// All labels of a glyph set, as stored in its label file.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LabelFile {
    /// The labels, in the order in which they were given.
    #[serde(rename = "label", alias = "told", default)]
    pub labels: Vec<StoredLabel>,
}

impl LabelFile {
    /// Path of the label file of the glyph set in `folder`.
    #[must_use]
    pub fn path(folder: &Path) -> PathBuf {
        folder.join(LABEL_FILES[0])
    }

    /// Loads the labels of the glyph set in `folder`, also from a file of an earlier version. There are none if
    /// neither file exists.
    ///
    /// # Errors
    ///
    /// [`LabelFileError::Unusable`] if the file cannot be read.
    pub fn load(folder: &Path) -> Result<Self, LabelFileError> {
        let paths = LABEL_FILES.map(|name| folder.join(name));
        let path = paths.iter().find(|path| path.exists()).unwrap_or(&paths[0]);
        let unusable = |reason: String| LabelFileError::Unusable { path: path.clone(), reason };
        match read_text(path, MAX_TEXT_BYTES) {
            Ok(text) => toml::from_str(&text).map_err(|error| unusable(in_one_line(&text, &error))),
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(Self::default()),
            Err(error) => Err(unusable(error.to_string())),
        }
    }

    /// Adds a label. It replaces an earlier label of the same clip, channel and time.
    pub fn add(&mut self, clip: &str, label: &LabelledReading) {
        self.forget(clip, &label.channel, label.time_s);
        let LabelledReading { channel, time_s, text } = label.clone();
        self.labels.push(StoredLabel { clip: clip.to_owned(), channel, time_s, text, insisted: false });
    }

    /// Removes the label of a channel at a time in seconds. Returns whether there was such a label.
    pub fn forget(&mut self, clip: &str, channel: &Channel, time_s: f64) -> bool {
        let before = self.labels.len();
        self.labels.retain(|label| !label.is_at(clip, channel, time_s));
        self.labels.len() < before
    }

    /// Removes a label that cannot be used.
    pub fn reject(&mut self, clip: &str, rejected: &LabelledReading) {
        self.labels.retain(|label| label.clip != clip || label.reading() != *rejected);
    }

    /// Marks the label of a channel at a time in seconds as one that the pilot insists on. Returns whether
    /// there is such a label.
    pub fn insist(&mut self, clip: &str, channel: &Channel, time_s: f64) -> bool {
        let label = self.labels.iter_mut().find(|label| label.is_at(clip, channel, time_s));
        label.map(|label| label.insisted = true).is_some()
    }

    /// Channels and times, in seconds, of the labels that are used although others contradict them.
    #[must_use]
    pub fn insisted(&self) -> Vec<LabelMoment> {
        let insisted = self.labels.iter().filter(|label| label.insisted);
        insisted.map(|label| LabelMoment { channel: label.channel.clone(), time_s: label.time_s }).collect()
    }

    /// Saves the labels to the folder of the glyph set. If writing fails, the old file is left unchanged.
    ///
    /// # Errors
    ///
    /// [`LabelFileError::Unwritable`] if the file cannot be written.
    pub fn save(&self, folder: &Path) -> Result<(), LabelFileError> {
        let path = Self::path(folder);
        let unwritable = |reason: String| LabelFileError::Unwritable { path: path.clone(), reason };
        let text = toml::to_string(self).map_err(|error| unwritable(error.to_string()))?;
        write_whole(&path, format!("{HEAD}{text}").as_bytes(), Existing::Replace)
            .map_err(|error| unwritable(error.to_string()))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use std::fs;

    use super::*;

    fn label(time_s: f64, text: &str) -> LabelledReading {
        LabelledReading { channel: Channel::Speed, time_s, text: text.to_owned() }
    }

    #[test]
    fn saved_labels_are_loaded_again_and_a_label_of_the_same_moment_is_replaced() {
        let folder = tempfile::tempdir().unwrap();
        let mut file = LabelFile::load(folder.path()).unwrap();
        assert!(file.labels.is_empty());
        file.add("a.avi", &label(1.5, "84"));
        file.add("a.avi", &label(3.0, "63"));
        file.add("a.avi", &label(1.5, "94"));
        file.add("b.avi", &label(1.5, "70"));
        file.save(folder.path()).unwrap();
        let again = LabelFile::load(folder.path()).unwrap();
        let texts: Vec<&str> = again.labels.iter().map(|label| label.text.as_str()).collect();
        assert_eq!(texts, ["63", "94", "70"]);
    }

    #[test]
    fn labels_of_an_earlier_version_are_kept() {
        let folder = tempfile::tempdir().unwrap();
        let text = "[[told]]\nclip = \"a.avi\"\nchannel = \"speed\"\ntime_s = 1.5\ntext = \"84\"\n";
        fs::write(folder.path().join(LABEL_FILES[1]), text).unwrap();
        let mut file = LabelFile::load(folder.path()).unwrap();
        file.add("a.avi", &label(3.0, "63"));
        file.save(folder.path()).unwrap();
        assert_eq!(LabelFile::load(folder.path()).unwrap().labels.len(), 2);
    }

    #[test]
    fn a_label_can_be_forgotten_once() {
        let mut file = LabelFile::default();
        file.add("a.avi", &label(1.5, "84"));
        assert!(!file.forget("b.avi", &Channel::Speed, 1.5));
        assert!(file.forget("a.avi", &Channel::Speed, 1.5));
        assert!(!file.forget("a.avi", &Channel::Speed, 1.5));
    }

    #[test]
    fn insisting_on_a_label_lasts_until_its_time_is_labelled_again() {
        let folder = tempfile::tempdir().unwrap();
        let mut file = LabelFile::default();
        file.add("a.avi", &label(1.5, "84"));
        assert!(!file.insist("a.avi", &Channel::Speed, 2.0) && file.insisted().is_empty());
        assert!(file.insist("a.avi", &Channel::Speed, 1.5));
        file.save(folder.path()).unwrap();
        let mut again = LabelFile::load(folder.path()).unwrap();
        assert_eq!(again.insisted(), [LabelMoment { channel: Channel::Speed, time_s: 1.5 }]);
        again.add("a.avi", &label(1.5, "94"));
        assert!(again.insisted().is_empty());
    }

    #[test]
    fn a_file_with_a_mistake_is_named() {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join(LABEL_FILES[0]), "[[label]]\nclip = 3").unwrap();
        let message = LabelFile::load(folder.path()).unwrap_err().to_string();
        assert!(message.contains("labels.toml") && message.contains("correct the file"), "{message}");
    }
}

//! The told readings kept beside a glyph set, so that a later lesson adds to the earlier ones.
//!
//! ```toml
//! [[told]]
//! clip = "flight.avi"        # looked for in the folder of the clip that is taught
//! channel = "speed"
//! time_s = 12.4              # seconds from the clip's first video frame
//! text = "63"                # what the overlay shows there
//! insisted = true            # learned from although other readings contradict it; left out: false
//! ```

use std::fs;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::LabelledReading;
use crate::files::{Existing, write_whole};
use crate::model::channel::Channel;
use crate::toml_words::in_one_line;

/// Name of the file inside a glyph set's folder.
const FILE_NAME: &str = "told.toml";
/// Moments nearer than this to each other are one moment, in seconds: less than a frame.
const SAME_MOMENT_S: f64 = 0.01;
const HEAD: &str = "# What you told `pairspeed teach`. Mend, add or remove readings here as you like;\n\
    # the next `pairspeed teach CLIP --setup FILE` learns from all that stands here.\n\n";

/// What can be wrong with the file of told readings.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum LabelFileError {
    /// It cannot be read.
    #[error("cannot read the told readings {}: {reason}: mend the file, or remove it to start anew", path.display())]
    Unusable {
        /// The file.
        path: PathBuf,
        /// Why.
        reason: String,
    },
    /// It cannot be written.
    #[error("cannot write the told readings {}: {reason}. Check that the folder is yours", path.display())]
    Unwritable {
        /// The file.
        path: PathBuf,
        /// Why.
        reason: String,
    },
}

/// One remembered reading.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StoredLabel {
    /// File name of the clip, without its folder.
    pub clip: String,
    /// The channel.
    pub channel: Channel,
    /// Time in seconds from the clip's first frame.
    pub time_s: f64,
    /// What the overlay shows there.
    pub text: String,
    /// Whether it is learned from although other readings contradict it.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub insisted: bool,
}

impl StoredLabel {
    /// The reading without its clip.
    #[must_use]
    pub fn reading(&self) -> LabelledReading {
        LabelledReading { channel: self.channel.clone(), time_s: self.time_s, text: self.text.clone() }
    }

    fn is_at(&self, clip: &str, channel: &Channel, time_s: f64) -> bool {
        self.clip == clip && self.channel == *channel && (self.time_s - time_s).abs() < SAME_MOMENT_S
    }
}

/// All remembered readings of a glyph set.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LabelFile {
    /// The readings, in the order told.
    #[serde(rename = "told", default)]
    pub labels: Vec<StoredLabel>,
}

impl LabelFile {
    /// Where the readings told for the glyph set in `folder` are kept.
    #[must_use]
    pub fn path(folder: &Path) -> PathBuf {
        folder.join(FILE_NAME)
    }

    /// Loads what was told for the glyph set in `folder`; nothing where there is no file yet.
    ///
    /// # Errors
    /// [`LabelFileError::Unusable`].
    pub fn load(folder: &Path) -> Result<Self, LabelFileError> {
        let path = Self::path(folder);
        let unusable = |reason: String| LabelFileError::Unusable { path: path.clone(), reason };
        match fs::read_to_string(&path) {
            Ok(text) => toml::from_str(&text).map_err(|error| unusable(in_one_line(&text, &error))),
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(Self::default()),
            Err(error) => Err(unusable(error.to_string())),
        }
    }

    /// Adds a reading; one of the same clip, channel and moment is replaced.
    pub fn add(&mut self, clip: &str, told: &LabelledReading) {
        self.forget(clip, &told.channel, told.time_s);
        let LabelledReading { channel, time_s, text } = told.clone();
        self.labels.push(StoredLabel { clip: clip.to_owned(), channel, time_s, text, insisted: false });
    }

    /// Removes the reading of a moment and tells whether there was one.
    pub fn forget(&mut self, clip: &str, channel: &Channel, time_s: f64) -> bool {
        let before = self.labels.len();
        self.labels.retain(|told| !told.is_at(clip, channel, time_s));
        self.labels.len() < before
    }

    /// Removes a label of a clip that cannot be used.
    pub fn reject(&mut self, clip: &str, label: &LabelledReading) {
        self.labels.retain(|told| told.clip != clip || told.reading() != *label);
    }

    /// Insists on the reading of a moment and tells whether there is one.
    pub fn insist(&mut self, clip: &str, channel: &Channel, time_s: f64) -> bool {
        let label = self.labels.iter_mut().find(|label| label.is_at(clip, channel, time_s));
        label.map(|label| label.insisted = true).is_some()
    }

    /// Channels and times, in seconds, of the readings insisted on.
    #[must_use]
    pub fn insisted(&self) -> Vec<(Channel, f64)> {
        let insisted = self.labels.iter().filter(|label| label.insisted);
        insisted.map(|label| (label.channel.clone(), label.time_s)).collect()
    }

    /// Saves the readings beside the glyph set in `folder`, whole or not at all.
    ///
    /// # Errors
    /// [`LabelFileError::Unwritable`].
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
    use super::*;

    fn told(time_s: f64, text: &str) -> LabelledReading {
        LabelledReading { channel: Channel::Speed, time_s, text: text.to_owned() }
    }

    #[test]
    fn what_was_told_is_there_again_and_the_same_moment_is_replaced() {
        let folder = tempfile::tempdir().unwrap();
        let mut file = LabelFile::load(folder.path()).unwrap();
        assert!(file.labels.is_empty());
        file.add("a.avi", &told(1.5, "84"));
        file.add("a.avi", &told(3.0, "63"));
        file.add("a.avi", &told(1.5, "94"));
        file.add("b.avi", &told(1.5, "70"));
        file.save(folder.path()).unwrap();
        let again = LabelFile::load(folder.path()).unwrap();
        let texts: Vec<&str> = again.labels.iter().map(|told| told.text.as_str()).collect();
        assert_eq!(texts, ["63", "94", "70"]);
    }

    #[test]
    fn a_moment_can_be_forgotten_once() {
        let mut file = LabelFile::default();
        file.add("a.avi", &told(1.5, "84"));
        assert!(!file.forget("b.avi", &Channel::Speed, 1.5));
        assert!(file.forget("a.avi", &Channel::Speed, 1.5));
        assert!(!file.forget("a.avi", &Channel::Speed, 1.5));
    }

    #[test]
    fn a_reading_insisted_on_stays_so_until_it_is_labelled_anew() {
        let folder = tempfile::tempdir().unwrap();
        let mut file = LabelFile::default();
        file.add("a.avi", &told(1.5, "84"));
        assert!(!file.insist("a.avi", &Channel::Speed, 2.0) && file.insisted().is_empty());
        assert!(file.insist("a.avi", &Channel::Speed, 1.5));
        file.save(folder.path()).unwrap();
        let mut again = LabelFile::load(folder.path()).unwrap();
        assert_eq!(again.insisted(), [(Channel::Speed, 1.5)]);
        again.add("a.avi", &told(1.5, "94"));
        assert!(again.insisted().is_empty());
    }

    #[test]
    fn a_file_with_a_slip_is_named() {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join(FILE_NAME), "[[told]]\nclip = 3").unwrap();
        let message = LabelFile::load(folder.path()).unwrap_err().to_string();
        assert!(message.contains("told.toml") && message.contains("mend"), "{message}");
    }
}

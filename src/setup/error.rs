//! Errors of a camera setup, worded for the pilot.

use std::fmt;
use std::io;
use std::path::PathBuf;

use thiserror::Error;

use super::{MAX_DIGITS, MAX_FRAME_PX, MIN_BOX_PX};
use crate::advice::{Advice, Advised};
use crate::geometry::PixelRect;
use crate::model::channel::Channel;
use crate::model::units::Unit;

/// Why a camera setup cannot be loaded, used or saved.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum SetupError {
    /// The file cannot be opened or read.
    #[error(
        "cannot read the setup file {}: {source}. Check the name, or write a new setup file",
        path.display()
    )]
    Unreadable {
        /// Path of the setup file.
        path: PathBuf,
        /// Error of the operating system.
        source: io::Error,
    },
    /// The file is not text.
    #[error("{} is not a setup file: it is not text in UTF-8. Give the .toml file, not the clip", path.display())]
    NotText {
        /// Path of the setup file.
        path: PathBuf,
    },
    /// The file is far larger than any setup.
    #[error(
        "{} is not a setup file: it is larger than {limit_bytes} bytes. Give the .toml file, not the clip",
        path.display()
    )]
    TooLarge {
        /// Path of the setup file.
        path: PathBuf,
        /// Maximum size of a setup file, in bytes.
        limit_bytes: u64,
    },
    /// The text is not valid TOML.
    #[error("{}, line {line}: not valid TOML ({message}): fix this line", path.display())]
    NotToml {
        /// Path of the setup file.
        path: PathBuf,
        /// Line number, from 1.
        line: usize,
        /// The parser's message.
        message: String,
    },
    /// The file is valid TOML, but not a valid setup.
    #[error("{}{}: {error}", path.display(), line.map(|line| format!(", line {line}")).unwrap_or_default())]
    Invalid {
        /// Path of the setup file.
        path: PathBuf,
        /// Line number, from 1; `None` if the error belongs to no line.
        line: Option<usize>,
        /// The wrong setting, and what is wrong with it.
        error: SettingError,
    },
    /// No region is marked as the speed.
    #[error(
        "{}: no region is marked as the speed, and without it no airspeed can be found: \
         add a [[region]] with channel = \"speed\"",
        path.display()
    )]
    NoSpeed {
        /// Path of the setup file.
        path: PathBuf,
    },
    /// The setup was made for a different frame size.
    #[error(
        "{}: the setup is for frames of {} x {} pixels, but {clip} has {} x {}: mark this clip in a setup \
         of its own, or scale the boxes and `frame` by hand",
        path.display(), setup_frame.0, setup_frame.1, clip_frame.0, clip_frame.1
    )]
    OtherFrame {
        /// Path of the setup file.
        path: PathBuf,
        /// Name of the clip.
        clip: String,
        /// Width and height that the setup is for, in pixels.
        setup_frame: (u32, u32),
        /// Width and height of the clip's frames, in pixels.
        clip_frame: (u32, u32),
    },
    /// The setup file exists and must not be replaced.
    #[error("{} exists already: name another file, or move it away", path.display())]
    Exists {
        /// Path of the setup file.
        path: PathBuf,
    },
    /// The setup file cannot be written.
    #[error("cannot write the setup file {}: {source}; choose another path, or fix this one", path.display())]
    Unwritable {
        /// Path of the setup file.
        path: PathBuf,
        /// Error of the operating system.
        source: io::Error,
    },
}

impl Advised for SetupError {
    fn advice(&self) -> Option<Advice> {
        match self {
            Self::Unreadable { .. } | Self::OtherFrame { .. } => Some(Advice::WriteSetup),
            Self::Invalid { error, .. } if matches!(*error.problem, SetupProblem::FrameSize { .. }) => {
                Some(Advice::InspectFrameSize)
            }
            _ => None,
        }
    }
}

/// Number and channel of a region, by which messages name it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RegionName {
    /// Number of the region in the setup file, from 1.
    pub number: usize,
    /// Channel of the region, if the setup file states one.
    pub channel: Option<String>,
}

impl fmt::Display for RegionName {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "region {}", self.number)?;
        self.channel.as_ref().map_or(Ok(()), |channel| write!(out, " ({channel})"))
    }
}

/// A wrong setting: what is wrong, and the region and key concerned.
#[derive(Debug, Clone, PartialEq, Error)]
pub struct SettingError {
    /// The region concerned; `None` for `[camera]`, `[aircraft]` and the file as a whole.
    pub region: Option<RegionName>,
    /// Name of the key concerned; `None` for the table as a whole.
    pub key: Option<String>,
    /// What is wrong.
    pub problem: Box<SetupProblem>,
}

impl SettingError {
    pub(super) fn new(region: Option<RegionName>, key: Option<&str>, problem: SetupProblem) -> Self {
        Self { region, key: key.map(str::to_owned), problem: Box::new(problem) }
    }
}

impl fmt::Display for SettingError {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.region {
            Some(region) => write!(out, "{region}: {}", self.problem),
            None => write!(out, "{}", self.problem),
        }
    }
}

/// What can be wrong in a setup file.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum SetupProblem {
    /// The key is not known.
    #[error("unknown key `{key}`{}: the keys here are {known}", suggestion(nearest.as_deref()))]
    UnknownKey {
        /// The key as written in the file.
        key: String,
        /// The known key with the most similar spelling, if one is similar.
        nearest: Option<String>,
        /// All keys that this table may have, as a list in words.
        known: String,
    },
    /// A required key is missing.
    #[error("`{key}` is missing: write {example}")]
    MissingKey {
        /// Name of the key.
        key: &'static str,
        /// An example of a valid value.
        example: &'static str,
    },
    /// The value has the wrong type or length.
    #[error("`{key}` has an unusable value ({found}): write {example}")]
    WrongType {
        /// Name of the key.
        key: &'static str,
        /// An example of a valid value.
        example: &'static str,
        /// The parser's message.
        found: String,
    },
    /// The unit is not known.
    #[error("unknown unit \"{spelling}\": use one of {allowed}")]
    UnknownUnit {
        /// The unit as written in the file.
        spelling: String,
        /// The symbols of the allowed units.
        allowed: String,
    },
    /// The unit does not measure the channel's quantity.
    #[error("the channel {} cannot have the unit {}: use one of {allowed}", channel.name(), unit.symbol())]
    WrongQuantity {
        /// Channel of the region.
        channel: Channel,
        /// The given unit.
        unit: Unit,
        /// The symbols of the allowed units.
        allowed: String,
    },
    /// Two regions have the same channel.
    #[error(
        "region {first} already has the channel {}: keep one of the two regions, or give this region another channel",
        channel.name()
    )]
    DuplicateChannel {
        /// Channel of both regions.
        channel: Channel,
        /// Number of the first region with this channel, from 1.
        first: usize,
    },
    /// The channel name cannot be used as a column name.
    #[error(
        "the channel name \"{name}\" cannot be used as a column name in the results: use only the letters a to z, digits, `_` and `-`"
    )]
    ChannelName {
        /// The name as written in the file.
        name: String,
    },
    /// The channel's column in series.csv would have the name of another column.
    #[error(
        "the channel {} needs a column `{column}` in the results, but that column name is already in use: rename the channel",
        channel.name()
    )]
    ColumnTaken {
        /// Channel whose column it would be.
        channel: Channel,
        /// Name of the column.
        column: String,
    },
    /// The box extends beyond the frame.
    #[error(
        "the box {rect} ends at x = {right}, y = {bottom}, outside the frame of {width} x {height} pixels: \
         x + width may be at most {width} and y + height at most {height}"
    )]
    BoxOutside {
        /// The box, in pixels.
        rect: PixelRect,
        /// First column to the right of the box, in pixels from the left edge of the frame.
        right: u64,
        /// First row below the box, in pixels from the top edge of the frame.
        bottom: u64,
        /// Width of the frame in pixels.
        width: u32,
        /// Height of the frame in pixels.
        height: u32,
    },
    /// The box is too small for a digit.
    #[error(
        "the box {rect} is too small for a digit: make it at least {} pixels wide and {} high",
        MIN_BOX_PX.0, MIN_BOX_PX.1
    )]
    BoxTooSmall {
        /// The box, in pixels.
        rect: PixelRect,
    },
    /// The frame size is zero or too large.
    #[error(
        "frame = [{width}, {height}] is not a frame size: width and height may be 1 to {MAX_FRAME_PX} pixels"
    )]
    FrameSize {
        /// Width in pixels.
        width: u32,
        /// Height in pixels.
        height: u32,
    },
    /// The range is empty, or an end is not a finite number.
    #[error("range = [{low}, {high}] contains no value: write two finite numbers, the lower one first")]
    Range {
        /// Lower end of the range as given, in the region's unit.
        low: f64,
        /// Upper end of the range as given, in the region's unit.
        high: f64,
    },
    /// The rate is not a finite number above 0.
    #[error("max_rate = {max_rate} allows no change: write a finite number above 0, or leave the key out")]
    MaxRate {
        /// The rate as given, in the region's unit per second.
        max_rate: f64,
    },
    /// The number of digits is out of bounds.
    #[error("digits = {digits} is out of bounds: it may be 1 to {MAX_DIGITS}")]
    Digits {
        /// The number of digits, as given.
        digits: u8,
    },
    /// There would be no digit before the decimal point.
    #[error(
        "decimals = {decimals} leaves no digit before the decimal point: it may be 0 to {max}; \
         `digits` counts all digits of the widest value"
    )]
    Decimals {
        /// The number of digits after the decimal point, as given.
        decimals: u8,
        /// The largest number that is possible.
        max: u8,
    },
    /// A number in `[aircraft]` is out of bounds.
    #[error("{key} = {value} is out of bounds: it may be {min} to {max}")]
    OutOfRange {
        /// Name of the key.
        key: &'static str,
        /// Value of the key, in the unit that the key's name states.
        value: f64,
        /// The smallest allowed value.
        min: f64,
        /// The largest allowed value.
        max: f64,
    },
    /// The setup has no region.
    #[error("no region is marked: add a [[region]] for each number to read, the speed first")]
    NoRegion,
    /// The setup has more regions than are allowed.
    #[error("{count} regions are marked: mark at most {max}")]
    TooManyRegions {
        /// Number of regions.
        count: usize,
        /// The largest number allowed.
        max: usize,
    },
}

fn suggestion(nearest: Option<&str>) -> String {
    nearest.map(|key| format!(" (did you mean `{key}`?)")).unwrap_or_default()
}

//! What can be wrong with a camera setup, in words for the pilot.

use std::fmt;
use std::io;
use std::path::PathBuf;

use thiserror::Error;

use super::{DIGITS_MAX, FRAME_MAX_PX, SMALLEST_BOX_PX};
use crate::geometry::PixelRect;
use crate::model::channel::Channel;
use crate::model::units::Unit;

/// A camera setup that cannot be loaded, used or saved.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum SetupError {
    /// The file cannot be opened or read.
    #[error(
        "cannot read the setup file {}: {source}. Check the name, or write a new one with `pairspeed setup CLIP`",
        path.display()
    )]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        source: io::Error,
    },
    /// The file is not text.
    #[error("{} is not a setup file: it is not text in UTF-8. Give the .toml file, not the clip", path.display())]
    NotText {
        /// The file.
        path: PathBuf,
    },
    /// The file is far larger than any setup.
    #[error(
        "{} is not a setup file: it is larger than {limit_bytes} bytes. Give the .toml file, not the clip",
        path.display()
    )]
    TooLarge {
        /// The file.
        path: PathBuf,
        /// The limit.
        limit_bytes: u64,
    },
    /// The text is not TOML.
    #[error("{}, line {line}: not valid TOML ({message}): mend this line", path.display())]
    NotToml {
        /// The file.
        path: PathBuf,
        /// The line, from 1.
        line: usize,
        /// What the parser says.
        message: String,
    },
    /// The file is TOML but the setup in it is wrong.
    #[error("{}{}: {fault}", path.display(), line.map(|line| format!(", line {line}")).unwrap_or_default())]
    Invalid {
        /// The file.
        path: PathBuf,
        /// The line, from 1, where there is one.
        line: Option<usize>,
        /// What is wrong.
        fault: Fault,
    },
    /// No region is marked as the speed.
    #[error(
        "{}: no region is marked as the speed, and without it no airspeed can be found: \
         add a [[region]] with channel = \"speed\"",
        path.display()
    )]
    NoSpeed {
        /// The setup file.
        path: PathBuf,
    },
    /// The setup was made for another frame size.
    #[error(
        "{}: the setup is for frames of {} x {} pixels, but {clip} has {} x {}: run `pairspeed setup {clip}` \
         to mark this clip, or scale the boxes and `frame` by hand",
        path.display(), setup_frame.0, setup_frame.1, clip_frame.0, clip_frame.1
    )]
    OtherFrame {
        /// The setup file.
        path: PathBuf,
        /// The clip as named by the user.
        clip: String,
        /// Width and height the setup is for.
        setup_frame: (u32, u32),
        /// Width and height of the clip.
        clip_frame: (u32, u32),
    },
    /// The file exists and is not to be replaced.
    #[error("{} exists already: name another file, or move it away", path.display())]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// The file cannot be written.
    #[error("cannot write the setup file {}: {source}; name another place for it, or mend that one", path.display())]
    Unwritable {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        source: io::Error,
    },
}

/// A region as the pilot finds it in the file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RegionName {
    /// Number of the region in the file, from 1.
    pub number: usize,
    /// Its channel, where it has one.
    pub channel: Option<String>,
}

impl fmt::Display for RegionName {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "region {}", self.number)?;
        self.channel.as_ref().map_or(Ok(()), |channel| write!(out, " ({channel})"))
    }
}

/// One thing wrong with a setup, and where.
#[derive(Debug, Clone, PartialEq, Error)]
pub struct Fault {
    /// The region; `None` for the camera, the aircraft or the file as a whole.
    pub region: Option<RegionName>,
    /// The key concerned; `None` for the table as a whole.
    pub key: Option<String>,
    /// What is wrong.
    pub problem: Box<Problem>,
}

impl Fault {
    pub(super) fn new(region: Option<RegionName>, key: Option<&str>, problem: Problem) -> Self {
        Self { region, key: key.map(str::to_owned), problem: Box::new(problem) }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.region {
            Some(region) => write!(out, "{region}: {}", self.problem),
            None => write!(out, "{}", self.problem),
        }
    }
}

/// What can be wrong inside a setup.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum Problem {
    /// A key that is not known.
    #[error("unknown key `{key}`{}: the keys here are {known}", meant(nearest.as_deref()))]
    UnknownKey {
        /// The key as met.
        key: String,
        /// The known key that is spelt most like it.
        nearest: Option<String>,
        /// The known keys of this table.
        known: String,
    },
    /// A key that must be there is not.
    #[error("`{key}` is missing: write {form}")]
    MissingKey {
        /// The key.
        key: &'static str,
        /// What it looks like.
        form: &'static str,
    },
    /// A value of the wrong kind.
    #[error("`{key}` cannot be used as it stands ({found}): write {form}")]
    WrongForm {
        /// The key.
        key: &'static str,
        /// What it looks like.
        form: &'static str,
        /// What the parser says.
        found: String,
    },
    /// A unit that is not known.
    #[error("unknown unit \"{spelling}\": use one of {allowed}")]
    UnknownUnit {
        /// The spelling as met.
        spelling: String,
        /// Symbols of the units that fit.
        allowed: String,
    },
    /// A unit of another quantity than the channel's.
    #[error("{} cannot be in {}: use one of {allowed}", channel.name(), unit.symbol())]
    WrongQuantity {
        /// The channel.
        channel: Channel,
        /// The unit as met.
        unit: Unit,
        /// Symbols of the units that fit.
        allowed: String,
    },
    /// A channel marked twice.
    #[error(
        "region {first} has the channel {} already: keep one of the two, or give this one another name",
        channel.name()
    )]
    DuplicateChannel {
        /// The channel.
        channel: Channel,
        /// Number of the region that has it, from 1.
        first: usize,
    },
    /// A name that cannot head a column.
    #[error(
        "the channel name \"{name}\" cannot head a column of the result: use only the letters a to z, digits, `_` and `-`"
    )]
    ChannelName {
        /// The name as met.
        name: String,
    },
    /// A channel whose column would have the name of another column.
    #[error(
        "the channel {} would fill the column `{column}`, which is taken: give it another name",
        channel.name()
    )]
    ColumnTaken {
        /// The channel.
        channel: Channel,
        /// The column.
        column: String,
    },
    /// A box that leaves the frame.
    #[error(
        "the box {place} ends at x = {right}, y = {bottom}, outside the frame of {width} x {height} pixels: \
         x + width may be at most {width} and y + height at most {height}"
    )]
    BoxOutside {
        /// The box.
        place: PixelRect,
        /// Its right end.
        right: u64,
        /// Its lower end.
        bottom: u64,
        /// Width of the frame.
        width: u32,
        /// Height of the frame.
        height: u32,
    },
    /// A box that cannot hold a digit.
    #[error(
        "the box {place} is too small to hold a digit: make it at least {} pixels wide and {} high",
        SMALLEST_BOX_PX.0, SMALLEST_BOX_PX.1
    )]
    BoxTooSmall {
        /// The box.
        place: PixelRect,
    },
    /// A frame size no clip has.
    #[error(
        "frame = [{width}, {height}] is no frame size: width and height may be 1 to {FRAME_MAX_PX} pixels; \
         `pairspeed inspect CLIP` shows the clip's"
    )]
    FrameSize {
        /// Width.
        width: u32,
        /// Height.
        height: u32,
    },
    /// A range with the higher end first, or without ends.
    #[error("range = [{low}, {high}] holds no value: write two finite numbers, the lower one first")]
    Range {
        /// Lower end as met.
        low: f64,
        /// Upper end as met.
        high: f64,
    },
    /// A rate that allows no change.
    #[error("max_rate = {max_rate} allows no change: write a finite number above 0, or leave the key out")]
    MaxRate {
        /// The rate as met.
        max_rate: f64,
    },
    /// A number of digits out of bounds.
    #[error("digits = {digits} is not possible: it may be 1 to {DIGITS_MAX}")]
    Digits {
        /// The number as met.
        digits: u8,
    },
    /// As many digits after the point as there are digits, or more.
    #[error(
        "decimals = {decimals} leaves no digit before the decimal point: it may be 0 to {most}; \
         `digits` counts all digits of the widest value"
    )]
    Decimals {
        /// The number as met.
        decimals: u8,
        /// The most that is possible.
        most: u8,
    },
    /// A number of the aircraft's notes that cannot be.
    #[error("{key} = {value} cannot be: it may be {least} to {most}")]
    OutOfRange {
        /// The key.
        key: &'static str,
        /// Its value.
        value: f64,
        /// Least value taken.
        least: f64,
        /// Greatest value taken.
        most: f64,
    },
    /// No region at all.
    #[error("no region is marked: add a [[region]] for each number to be read, the speed first")]
    NoRegion,
}

fn meant(nearest: Option<&str>) -> String {
    nearest.map(|key| format!(" (did you mean `{key}`?)")).unwrap_or_default()
}

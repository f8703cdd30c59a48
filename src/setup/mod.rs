//! The camera setup: where on the frame each channel stands and how it is written.

mod aircraft;
mod error;
mod file;
mod keys;
mod outline;
mod plausible;
mod validate;

#[cfg(test)]
mod tests;

use std::path::PathBuf;

use serde::{Deserialize, Serialize};

use crate::geometry::PixelRect;
use crate::model::channel::Channel;
use crate::model::units::Unit;

pub use aircraft::{Aircraft, AircraftError, FULL_CELL_V, LANDING_V_PER_CELL};
pub use error::{Fault, Problem, RegionName, SetupError};
pub use file::LoadedSetup;

/// Most digits a value may have.
pub const DIGITS_MAX: u8 = 8;
/// No file written by hand comes near this size.
const LIMIT_BYTES: u64 = 1 << 20;
/// Width and height of the smallest box that can hold a digit, in pixels.
pub const SMALLEST_BOX_PX: (u32, u32) = (4, 6);
/// Widest and highest frame that is taken, in pixels.
pub const FRAME_MAX_PX: u32 = 16_384;

/// One marked region: the box of one channel and what is known of its values.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Region {
    /// The channel shown here.
    pub channel: Channel,
    /// The box, in pixels of [`Camera::frame`].
    #[serde(rename = "box")]
    pub place: PixelRect,
    /// The unit of the values shown.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<Unit>,
    /// Digits of the widest value, those after the decimal point included.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub digits: Option<u8>,
    /// Digits after the decimal point.
    #[serde(default)]
    pub decimals: u8,
    /// Lowest and highest plausible value, in the region's unit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub range: Option<(f64, f64)>,
    /// Fastest plausible change, in the region's unit per second.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub max_rate: Option<f64>,
}

impl Region {
    /// A region of which only the channel, the box and the unit are known.
    #[must_use]
    pub fn new(channel: Channel, place: PixelRect, unit: Option<Unit>) -> Self {
        Self { channel, place, unit, digits: None, decimals: 0, range: None, max_rate: None }
    }

    /// The mark that parts the digits, and how many digits follow it: a colon and two for minutes and seconds,
    /// else the decimal point and the decimals.
    #[must_use]
    pub fn parted(&self) -> (char, u8) {
        match self.unit {
            Some(Unit::MinutesAndSeconds) => (':', 2),
            _ => ('.', self.decimals),
        }
    }
}

/// The camera and its overlay.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Camera {
    /// The pilot's name for this camera.
    pub name: String,
    /// Width and height of the frame that the boxes refer to, in pixels.
    pub frame: (u32, u32),
    /// Folder of the glyph set, relative to the setup file; see [`LoadedSetup::glyph_folder`] for
    /// `None`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub glyphs: Option<PathBuf>,
}

/// A camera setup as read from its file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Setup {
    /// The camera and its overlay.
    pub camera: Camera,
    /// What is told of the aircraft that carries it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub aircraft: Option<Aircraft>,
    /// The marked regions.
    #[serde(rename = "region", default)]
    pub regions: Vec<Region>,
}

impl Setup {
    /// The region of a channel, if it is marked.
    #[must_use]
    pub fn region(&self, channel: &Channel) -> Option<&Region> {
        self.regions.iter().find(|region| region.channel == *channel)
    }
}

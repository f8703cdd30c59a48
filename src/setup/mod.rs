//! The camera setup: where in the frame each channel is shown, and in which form.

mod aircraft;
mod error;
mod file;
mod glyph_sets;
mod key_positions;
mod plausible_limits;
mod schema;
mod text_file;
mod validate;

#[cfg(test)]
mod tests;

use std::path::PathBuf;

use serde::{Deserialize, Serialize};

use crate::geometry::PixelRect;
use crate::model::channel::Channel;
use crate::model::units::Unit;

pub use aircraft::{Aircraft, AircraftError, FULL_CELL_V, LANDING_V_PER_CELL};
pub use error::{RegionName, SettingError, SetupError, SetupProblem};
pub(crate) use file::setup_name;
pub use file::{LoadedSetup, usual_setup};
pub use glyph_sets::glyph_sets;

/// Maximum number of digits of a value, also assumed if the setup states no number. Set by judgement: overlays rarely
/// show more than six.
pub const MAX_DIGITS: u8 = 8;
/// Minimum width and height of a box, in pixels. Set by judgement: no digit is legible in a smaller box.
pub const MIN_BOX_PX: (u32, u32) = (4, 6);
/// Maximum width and height of a frame, in pixels. Set by judgement: twice the width of 8K video.
pub const MAX_FRAME_PX: u32 = 16_384;

/// A region: the box in which a channel is shown, and the form of its values.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Region {
    /// The channel shown in the box.
    pub channel: Channel,
    /// The box around the readout, in pixels of a frame of size [`Camera::frame`].
    #[serde(rename = "box")]
    pub rect: PixelRect,
    /// The unit of the values shown. If `None`, [`Region::unit_shown`] gives the usual one of the channel.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<Unit>,
    /// Number of digits of the widest value, including those after the decimal point; `None` if any number is
    /// possible.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub digits: Option<u8>,
    /// Number of digits after the decimal point.
    #[serde(default)]
    pub decimals: u8,
    /// Lowest and highest plausible value, in the region's unit. If `None`, [`Region::plausible_range`] gives
    /// the default.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub range: Option<(f64, f64)>,
    /// Fastest plausible change, in the region's unit per second. If `None`, [`Region::plausible_max_rate`]
    /// gives the default.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub max_rate: Option<f64>,
}

impl Region {
    /// A region with only a channel, a box and a unit.
    #[must_use]
    pub fn new(channel: Channel, rect: PixelRect, unit: Option<Unit>) -> Self {
        Self { channel, rect, unit, digits: None, decimals: 0, range: None, max_rate: None }
    }

    /// The character that separates the digits: the colon of minutes and seconds, otherwise the decimal
    /// point.
    #[must_use]
    pub fn separator(&self) -> Separator {
        match self.unit {
            Some(Unit::MinutesAndSeconds) => Separator { character: ':', digits_after: 2 },
            _ => Separator { character: '.', digits_after: self.decimals },
        }
    }
}

/// The character between the digits of a value (decimal point or colon), and how many digits follow this character.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Separator {
    /// The character: a decimal point or a colon.
    pub character: char,
    /// Number of digits after the decimal character; 0 if values are whole numbers, shown without it.
    pub digits_after: u8,
}

/// The camera and its overlay.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Camera {
    /// The pilot's name for this camera.
    pub name: String,
    /// Width and height of the frame that the boxes refer to, in pixels.
    pub frame: (u32, u32),
    /// Folder of the glyph set, relative to the setup file. If `None`, [`LoadedSetup::glyph_folder`] gives
    /// the default.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub glyphs: Option<PathBuf>,
}

/// A camera setup, as its file describes it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Setup {
    /// The camera and its overlay.
    pub camera: Camera,
    /// The aircraft that carries the camera, if the setup describes it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub aircraft: Option<Aircraft>,
    /// The regions, in the order of the file.
    #[serde(rename = "region", default)]
    pub regions: Vec<Region>,
}

impl Setup {
    /// The region of a channel; `None` if there is none.
    #[must_use]
    pub fn region(&self, channel: &Channel) -> Option<&Region> {
        self.regions.iter().find(|region| region.channel == *channel)
    }
}

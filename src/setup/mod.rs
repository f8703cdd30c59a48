//! The camera setup: where on the frame each channel stands and how it is written.

use std::path::PathBuf;

use serde::{Deserialize, Serialize};

use crate::channel::Channel;
use crate::units::Unit;

/// A rectangle in pixels of the frame: left, top, width, height.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(from = "[u32; 4]", into = "[u32; 4]")]
pub struct PixelBox {
    /// Distance of the left edge from the frame's left edge.
    pub x: u32,
    /// Distance of the top edge from the frame's top edge.
    pub y: u32,
    /// Width.
    pub width: u32,
    /// Height.
    pub height: u32,
}

impl From<[u32; 4]> for PixelBox {
    fn from([x, y, width, height]: [u32; 4]) -> Self {
        Self { x, y, width, height }
    }
}

impl From<PixelBox> for [u32; 4] {
    fn from(place: PixelBox) -> Self {
        [place.x, place.y, place.width, place.height]
    }
}

/// One marked region: the box of one channel and what is known of its values.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Region {
    /// The channel shown here.
    pub channel: Channel,
    /// The box, in pixels of [`Camera::frame`].
    #[serde(rename = "box")]
    pub place: PixelBox,
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

/// The camera and its overlay.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Camera {
    /// The pilot's name for this camera.
    pub name: String,
    /// Width and height of the frame that the boxes refer to, in pixels.
    pub frame: (u32, u32),
    /// Folder of the glyph set, relative to the setup file; `None`: the built-in sets are tried.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub glyphs: Option<PathBuf>,
}

/// A camera setup as read from its file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Setup {
    /// The camera and its overlay.
    pub camera: Camera,
    /// The marked regions.
    #[serde(rename = "region", default)]
    pub regions: Vec<Region>,
}

//! The overlay in the scenario: values, positions, fonts and formats.

use std::path::Path;

use serde::{Deserialize, Serialize};

use crate::drawing::{DrawnSet, Icon};

/// The text on the frame: table `[overlay]`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Overlay {
    /// Number of times per second that the text is updated.
    #[serde(default = "update_hz")]
    pub update_hz: f64,
    /// Brightness of the text, 0 to 1.
    #[serde(default = "brightness")]
    pub brightness: f32,
    /// The values: tables `[[overlay.field]]`.
    #[serde(rename = "field")]
    pub fields: Vec<Field>,
}

fn update_hz() -> f64 {
    8.0
}

fn brightness() -> f32 {
    0.96
}

/// The quantity that a field shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Channel {
    /// Ground speed, in km/h, m/s, mph or kn.
    Speed,
    /// Pack voltage, in V.
    Voltage,
    /// Mean voltage of a cell, in V.
    CellVoltage,
    /// Altitude above sea level or above the field, in m or ft.
    Altitude,
    /// Number of satellites used.
    Satellites,
    /// Throttle, in %.
    Throttle,
    /// Current, in A.
    Current,
    /// Electric power, in W.
    Power,
    /// Charge used, in mAh.
    Charge,
    /// Course over the ground, in degrees.
    Heading,
    /// Time since the launch, as minutes and seconds.
    Timer,
}

impl Channel {
    /// The channel's name in files.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Speed => "speed",
            Self::Voltage => "voltage",
            Self::CellVoltage => "cell_voltage",
            Self::Altitude => "altitude",
            Self::Satellites => "satellites",
            Self::Throttle => "throttle",
            Self::Current => "current",
            Self::Power => "power",
            Self::Charge => "charge",
            Self::Heading => "heading",
            Self::Timer => "timer",
        }
    }

    /// The names of the units in which the channel can be shown, each with the factor to it from the SI unit (or from
    /// percent, degrees or mAh). The first is the default; empty for a number without unit.
    #[must_use]
    pub const fn units(self) -> &'static [(&'static str, f64)] {
        match self {
            Self::Speed => &[("km/h", 3.6), ("m/s", 1.0), ("mph", 1.0 / 0.44704), ("kn", 3600.0 / 1852.0)],
            Self::Voltage | Self::CellVoltage => &[("V", 1.0)],
            Self::Altitude => &[("m", 1.0), ("ft", 1.0 / 0.3048)],
            Self::Satellites => &[],
            Self::Timer => &[("min:s", 1.0)],
            Self::Throttle => &[("%", 1.0)],
            Self::Current => &[("A", 1.0)],
            Self::Power => &[("W", 1.0)],
            Self::Charge => &[("mAh", 1.0)],
            Self::Heading => &[("deg", 1.0)],
        }
    }
}

/// Alignment of a value in its box.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Align {
    /// Left: the first character keeps its position.
    Left,
    /// Right: the last character keeps its position.
    #[default]
    Right,
    /// Centre: the middle of the text keeps its position.
    Centre,
}

/// What an altitude is measured from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum AltitudeOver {
    /// Sea level.
    #[default]
    Sea,
    /// The field.
    Field,
}

/// The edge around the letters of a font file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum TextEdge {
    /// No edge.
    Plain,
    /// A black outline.
    #[default]
    Outline,
    /// A soft dark shadow to the lower right.
    Shadow,
    /// Only the contours of the letters, with a black outline around them; the scenery is visible inside the
    /// contours.
    Hollow,
}

/// One value on the frame: table `[[overlay.field]]`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Field {
    /// The quantity that is shown.
    pub channel: Channel,
    /// Left and top edge of the value's box, in pixels of the frame.
    pub position: [f32; 2],
    /// Number of characters in the box, including the decimal point.
    pub width: usize,
    /// Number of digits after the decimal point.
    #[serde(default)]
    pub decimals: usize,
    /// Unit of the value; default: the first unit of the channel.
    #[serde(default)]
    pub unit: Option<String>,
    /// Whether the unit is written after the value.
    #[serde(default)]
    pub show_unit: bool,
    /// The name of a drawn set (`block`, `slim`, `round`), or the path of a TTF or OTF file.
    pub font: String,
    /// Height of the cell of a drawn set, or font size of a font file, in pixels.
    pub height_px: f32,
    /// Factor by which the letters are widened.
    #[serde(default = "one")]
    pub stretch: f32,
    /// Edge around the letters of a font file; drawn sets have their own.
    #[serde(default)]
    pub edge: TextEdge,
    /// Width of the outline around the letters of a font file, or length of their shadow, in pixels; default:
    /// derived from the size.
    #[serde(default)]
    pub edge_px: Option<f32>,
    /// Colour of the letters: red, green and blue, 0 to 255. The overlay's brightness dims it.
    #[serde(default = "white")]
    pub colour: [u8; 3],
    /// Colour of outline, shadow or halo: red, green and blue, 0 to 255.
    #[serde(default)]
    pub edge_colour: [u8; 3],
    /// Additional space between two letters of the value, in pixels; below 0 they touch or overlap.
    #[serde(default)]
    pub letter_spacing_px: f32,
    /// Darkness of a box behind the value, 0 to 1, where 1 is black.
    #[serde(default)]
    pub shade: f32,
    /// Alignment of the value in its box.
    #[serde(default)]
    pub align: Align,
    /// Whether empty positions before the value are filled with zeros.
    #[serde(default)]
    pub leading_zeros: bool,
    /// An icon in front of the value; `None` if there is none.
    #[serde(default)]
    pub icon: Option<Icon>,
    /// Letters in front of the value.
    #[serde(default)]
    pub prefix: String,
    /// What an altitude is measured from.
    #[serde(default)]
    pub over: AltitudeOver,
}

fn one() -> f32 {
    1.0
}

fn white() -> [u8; 3] {
    [255; 3]
}

impl Field {
    /// The unit shown, and the factor to it from the SI unit (or from percent, degrees or mAh). The unit is `None`, and
    /// the factor 1, for a channel without units.
    #[must_use]
    pub fn unit_and_factor(&self) -> (Option<&'static str>, f64) {
        let units = self.channel.units();
        let asked = self.unit.as_deref();
        let found = units.iter().find(|(name, _)| Some(*name) == asked).or(units.first());
        found.map_or((None, 1.0), |&(name, factor)| (Some(name), factor))
    }

    /// The drawn set of the font; `None` if the font is a file.
    #[must_use]
    pub fn drawn_set(&self) -> Option<DrawnSet> {
        DrawnSet::from_name(&self.font)
    }

    pub(super) fn resolve_font(&mut self, folder: &Path) {
        if self.drawn_set().is_none() {
            self.font = folder.join(&self.font).to_string_lossy().into_owned();
        }
    }
}

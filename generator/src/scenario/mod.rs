//! The scenario file: all settings of a clip, from the airframe to the encoder.
//!
//! A scenario is TOML. Every table but `airframe`, `flight` and `overlay` may be left out. Unknown keys are
//! errors. See the fields of [`Scenario`] and of the structs in it for all keys.

mod check;
mod curve;
mod degradation;
mod flight;
mod overlay;
mod video;

use std::path::Path;

use serde::{Deserialize, Serialize};

pub use curve::Curve;
pub use degradation::{Composite, Degradation, Echo, LostLines, SignalLoss, SignalLossKind};
pub use flight::{Airframe, FlightPlan, LegKind, LoneLeg, Pack, Receiver, Wind};
pub use overlay::{Align, AltitudeOver, Channel, Field, Overlay, TextEdge};
pub use video::{Codec, Container, PixelFormat, Rate, Scenery, Video};

use crate::error::Error;

/// The settings of a clip to be made.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Scenario {
    /// Name of the scenario; also the first part of the names of the written files.
    pub name: String,
    /// Seed of all random numbers; the same scenario with the same seed gives the same frames.
    #[serde(default)]
    pub seed: u64,
    /// The aircraft.
    pub airframe: Airframe,
    /// The plan of the flight.
    pub flight: FlightPlan,
    /// The wind; calm if left out.
    #[serde(default)]
    pub wind: Wind,
    /// The battery pack.
    #[serde(default)]
    pub pack: Pack,
    /// The satellite receiver.
    #[serde(default)]
    pub receiver: Receiver,
    /// The text on the image.
    pub overlay: Overlay,
    /// What the camera sees.
    #[serde(default)]
    pub scenery: Scenery,
    /// Degradation of the image on its way to the recorder; none if left out.
    #[serde(default)]
    pub degradation: Degradation,
    /// Frame size, rate and encoding.
    #[serde(default)]
    pub video: Video,
}

impl Scenario {
    /// Reads a scenario from TOML text and checks its values. Font files are relative to the
    /// current folder.
    ///
    /// # Errors
    /// [`Error::Parse`] for bad TOML or unknown keys, [`Error::Value`] for a value out of range.
    pub fn from_toml(text: &str) -> Result<Self, Error> {
        let scenario: Self = toml::from_str(text)?;
        scenario.check()?;
        Ok(scenario)
    }

    /// Reads a scenario from a file; paths of font files and of the background film are relative to the
    /// scenario's folder.
    ///
    /// # Errors
    ///
    /// [`Error::Read`] if the file cannot be read, and the errors of [`Scenario::from_toml`].
    pub fn from_file(path: &Path) -> Result<Self, Error> {
        let text =
            std::fs::read_to_string(path).map_err(|cause| Error::Read { path: path.to_path_buf(), cause })?;
        let mut scenario = Self::from_toml(&text)?;
        if let Some(folder) = path.parent() {
            for field in &mut scenario.overlay.fields {
                field.resolve_font(folder);
            }
            if let Some(film) = &mut scenario.scenery.background {
                *film = folder.join(&film);
            }
        }
        Ok(scenario)
    }
}

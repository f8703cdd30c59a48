//! The scenario file: everything about a clip, from the airframe to the encoder.
//!
//! A scenario is TOML. Every table but `airframe`, `flight` and `overlay` may be left out. Unknown
//! keys are errors. See the fields of [`Scenario`] and of the structs it holds for all keys.

mod check;
mod curve;
mod degradation;
mod flight;
mod overlay;
mod video;

use std::path::Path;

use serde::{Deserialize, Serialize};

pub use curve::Curve;
pub use degradation::{Composite, Degradation, Echo, LostLines, LostLook, LostPicture};
pub use flight::{Airframe, FlightPlan, LegKind, LoneLeg, Pack, Receiver, Wind};
pub use overlay::{Align, AltitudeOver, Channel, Field, Overlay, TextEdge};
pub use video::{Codec, Container, PixelFormat, Rate, Scenery, Video};

use crate::error::Error;

/// A clip to be made.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Scenario {
    /// Name of the scenario; also the stem of the files written.
    pub name: String,
    /// Seed of everything random; the same scenario and seed give the same frames.
    #[serde(default)]
    pub seed: u64,
    /// The aircraft.
    pub airframe: Airframe,
    /// What is flown.
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
    /// The text on the picture.
    pub overlay: Overlay,
    /// What the camera sees.
    #[serde(default)]
    pub scenery: Scenery,
    /// What happens to the picture on its way; nothing if left out.
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

    /// Reads a scenario from a file; font files and the background film are relative to the
    /// scenario's folder.
    ///
    /// # Errors
    /// [`Error::Read`], or as [`Scenario::from_toml`].
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

//! Degradation between camera and recorder: noise, echoes, lost lines, lost pictures.

use serde::{Deserialize, Serialize};

/// Degradation of the frames: table `[degradation]`. Everything is off if left out.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Degradation {
    /// Standard deviation of the noise, in grey levels of 256.
    pub noise: f32,
    /// Horizontal blur: standard deviation in pixels.
    pub blur_px: f32,
    /// Standard deviation of each line's sideways shift, in pixels; limited to twice that.
    pub line_shift_px: f32,
    /// Amplitude of the slow change of contrast, as a share: the change varies as much as a sine of this
    /// amplitude.
    pub gain_flutter: f32,
    /// Loss of contrast, 0 (none) to 1 (flat grey): a weak signal.
    pub flatten: f32,
    /// A repeat of the picture some pixels later.
    pub echo: Option<Echo>,
    /// Bursts of lines lost in noise.
    pub lost_lines: Option<LostLines>,
    /// The signal between camera and recorder is composite video of this system.
    pub composite: Option<Composite>,
    /// Two fields make a frame; a text that changes between them appears on alternate lines.
    pub interlaced: bool,
    /// Reach of the overlay's slow wandering, in pixels.
    pub overlay_drift_px: f32,
    /// GaussianBlur of the camera's own picture, before the text is added: blur in pixels.
    pub camera_blur_px: f32,
    /// Stretches of lost picture.
    pub lost_picture: Vec<LostPicture>,
}

/// A repeat of the picture: table `[degradation.echo]`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Echo {
    /// How many pixels later.
    pub delay_px: f32,
    /// Strength relative to the picture; may be negative.
    pub strength: f32,
}

/// Bursts of lost lines: table `[degradation.lost_lines]`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LostLines {
    /// Mean number of bursts a second.
    pub bursts_per_s: f32,
    /// Most lines lost in one burst.
    pub lines: u32,
}

/// Composite video systems.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Composite {
    /// Colour subcarrier 4.43361875 MHz whose phase alternates from line to line.
    Pal,
    /// Colour subcarrier 3.579545 MHz.
    Ntsc,
}

/// A stretch of lost picture: table `[[degradation.lost_picture]]`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LostPicture {
    /// Start in the flight, in seconds.
    pub start_s: f64,
    /// Length in seconds.
    pub length_s: f64,
    /// What is seen instead.
    pub look: LostLook,
}

/// What is seen while the picture is lost.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum LostLook {
    /// Noise only.
    Static,
    /// A blue screen.
    Blue,
    /// A black screen.
    Black,
    /// The last frame, again and again.
    Frozen,
}

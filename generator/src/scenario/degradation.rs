//! Degradation of the image between camera and recorder: noise, echoes, lost lines, signal loss.

use serde::{Deserialize, Serialize};

/// Degradation of the frames: table `[degradation]`. What the table does not state is off.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Degradation {
    /// Standard deviation of the noise, in grey levels (0 to 255).
    pub noise: f32,
    /// Horizontal blur: standard deviation in pixels.
    pub blur_px: f32,
    /// Standard deviation of the horizontal shift of each line, in pixels; shifts are limited to twice this number.
    pub line_shift_px: f32,
    /// Strength of the slow random change of contrast, as a share of the contrast. The change has the standard
    /// deviation of a sine of this amplitude.
    pub gain_flutter: f32,
    /// Loss of contrast, from 0 (none) to 1 (uniform grey), as with a weak signal.
    pub flatten: f32,
    /// A copy of the image shifted to the right by some pixels; `None` if there is none.
    pub echo: Option<Echo>,
    /// Bursts of lines lost in noise; `None` if there is none.
    pub lost_lines: Option<LostLines>,
    /// The composite video system between camera and recorder; `None` (no such system) if left out.
    pub composite: Option<Composite>,
    /// Whether two fields make up a frame, so that a text that changes between them appears on alternate
    /// lines.
    pub interlaced: bool,
    /// Maximum distance by which the overlay moves slowly, in pixels.
    pub overlay_drift_px: f32,
    /// Standard deviation of the Gaussian blur of the camera's own image, before the text is added, in
    /// pixels.
    pub camera_blur_px: f32,
    /// Intervals of signal loss.
    pub signal_loss: Vec<SignalLoss>,
}

/// A shifted copy of the image: table `[degradation.echo]`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Echo {
    /// Shift of the copy to the right, in pixels.
    pub delay_px: f32,
    /// Strength of the copy relative to the image; may be negative.
    pub strength: f32,
}

/// Bursts of lost lines: table `[degradation.lost_lines]`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LostLines {
    /// Mean number of bursts per second.
    pub bursts_per_s: f32,
    /// Maximum number of lines lost in one burst.
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

/// An interval of signal loss: table `[[degradation.signal_loss]]`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SignalLoss {
    /// Start, in seconds from the start of the flight.
    pub start_s: f64,
    /// Length in seconds.
    pub length_s: f64,
    /// What the frames show during the loss.
    pub look: SignalLossKind,
}

/// What the frames show while the signal is lost.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum SignalLossKind {
    /// Noise only.
    Static,
    /// A blue screen.
    Blue,
    /// A black screen.
    Black,
    /// The last frame, repeated.
    Frozen,
}

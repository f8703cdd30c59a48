//! What the camera sees, and how frames are encoded: the tables `[scenery]` and `[video]`.

use std::path::PathBuf;

use serde::{Deserialize, Serialize};

/// What the camera sees: table `[scenery]`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Scenery {
    /// A video file that replaces the drawn scenery; `None` for the drawn scenery. It is scaled and cropped to the
    /// frame, converted to the frame rate, and repeated; the other keys of the table then have no effect. At most 400
    /// MiB of its decoded frames are used (682 frames of 640 by 480 pixels).
    pub background: Option<PathBuf>,
    /// Horizontal field of view in degrees.
    pub view_deg: f32,
    /// Angle by which the camera looks down from horizontal, in degrees.
    pub camera_tilt_deg: f32,
    /// Share of the sky that clouds cover, 0 to 1; clouds are nearly white.
    pub cloud: f32,
    /// Brightness of the whole image, relative to the usual exposure.
    pub exposure: f32,
    /// Strength of the colours; 0 for a grey image.
    pub colour: f32,
    /// Contrast of the ground's fine texture, relative to its usual contrast.
    pub texture: f32,
    /// Amplitude of the camera's shaking, in degrees.
    pub shake_deg: f32,
}

impl Default for Scenery {
    fn default() -> Self {
        Self {
            background: None,
            view_deg: 105.0,
            camera_tilt_deg: 4.0,
            cloud: 0.45,
            exposure: 1.0,
            colour: 1.0,
            texture: 1.0,
            shake_deg: 0.08,
        }
    }
}

/// Frame size, rate and encoding: table `[video]`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Video {
    /// Frame width in pixels; must be even.
    pub width: usize,
    /// Frame height in pixels; must be even.
    pub height: usize,
    /// Frame rate in frames per second, as a number or as a fraction such as `"30000/1001"`.
    pub frame_rate: Rate,
    /// The encoder.
    pub codec: Codec,
    /// The file format, which is also the file name's extension.
    pub container: Container,
    /// How colour is stored.
    pub pixel_format: PixelFormat,
    /// For MJPEG and MPEG-4 the quantiser, from 2 (best) to 31; for H.264 and H.265 the constant rate factor,
    /// from 0 (best) to 51.
    pub quality: u32,
    /// Number of frames from one key frame to the next; without effect for MJPEG.
    pub keyframe_frames: u32,
    /// Share of the frames that were not recorded, 0 to 0.9; the other frames keep their time stamps.
    pub dropped: f64,
    /// Amplitude of a cosine wave that is added to the nominal time stamps, in seconds; a time stamp is up to twice this
    /// late.
    pub stamp_wobble_s: f64,
    /// Times of the flight, in seconds, at which the recorder starts a new file.
    pub split_at_s: Vec<f64>,
    /// Length of the gap before each new file, in seconds.
    pub split_gap_s: f64,
    /// Recorded length of the flight in seconds; default: the whole flight.
    pub length_s: Option<f64>,
}

impl Default for Video {
    fn default() -> Self {
        Self {
            width: 640,
            height: 480,
            frame_rate: Rate::Number(30.0),
            codec: Codec::Mjpeg,
            container: Container::Avi,
            pixel_format: PixelFormat::Yuv420,
            quality: 5,
            keyframe_frames: 60,
            dropped: 0.0,
            stamp_wobble_s: 0.0,
            split_at_s: Vec::new(),
            split_gap_s: 0.0,
            length_s: None,
        }
    }
}

/// A frame rate.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Rate {
    /// Frames per second; 23.976, 29.97 and 59.94 stand for 24, 30 and 60 times 1000/1001.
    Number(f64),
    /// A fraction such as `"30000/1001"`.
    Fraction(String),
}

impl Rate {
    /// Numerator and denominator of the rate in frames per second; `None` if it is not a rate from 1 to 240.
    #[must_use]
    pub fn fraction(&self) -> Option<(u32, u32)> {
        let (numerator, denominator) = match self {
            Self::Number(rate) => number_fraction(*rate),
            Self::Fraction(text) => {
                let (numerator, denominator) = text.split_once('/')?;
                (numerator.trim().parse().ok()?, denominator.trim().parse().ok()?)
            }
        };
        let rate = f64::from(numerator) / f64::from(denominator);
        (1.0..=240.0).contains(&rate).then_some((numerator, denominator))
    }
}

fn number_fraction(rate: f64) -> (u32, u32) {
    let film = (rate * 1.001).round();
    if rate.fract() != 0.0 && (film / 1.001 - rate).abs() < 0.006 {
        (film as u32 * 1000, 1001)
    } else {
        ((rate * 1000.0).round() as u32, 1000)
    }
}

/// Encoders.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Codec {
    /// Motion JPEG.
    Mjpeg,
    /// H.264.
    H264,
    /// H.265.
    H265,
    /// MPEG-4 part 2.
    Mpeg4,
}

/// File formats.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Container {
    /// AVI.
    Avi,
    /// MP4.
    Mp4,
    /// QuickTime.
    Mov,
    /// MPEG transport stream.
    Ts,
    /// Matroska.
    Mkv,
}

impl Container {
    /// The extension of the file name, without the point.
    #[must_use]
    pub const fn suffix(self) -> &'static str {
        match self {
            Self::Avi => "avi",
            Self::Mp4 => "mp4",
            Self::Mov => "mov",
            Self::Ts => "ts",
            Self::Mkv => "mkv",
        }
    }
}

/// How colour is stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum PixelFormat {
    /// Colour at half the width and half the height.
    Yuv420,
    /// Colour at half the width.
    Yuv422,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn usual_rates_become_their_exact_fractions() {
        assert_eq!(Rate::Number(29.97).fraction(), Some((30000, 1001)));
        assert_eq!(Rate::Number(59.94).fraction(), Some((60000, 1001)));
        assert_eq!(Rate::Number(25.0).fraction(), Some((25000, 1000)));
        assert_eq!(Rate::Fraction("24000/1001".into()).fraction(), Some((24000, 1001)));
        assert_eq!(Rate::Number(0.0).fraction(), None);
    }
}

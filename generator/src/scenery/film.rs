//! A film in place of the drawn scenery: decoded by the program ffmpeg, scaled, looped.

use std::io::ErrorKind;
use std::path::Path;
use std::process::Command;

use crate::error::Error;
use crate::frame::Frame;
use crate::scenario::Video;

/// Most memory the decoded frames may take, in bytes; a longer film is cut there.
const MOST_BYTES: usize = 400 << 20;

/// The frames of a film at the clip's size and rate.
#[derive(Debug)]
pub(super) struct Film {
    frames: Vec<Frame>,
    rate: f64,
}

impl Film {
    pub(super) fn decode(path: &Path, video: &Video) -> Result<Self, Error> {
        let fail = |reason: String| Error::Film { path: path.to_path_buf(), reason };
        let (numerator, denominator) = video.frame_rate.fraction().unwrap_or((30, 1));
        let (width, height) = (video.width, video.height);
        let frame_bytes = 2 * width * height;
        let output = Command::new("ffmpeg")
            .args(["-hide_banner", "-loglevel", "error", "-nostdin", "-i"])
            .arg(path)
            .arg("-vf")
            .arg(format!("fps={numerator}/{denominator},scale={width}:{height}:flags=bilinear"))
            .args(["-frames:v", &(MOST_BYTES / frame_bytes).max(1).to_string()])
            .args(["-pix_fmt", "yuv422p", "-f", "rawvideo", "pipe:1"])
            .output()
            .map_err(|cause| match cause.kind() {
                ErrorKind::NotFound => Error::NoEncoder,
                _ => fail(cause.to_string()),
            })?;
        let frames: Vec<Frame> =
            output.stdout.chunks_exact(frame_bytes).map(|bytes| frame(bytes, width, height)).collect();
        if frames.is_empty() {
            let said = String::from_utf8_lossy(&output.stderr).trim().to_owned();
            return Err(fail(if said.is_empty() { "no picture in it".to_owned() } else { said }));
        }
        Ok(Self { frames, rate: f64::from(numerator) / f64::from(denominator) })
    }

    /// The frame at a time of the flight.
    pub(super) fn at(&self, time_s: f64) -> Frame {
        let index = (time_s * self.rate).round().max(0.0) as usize % self.frames.len();
        self.frames[index].clone()
    }
}

fn frame(bytes: &[u8], width: usize, height: usize) -> Frame {
    let (luma, colours) = bytes.split_at(width * height);
    let (blue, red) = colours.split_at(width * height / 2);
    Frame { width, height, luma: luma.to_vec(), blue: blue.to_vec(), red: red.to_vec() }
}

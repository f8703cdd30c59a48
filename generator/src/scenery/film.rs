//! A film that replaces the drawn scenery: decoded by the program ffmpeg, scaled, repeated.

use std::io::ErrorKind;
use std::path::Path;
use std::process::Command;

use crate::error::Error;
use crate::frame::Frame;
use crate::scenario::Video;

/// Maximum memory of the decoded frames, in bytes; a longer film is cut. Set by judgement.
const MAX_BYTES: usize = 400 << 20;

/// The frames of a film at the clip's size and rate.
#[derive(Debug)]
pub(super) struct Film {
    /// The bytes of the frames one after the other; each frame consists of the planes of brightness, blue difference
    /// and red difference.
    bytes: Vec<u8>,
    width: usize,
    height: usize,
    /// Frame rate in frames per second.
    rate: f64,
}

impl Film {
    /// Decodes a film, crops it to the clip's frame and converts it to the clip's rate.
    pub(super) fn decode(path: &Path, video: &Video) -> Result<Self, Error> {
        let fail = |reason: String| Error::Film { path: path.to_path_buf(), reason };
        let (numerator, denominator) = video.frame_rate.fraction().unwrap_or((30, 1));
        let (width, height) = (video.width, video.height);
        let filter = format!(
            "fps={numerator}/{denominator},\
             scale={width}:{height}:force_original_aspect_ratio=increase:flags=bilinear,crop={width}:{height}"
        );
        let output = Command::new("ffmpeg")
            .args(["-hide_banner", "-loglevel", "error", "-nostdin", "-i"])
            .arg(path)
            .args(["-an", "-vf", &filter])
            .args(["-frames:v", &(MAX_BYTES / frame_bytes(width, height)).max(1).to_string()])
            .args(["-pix_fmt", "yuv422p", "-f", "rawvideo", "pipe:1"])
            .output()
            .map_err(|cause| match cause.kind() {
                ErrorKind::NotFound => Error::NoEncoder,
                _ => fail(cause.to_string()),
            })?;
        if output.stdout.len() < frame_bytes(width, height) {
            return Err(fail(reason(&output.stderr, path)));
        }
        let rate = f64::from(numerator) / f64::from(denominator);
        Ok(Self { bytes: output.stdout, width, height, rate })
    }

    /// The frame at a time of the flight in seconds; after its end the film starts again.
    pub(super) fn at(&self, time_s: f64) -> Frame {
        let length = frame_bytes(self.width, self.height);
        let frames = (self.bytes.len() / length).max(1);
        let index = (time_s * self.rate).round().max(0.0) as usize % frames;
        let (luma, colours) = self.bytes[index * length..(index + 1) * length].split_at(length / 2);
        let (blue, red) = colours.split_at(length / 4);
        Frame {
            width: self.width,
            height: self.height,
            luma: luma.to_vec(),
            blue: blue.to_vec(),
            red: red.to_vec(),
        }
    }
}

/// Number of bytes of a frame with colour at half the width.
const fn frame_bytes(width: usize, height: usize) -> usize {
    2 * width * height
}

/// The last line of the decoder's message `said`, without the file name at its start.
fn reason(said: &[u8], path: &Path) -> String {
    let said = String::from_utf8_lossy(said);
    let first = said.lines().last().unwrap_or("there is no picture in it");
    first.trim_start_matches(&format!("{}: ", path.display())).to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_film_starts_again_after_its_end() {
        let frame = |level: u8| [vec![level; 8], vec![level + 1; 4], vec![level + 2; 4]].concat();
        let film = Film { bytes: [frame(20), frame(50)].concat(), width: 4, height: 2, rate: 25.0 };
        for (time_s, level) in [(0.0, 20), (0.04, 50), (0.08, 20), (10.04, 50)] {
            let shown = film.at(time_s);
            assert_eq!((shown.luma[7], shown.blue[3], shown.red[3]), (level, level + 1, level + 2));
        }
    }

    #[test]
    fn the_decoders_message_does_not_repeat_the_file_name() {
        let path = Path::new("field.mp4");
        assert_eq!(reason(b"field.mp4: Invalid data\n", path), "Invalid data");
        assert_eq!(reason(b"", path), "there is no picture in it");
    }
}

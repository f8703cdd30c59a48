//! Encodes frames with the program ffmpeg, which reads raw frames from a pipe.
//!
//! Time stamps: frames at equal intervals get the nominal rate. If frames were dropped or the time stamps are
//! uneven, ffmpeg's `setpts` filter computes each frame's time stamp from its number N among the frames sent:
//! the position in the grid of nominal frame times is N plus the number of dropped frames before it (a sum of
//! `gte(N,n)`), the time stamp follows from the position as in [`super::schedule`], and `-fps_mode vfr` keeps
//! it.

use std::fmt::Write as _;
use std::io::{ErrorKind, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};

use super::schedule::{Recording, WOBBLE_RAD};
use super::source::RenderedFrame;
use crate::error::Error;
use crate::files;
use crate::frame::Frame;
use crate::scenario::{Codec, Container, PixelFormat, Video};

/// Number of ticks per second of uneven time stamps.
const TICKS_PER_S: f64 = 90_000.0;

/// A running encoder of one file.
pub(super) struct Encoder {
    child: Child,
    pipe: ChildStdin,
    path: PathBuf,
    part: PathBuf,
    format: PixelFormat,
}

impl Encoder {
    /// Starts ffmpeg to encode one file of a recording, under a temporary name next to `path`.
    pub(super) fn start(video: &Video, recording: &Recording, path: &Path) -> Result<Self, Error> {
        let part = files::part_name(path);
        let mut child = Command::new("ffmpeg")
            .args(arguments(video, recording))
            .arg(&part)
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .map_err(|cause| match cause.kind() {
                ErrorKind::NotFound => Error::NoEncoder,
                _ => Error::Encoder { path: path.to_path_buf(), message: cause.to_string() },
            })?;
        let pipe = child.stdin.take().ok_or(Error::NoEncoder)?;
        Ok(Self { child, pipe, path: path.to_path_buf(), part, format: video.pixel_format })
    }

    /// Encodes more frames, in order.
    pub(super) fn write_all(&mut self, shown: &[RenderedFrame]) -> Result<(), Error> {
        shown.iter().try_for_each(|shown| self.write(&shown.frame))
    }

    fn write(&mut self, frame: &Frame) -> Result<(), Error> {
        let bytes = match self.format {
            PixelFormat::Yuv420 => frame.bytes_420(),
            PixelFormat::Yuv422 => frame.bytes_422(),
        };
        self.pipe.write_all(&bytes).map_err(|_| {
            // A broken pipe is only a consequence: ffmpeg itself reports why it stopped.
            let message = self.said();
            Error::Encoder { path: self.path.clone(), message }
        })
    }

    /// Completes the file and gives it its final name.
    pub(super) fn finish(mut self) -> Result<(), Error> {
        drop(self.pipe);
        let mut message = String::new();
        if let Some(mut said) = self.child.stderr.take() {
            // A message that cannot be read is left out; the exit status is sufficient.
            said.read_to_string(&mut message).unwrap_or_default();
        }
        match self.child.wait() {
            Ok(status) if status.success() => files::finish(&self.part, &self.path),
            Ok(_) => Err(Error::Encoder { path: self.path, message: message.trim().to_owned() }),
            Err(cause) => Err(Error::Encoder { path: self.path, message: cause.to_string() }),
        }
    }

    fn said(&mut self) -> String {
        let mut message = String::new();
        if let Some(mut said) = self.child.stderr.take() {
            said.read_to_string(&mut message).unwrap_or_default();
        }
        message.trim().to_owned()
    }
}

fn arguments(video: &Video, recording: &Recording) -> Vec<String> {
    let (numerator, denominator) = video.frame_rate.fraction().unwrap_or((30, 1));
    let rate = format!("{numerator}/{denominator}");
    let size = format!("{}x{}", video.width, video.height);
    let mut arguments = words("-hide_banner -loglevel error -nostdin -y -f rawvideo");
    arguments.extend(
        ["-pix_fmt", pixel_format(video), "-s", &size, "-r", &rate, "-i", "pipe:0"].map(String::from),
    );
    arguments.extend(stamp_arguments(video, recording, f64::from(numerator) / f64::from(denominator)));
    arguments.extend(codec_arguments(video));
    arguments.extend(words(match video.container {
        Container::Avi => "-f avi",
        Container::Mp4 => "-f mp4 -video_track_timescale 90000 -movflags +faststart",
        Container::Mov => "-f mov -video_track_timescale 90000",
        Container::Ts => "-f mpegts",
        Container::Mkv => "-f matroska",
    }));
    arguments
}

fn codec_arguments(video: &Video) -> Vec<String> {
    let (quality, keyframes) = (video.quality, video.keyframe_frames.max(1));
    words(&match video.codec {
        Codec::Mjpeg => format!("-c:v mjpeg -q:v {} -huffman optimal -trellis 1", quality.clamp(2, 31)),
        Codec::H264 => format!("-c:v libx264 -preset fast -trellis 0 -crf {quality} -g {keyframes}"),
        Codec::H265 => {
            format!("-c:v libx265 -preset veryfast -crf {quality} -g {keyframes} -x265-params log-level=none")
        }
        Codec::Mpeg4 => format!("-c:v mpeg4 -q:v {} -g {keyframes} -bf 0", quality.clamp(2, 31)),
    })
}

/// ffmpeg's name of the pixel format. MJPEG uses the full range of levels from 0 to 255, for which ffmpeg has separate
/// formats.
const fn pixel_format(video: &Video) -> &'static str {
    match (video.codec, video.pixel_format) {
        (Codec::Mjpeg, PixelFormat::Yuv420) => "yuvj420p",
        (Codec::Mjpeg, PixelFormat::Yuv422) => "yuvj422p",
        (_, PixelFormat::Yuv420) => "yuv420p",
        (_, PixelFormat::Yuv422) => "yuv422p",
    }
}

fn stamp_arguments(video: &Video, recording: &Recording, rate: f64) -> Vec<String> {
    if video.dropped == 0.0 && video.stamp_wobble_s == 0.0 {
        return Vec::new();
    }
    let place = grid_expression(recording);
    if video.container == Container::Avi {
        // AVI counts frames, so a dropped frame leaves an empty position.
        return vec!["-vf".into(), format!("setpts='{place}'"), "-fps_mode".into(), "vfr".into()];
    }
    let ticks = TICKS_PER_S / rate;
    let wobble = video.stamp_wobble_s * TICKS_PER_S;
    let stamps = format!("st(0,{place});round(ld(0)*{ticks:.9}+{wobble:.6}*(1-cos({WOBBLE_RAD}*ld(0))))");
    vec![
        "-vf".into(),
        format!("settb=1/{TICKS_PER_S},setpts='{stamps}'"),
        "-enc_time_base".into(),
        format!("1:{TICKS_PER_S}"),
        "-fps_mode".into(),
        "vfr".into(),
    ]
}

/// The grid position of frame N as an ffmpeg expression: N plus the number of dropped frames before it.
fn grid_expression(recording: &Recording) -> String {
    let mut expression = "N".to_owned();
    let mut dropped = 0;
    for (sent, shot) in recording.shots.iter().enumerate() {
        let missing = shot.grid - sent as u64 - dropped;
        if missing > 0 {
            let times = if missing == 1 { String::new() } else { format!("{missing}*") };
            // Writing to a String cannot fail.
            let _ = write!(expression, "+{times}gte(N,{sent})");
            dropped += missing;
        }
    }
    expression
}

fn words(text: &str) -> Vec<String> {
    text.split_whitespace().map(str::to_owned).collect()
}

//! Errors of footage, worded for the person who gave the file.

use std::path::PathBuf;

/// Why a clip, or several of them, cannot be read.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum FootageError {
    /// There is no file at the path.
    #[error("{}: there is no such file; check the name and the folder", path.display())]
    NoSuchFile {
        /// The path as it was given.
        path: PathBuf,
    },
    /// The path is that of a folder.
    #[error("{}: this is a folder, not a clip; give the files in it", path.display())]
    IsFolder {
        /// The path as it was given.
        path: PathBuf,
    },
    /// The file is empty.
    #[error("{}: the file is empty; copy it from the recorder's card again", path.display())]
    Empty {
        /// Path of the clip.
        path: PathBuf,
    },
    /// The video library cannot open a file of this name.
    #[error("{}: the file's name or folder cannot be passed to the video library; rename it", path.display())]
    NameNotText {
        /// Path of the clip.
        path: PathBuf,
    },
    /// The operating system refuses to open the file.
    #[error("{}: the file cannot be opened ({reason}); check its permissions and the card", path.display())]
    CannotOpen {
        /// Path of the clip.
        path: PathBuf,
        /// The operating system's message.
        reason: String,
    },
    /// The file has none of the known container formats.
    #[error(
        "{}: this is not a video in a format known here; give the recorder's own file \
         (AVI, MP4, MOV, MKV or TS)",
        path.display()
    )]
    NotVideo {
        /// Path of the clip.
        path: PathBuf,
    },
    /// The index of an MP4 or MOV file is missing.
    #[error(
        "{}: the recording was never finished: its index (the moov atom) is missing, as happens after unplugging \
         the battery; copy the file again, or put the card back into the recorder, which may finish it",
        path.display()
    )]
    IndexMissing {
        /// Path of the clip.
        path: PathBuf,
    },
    /// The container has no video stream.
    #[error("{}: there is no video in this {container} file, only sound or data; give the recording itself", path.display())]
    NoVideoStream {
        /// Path of the clip.
        path: PathBuf,
        /// Name of the container format.
        container: String,
    },
    /// The video library has no decoder for the video's codec.
    #[error(
        "{}: its video codec ({codec}) cannot be decoded here; convert the clip to H.264, or install a build \
         of libavcodec with that decoder",
        path.display()
    )]
    CodecMissing {
        /// Path of the clip.
        path: PathBuf,
        /// Name of the codec.
        codec: String,
    },
    /// The file is a video, but none of its frames can be decoded.
    #[error("{}: the file is damaged beyond use ({reason}); copy it from the recorder's card again", path.display())]
    Damaged {
        /// Path of the clip.
        path: PathBuf,
        /// What is wrong with the file, in words.
        reason: String,
    },
    /// The video has no frames.
    #[error(
        "{}: the video has no frames, as happens when a recording is stopped at once; copy the file from the \
         recorder's card again, or give another clip",
        path.display()
    )]
    NoFrame {
        /// Path of the clip.
        path: PathBuf,
    },
    /// The frames have no pixels or are too large.
    #[error(
        "{}: a frame of {width} x {height} pixels is out of range (1 to {limit} on a side, {} million in all); if the file is a \
         recording and not damaged, scale it to 1920 pixels in width with a video converter",
        path.display(),
        limit_px / 1_000_000
    )]
    FrameSize {
        /// Path of the clip.
        path: PathBuf,
        /// Width of the frames in pixels.
        width: u32,
        /// Height of the frames in pixels.
        height: u32,
        /// Maximum width and height in pixels.
        limit: u32,
        /// Maximum number of pixels of a frame.
        limit_px: u64,
    },
    /// The decoder would need too much memory.
    #[error(
        "{}: its frames are so large, or refer to so many other frames, that decoding would take more than {} MB; scale the clip \
         to 1920 pixels in width with a video converter",
        path.display(),
        limit_bytes / 1_000_000
    )]
    PictureMemory {
        /// Path of the clip.
        path: PathBuf,
        /// Maximum memory of all decoded frames, in bytes.
        limit_bytes: usize,
    },
    /// The luma of frames in this pixel format cannot be read.
    #[error(
        "{}: its pixel format ({format}) is not supported; convert the clip to the pixel format yuv420p",
        path.display()
    )]
    PixelFormat {
        /// Path of the clip.
        path: PathBuf,
        /// Name of the pixel format.
        format: String,
    },
    /// Reading or decoding failed for a reason other than the content of the file.
    #[error("{}: reading failed ({reason}); check the disk or card and try again", path.display())]
    ReadFailed {
        /// Path of the clip.
        path: PathBuf,
        /// The message of the operating system or the video library.
        reason: String,
    },
    /// Two clips of one flight differ in a property that must be the same.
    #[error(
        "{} has {what} {first_value}, but {} has {second_value}; the clips of one flight must have the same frame size and codec: read these clips as separate flights",
        first.display(),
        second.display()
    )]
    NotAlike {
        /// Path of the first clip.
        first: PathBuf,
        /// Path of the clip that differs from the first.
        second: PathBuf,
        /// Name of the property.
        what: &'static str,
        /// Value of the property in the first clip.
        first_value: String,
        /// Value of the property in the other clip.
        second_value: String,
    },
    /// The same file is given twice as a clip of one flight.
    #[error("{}: this clip is given twice; name every clip of the flight once", path.display())]
    GivenTwice {
        /// Path of the file, as given the second time.
        path: PathBuf,
    },
    /// The frames that the caller holds in memory do not form a clip: they differ in size, or are not in order of
    /// time.
    #[error(
        "frame {index} (counted from 0) differs in size from the first frame, or is not later than the frame before it: give frames of one size, in order of time"
    )]
    FrameMismatch {
        /// Index of the frame, from 0.
        index: usize,
    },
    /// No clip was given.
    #[error("no clip was given; name at least one recording")]
    NoClips,
}

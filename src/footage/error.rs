//! What can go wrong with footage, in words for the person who gave the file.

use std::path::PathBuf;

/// Why a clip, or several of them, cannot be read.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum FootageError {
    /// The path names nothing.
    #[error("{}: there is no such file; check the name and the folder", path.display())]
    NoSuchFile {
        /// The path as given.
        path: PathBuf,
    },
    /// The path names a folder.
    #[error("{}: this is a folder, not a clip; name the recordings in it", path.display())]
    IsFolder {
        /// The path as given.
        path: PathBuf,
    },
    /// The file has no bytes.
    #[error("{}: the file is empty; copy it from the recorder's card again", path.display())]
    Empty {
        /// The file.
        path: PathBuf,
    },
    /// The file's name is not Unicode text, which the video library needs.
    #[error("{}: the file's name or folder is not readable as Unicode text; rename it", path.display())]
    NameNotText {
        /// The file.
        path: PathBuf,
    },
    /// The system refuses to open the file.
    #[error("{}: the file cannot be opened ({reason}); check its permissions and the card", path.display())]
    CannotOpen {
        /// The file.
        path: PathBuf,
        /// What the system says.
        reason: String,
    },
    /// No known container format fits the file.
    #[error(
        "{}: this is not a video in a format known here; give the recorder's own file \
         (AVI, MP4, MOV, MKV or TS)",
        path.display()
    )]
    NotVideo {
        /// The file.
        path: PathBuf,
    },
    /// An MP4 or MOV file without its index.
    #[error(
        "{}: the recording was never finished: its index (the moov atom) is missing, as after pulling the \
         battery; copy the file again, or put the card back into the recorder, which may finish it",
        path.display()
    )]
    IndexMissing {
        /// The file.
        path: PathBuf,
    },
    /// The container holds no video.
    #[error("{}: there is no video in this {container} file, only sound or data; give the recording itself", path.display())]
    NoVideoStream {
        /// The file.
        path: PathBuf,
        /// Name of the container format.
        container: String,
    },
    /// The video library has no decoder for the codec.
    #[error(
        "{}: its video codec ({codec}) cannot be decoded here; convert the clip to H.264, or install a build \
         of libavcodec with that decoder",
        path.display()
    )]
    CodecMissing {
        /// The file.
        path: PathBuf,
        /// Name of the codec.
        codec: String,
    },
    /// The file is a video but nothing in it can be decoded.
    #[error("{}: the file is damaged beyond use ({reason}); copy it from the recorder's card again", path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What was seen.
        reason: String,
    },
    /// A video without a single frame.
    #[error(
        "{}: the video holds no frame, as when a recording is stopped at once; copy the file from the \
         recorder's card again, or give another clip",
        path.display()
    )]
    NoFrame {
        /// The file.
        path: PathBuf,
    },
    /// The frame is empty or too large.
    #[error(
        "{}: a frame of {width} x {height} pixels is out of range (1 x 1 to {limit} x {limit}); the file is \
         damaged or is no recording",
        path.display()
    )]
    FrameSize {
        /// The file.
        path: PathBuf,
        /// Width in pixels.
        width: u32,
        /// Height in pixels.
        height: u32,
        /// Largest width and height.
        limit: u32,
    },
    /// The brightness cannot be taken out of frames of this pixel format.
    #[error(
        "{}: its pixel format ({format}) is not understood; convert the clip to yuv420p",
        path.display()
    )]
    PixelFormat {
        /// The file.
        path: PathBuf,
        /// Name of the pixel format.
        format: String,
    },
    /// Reading or decoding failed for a reason that is not the file's content.
    #[error("{}: reading failed ({reason}); check the disk or card and try again", path.display())]
    ReadFailed {
        /// The file.
        path: PathBuf,
        /// What the system or the library says.
        reason: String,
    },
    /// Two clips of one flight differ in what must be the same.
    #[error(
        "{} has {what} {first_value}, but {} has {second_value}; clips of one flight must be alike: read \
         them one by one",
        first.display(),
        second.display()
    )]
    NotAlike {
        /// The first clip.
        first: PathBuf,
        /// The clip that differs from it.
        second: PathBuf,
        /// What differs.
        what: &'static str,
        /// Its value in the first clip.
        first_value: String,
        /// Its value in the other.
        second_value: String,
    },
    /// One file named twice as clips of one flight.
    #[error("{}: this clip is given twice; name every clip of the flight once", path.display())]
    GivenTwice {
        /// The file, as given the second time.
        path: PathBuf,
    },
    /// Frames given in memory do not make a clip.
    #[error(
        "frame {index} of those given differs in size from the first or is not later than the one before"
    )]
    FrameMismatch {
        /// Index of the frame, from 0.
        index: usize,
    },
    /// A flight of no clips.
    #[error("no clip was given; name at least one recording")]
    NoClips,
}

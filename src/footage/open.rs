//! Opens a file and reads what its container states about the video.

use std::fs::File;
use std::io::Read;
use std::path::Path;
use std::sync::Once;

use ffmpeg_next::codec::Parameters;
use ffmpeg_next::error::EIO;
use ffmpeg_next::format::context::Input;
use ffmpeg_next::format::stream::Disposition;
use ffmpeg_next::packet::side_data::Type as SideData;
use ffmpeg_next::util::color;
use ffmpeg_next::{Dictionary, Error, Rational, Stream, media};

use super::error::FootageError;
use super::libav;
use super::notes::LevelRange;
use super::recording_time::RecordingTime;

/// Maximum width and height of a frame, in pixels. Set by judgement, to limit the memory that a damaged file
/// can take.
const MAX_SIDE: u32 = 16384;
/// Maximum number of pixels of a frame: slightly more than 5312 x 2988, the largest format of 16 to 9 of usual action cameras (common
/// practice, no source). Of larger frames, even the three pictures that a simple H.264 video needs exceed the limit of
/// [`PictureMemory`](super::picture_memory::PictureMemory), or come close.
pub(super) const MAX_FRAME_PX: u64 = 16_000_000;
/// Name of the container AVI, in libavformat and in [`ClipInfo`](super::ClipInfo).
pub(super) const AVI: &str = "avi";
/// Containers and raw video streams that recorders and converters write. Others are not tried, since
/// libavformat also has demuxers for text files and images.
const CONTAINERS: &str = "avi,mov,matroska,mpegts,mpeg,h264,hevc,m4v,mjpeg,mpegvideo,flv,asf,ogg,nut,dv,mxf,\
                          yuv4mpegpipe,ivf,av1,obu";

/// What a container states about its video.
#[derive(Debug, Clone)]
pub(super) struct StreamInfo {
    pub container: String,
    pub codec: String,
    /// Whether every frame is coded by itself.
    pub intra_only: bool,
    /// Number of frames per second; `None` if the container states none.
    pub rate_hz: Option<f64>,
    pub length_s: Option<f64>,
    /// Number of seconds per tick of the timestamps; 0 if it is not stated.
    pub tick_s: f64,
    pub rotation_degrees: Option<i32>,
    /// Range of the luma levels, known only once the decoder is open.
    pub levels: LevelRange,
    pub recording_time: RecordingTime,
}

impl StreamInfo {
    /// Reads the properties that the container of `stream` states.
    pub(super) fn of(path: &Path, input: &Input, stream: &Stream) -> Self {
        Self {
            container: container_name(input),
            codec: stream.parameters().id().name().to_owned(),
            intra_only: libav::is_intra_only(stream.parameters().id()),
            rate_hz: positive_rate(stream.avg_frame_rate()).or_else(|| positive_rate(stream.rate())),
            length_s: stated_length_s(input, stream),
            tick_s: positive_rate(stream.time_base()).unwrap_or(0.0),
            rotation_degrees: rotation_degrees(stream),
            levels: LevelRange::default(),
            recording_time: RecordingTime::new(creation_time(input, stream).as_deref(), path),
        }
    }
}

/// The first two names that libavformat has for the container, such as `mov/mp4`.
fn container_name(input: &Input) -> String {
    input.format().name().split(',').take(2).collect::<Vec<_>>().join("/")
}

/// The best video stream of a file; the cover image of a sound file is not one. Returns [`FootageError::NoFrame`] if
/// the file has no streams at all: a recorder created it, but wrote no frames.
pub(super) fn video_stream<'a>(path: &Path, input: &'a Input) -> Result<Stream<'a>, FootageError> {
    if input.nb_streams() == 0 {
        return Err(FootageError::NoFrame { path: path.into() });
    }
    let best = input.streams().best(media::Type::Video);
    let is_moving = |stream: &Stream| !stream.disposition().contains(Disposition::ATTACHED_PIC);
    best.filter(is_moving)
        .ok_or_else(|| FootageError::NoVideoStream { path: path.into(), container: container_name(input) })
}

/// Opens a file that has one of the known container formats.
pub(super) fn open_input(path: &Path) -> Result<Input, FootageError> {
    static PREPARED: Once = Once::new();
    PREPARED.call_once(|| {
        ffmpeg_next::log::set_level(ffmpeg_next::log::Level::Quiet);
        libav::limit_memory_blocks();
    });
    let head = read_head(path)?;
    // The prefix makes libavformat treat a name such as `concat:a` as a file name, not as a protocol.
    let url = libav::file_url(path).ok_or_else(|| FootageError::NameNotText { path: path.into() })?;
    let mut options = Dictionary::new();
    options.set("format_whitelist", CONTAINERS);
    options.set("protocol_whitelist", "file");
    let explained = |error| explain_open_failure(path, &head, error);
    let mut input = libav::open_input(&url, options).map_err(explained)?;
    for stream in input.streams().filter(|stream| !stream.disposition().contains(Disposition::ATTACHED_PIC)) {
        check_stated_size(path, &stream.parameters())?;
    }
    libav::find_streams(&mut input).map_err(explained)?;
    Ok(input)
}

/// Checks the size of a frame that the container states, if it states one.
pub(super) fn check_stated_size(path: &Path, parameters: &Parameters) -> Result<(), FootageError> {
    match libav::frame_size(parameters) {
        (width @ 1.., height @ 1..) => check_size(path, width, height),
        _ => Ok(()),
    }
}

/// Checks the size of a frame in pixels.
pub(super) fn check_size(path: &Path, width: u32, height: u32) -> Result<(), FootageError> {
    let fits = |side: u32| (1..=MAX_SIDE).contains(&side);
    if fits(width) && fits(height) && u64::from(width) * u64::from(height) <= MAX_FRAME_PX {
        return Ok(());
    }
    let (limit, limit_px) = (MAX_SIDE, MAX_FRAME_PX);
    Err(FootageError::FrameSize { path: path.into(), width, height, limit, limit_px })
}

/// The first 16 bytes of the file. Returns an error if it is not a readable file with content.
fn read_head(path: &Path) -> Result<Vec<u8>, FootageError> {
    let cannot = |error: std::io::Error| match error.kind() {
        std::io::ErrorKind::NotFound => FootageError::NoSuchFile { path: path.into() },
        _ => FootageError::CannotOpen { path: path.into(), reason: error.to_string() },
    };
    let metadata = std::fs::metadata(path).map_err(cannot)?;
    if metadata.is_dir() {
        return Err(FootageError::IsFolder { path: path.into() });
    }
    if !metadata.is_file() {
        let reason = "it is a device or a pipe, not a file".into();
        return Err(FootageError::CannotOpen { path: path.into(), reason });
    }
    let mut head = Vec::new();
    File::open(path).and_then(|file| file.take(16).read_to_end(&mut head)).map_err(cannot)?;
    if head.is_empty() {
        return Err(FootageError::Empty { path: path.into() });
    }
    Ok(head)
}

fn explain_open_failure(path: &Path, head: &[u8], error: Error) -> FootageError {
    let path = path.to_path_buf();
    let is_mp4 = head.get(4..8).is_some_and(|kind| [b"ftyp", b"mdat", b"wide"].iter().any(|k| kind == *k));
    let riff_form = head.starts_with(b"RIFF").then(|| head.get(8..12).unwrap_or(b"AVI "));
    let is_known = is_mp4 || riff_form == Some(b"AVI ") || head.starts_with(&[0x1a, 0x45, 0xdf, 0xa3]);
    if let Some(container) = sound_format(head) {
        return FootageError::NoVideoStream { path, container: container.to_owned() };
    }
    match error {
        Error::InvalidData if is_mp4 => FootageError::IndexMissing { path },
        Error::Other { errno: EIO } => FootageError::ReadFailed { path, reason: error.to_string() },
        _ if is_known => FootageError::Damaged { path, reason: "its header cannot be parsed".into() },
        _ => FootageError::NotVideo { path },
    }
}

/// The name of the file's format if the file contains only sound, recognised by its first bytes.
fn sound_format(head: &[u8]) -> Option<&'static str> {
    match head {
        [b'R', b'I', b'F', b'F', _, _, _, _, b'W', b'A', b'V', b'E', ..] => Some("WAV"),
        [b'f', b'L', b'a', b'C', ..] => Some("FLAC"),
        [b'I', b'D', b'3', ..] => Some("MP3"),
        _ => None,
    }
}

fn positive_rate(rate: Rational) -> Option<f64> {
    (rate.numerator() > 0 && rate.denominator() > 0)
        .then(|| f64::from(rate.numerator()) / f64::from(rate.denominator()))
}

fn stated_length_s(input: &Input, stream: &Stream) -> Option<f64> {
    let tick_s = positive_rate(stream.time_base())?;
    let of_stream = (stream.duration() > 0).then(|| stream.duration() as f64 * tick_s);
    let of_file = || (input.duration() > 0).then(|| input.duration() as f64 / 1e6);
    let by_bytes_s = of_stream.or_else(of_file)?;
    Some(avi_header_length_s(input, stream).map_or(by_bytes_s, |stated_s| stated_s.max(by_bytes_s)))
}

/// Length in seconds, computed from the number of frames in the header of an AVI file; `None` for other containers,
/// and without a frame rate. If the file was cut off, the demuxer reduces the duration to what the remaining bytes
/// can hold, but does not reduce the number of frames.
fn avi_header_length_s(input: &Input, stream: &Stream) -> Option<f64> {
    let rate_hz = positive_rate(stream.avg_frame_rate()).or_else(|| positive_rate(stream.rate()))?;
    let frames = u32::try_from(stream.frames()).ok().filter(|_| input.format().name() == AVI)?;
    Some(f64::from(frames) / rate_hz)
}

/// Clockwise rotation according to the display matrix (ISO/IEC 14496-12, track header), in degrees; `None` if
/// the frames are upright, or the file has no display matrix.
fn rotation_degrees(stream: &Stream) -> Option<i32> {
    let side = stream.side_data().find(|side| side.kind() == SideData::DisplayMatrix)?;
    let entry = |index: usize| {
        let bytes = side.data().get(index * 4..index * 4 + 4)?;
        Some(f64::from(i32::from_ne_bytes(bytes.try_into().ok()?)))
    };
    let degrees = entry(1)?.atan2(entry(0)?).to_degrees().round() as i32;
    let degrees = degrees.rem_euclid(360);
    (degrees != 0).then_some(degrees)
}

/// The range of luma levels that a decoder states.
pub(super) fn level_range(range: color::Range) -> LevelRange {
    match range {
        color::Range::Unspecified => LevelRange::Unstated,
        color::Range::MPEG => LevelRange::Limited,
        color::Range::JPEG => LevelRange::Full,
    }
}

fn creation_time(input: &Input, stream: &Stream) -> Option<String> {
    let of_file = input.metadata().get("creation_time").map(str::to_owned);
    of_file.or_else(|| stream.metadata().get("creation_time").map(str::to_owned))
}

//! Decodes packets to frames, and continues after damaged packets.

use std::mem;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::thread::available_parallelism;

use ffmpeg_next::codec::{self, Parameters, decoder, threading};
use ffmpeg_next::error::EAGAIN;
use ffmpeg_next::frame::Video;
use ffmpeg_next::{Dictionary, Error, Packet, Rational, Stream};

use super::error::FootageError;
use super::hevc_references;
use super::libav;
use super::open::{MAX_FRAME_PX, check_stated_size};
use super::picture_check::PictureCheck;
use super::picture_memory::PictureMemory;

/// Maximum number of pictures that a decoder keeps to predict others from (ITU-T H.264 and H.265, annex A). Used if a video does
/// not state the number.
const MAX_REFERENCES: usize = 16;

/// The settings with which the decoder of a video is opened.
#[derive(Clone)]
pub(super) struct DecoderConfig {
    pub path: PathBuf,
    pub parameters: Parameters,
    pub codec: codec::Id,
    pub time_base: Rational,
    /// Number of threads of one decoder, which it uses for the slices of a frame.
    pub threads: usize,
    /// Width and height in pixels of the pictures of a Motion JPEG video, which [`PictureCheck`] checks for damage;
    /// `None` for other videos, and if no undamaged picture was found when the file was opened.
    pub checked_size: Option<(u32, u32)>,
    /// The memory of the pictures, which all decoders of a clip share.
    pub pictures: Arc<PictureMemory>,
}

impl DecoderConfig {
    pub(super) fn of(path: &Path, stream: &Stream) -> Self {
        let parameters = stream.parameters();
        Self {
            path: path.into(),
            parameters: parameters.clone(),
            codec: parameters.id(),
            time_base: stream.time_base(),
            threads: available_parallelism().map_or(1, usize::from),
            checked_size: None,
            pictures: Arc::default(),
        }
    }

    /// Opens the decoder. `strict` tells whether it rejects frames with errors.
    fn open(&self, strict: bool) -> Result<decoder::Video, FootageError> {
        let name = self.codec.name();
        let missing = || FootageError::CodecMissing { path: self.path.clone(), codec: name.to_owned() };
        let found = decoder::find(self.codec).ok_or_else(missing)?;
        // The container may not state the size; the first frame is checked as well.
        check_stated_size(&self.path, &self.parameters)?;
        let mut context = codec::Context::from_parameters(self.parameters.clone()).map_err(|_| missing())?;
        // Threads share slices, not frames. With one thread per frame, libavcodec 5 reports an error in an
        // H.264 frame only if the frame is finished before it is returned. The frames counted as damaged
        // would then change from run to run.
        let slices = threading::Config::kind(threading::Type::Slice);
        context.set_threading(threading::Config { count: self.threads, ..slices });
        libav::count_pictures(&mut context, &self.pictures);
        let mut decoder = context.decoder();
        decoder.set_packet_time_base(self.time_base);
        if strict {
            decoder.check(decoder::Check::EXPLODE);
        }
        let mut options = Dictionary::new();
        options.set("max_pixels", &MAX_FRAME_PX.to_string());
        let opened = decoder.open_as_with(found, options).and_then(decoder::Opened::video);
        opened.map_err(|error| FootageError::Damaged {
            path: self.path.clone(),
            reason: format!("the decoder for its {name} video cannot be started: {error}"),
        })
    }

    /// Returns an error if a decoder was refused the memory for a picture.
    pub(super) fn check_memory(&self) -> Result<(), FootageError> {
        let too_large = || FootageError::PictureMemory {
            path: self.path.clone(),
            limit_bytes: PictureMemory::limit_bytes(),
        };
        if self.pictures.is_exceeded() { Err(too_large()) } else { Ok(()) }
    }
}

/// The answer to a request for a frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum DecoderOutput {
    /// A frame. `errors` tells whether the decoder reported errors in it.
    Frame { errors: bool },
    /// More packets are needed first.
    NeedsPackets,
    /// The last frame was already returned.
    End,
    /// A frame could not be decoded.
    Lost,
}

/// Decodes packets to frames in presentation order.
pub(super) struct FrameDecoder {
    decoder: decoder::Video,
    detection: ErrorDetection,
    draining: bool,
    /// Has the memory that the decoders count their pictures in, so it must be dropped after them.
    config: DecoderConfig,
}

/// How errors in frames are detected. The MJPEG decoder of libavcodec reports errors only if it is set to reject
/// damaged frames. Otherwise it returns a damaged frame without a report, and parts of an older frame may be left in
/// it.
enum ErrorDetection {
    /// The decoder reports errors along with the frame.
    Reported,
    /// Each picture is checked before it is decoded. `is_sound` tells whether the picture sent last passed the check.
    /// Both the decoder and the check take one packet at a time.
    Checked { check: Box<PictureCheck>, is_sound: bool },
    /// The decoder rejects frames with errors, and a second, lenient decoder decodes the rejected frames. `lenient`
    /// is opened at the first rejected frame; `holds_frame` tells whether it holds a frame that was not received yet.
    Strict { lenient: Option<Box<decoder::Video>>, holds_frame: bool },
}

impl FrameDecoder {
    pub(super) fn open(config: DecoderConfig) -> Result<Self, FootageError> {
        let detection = match config.checked_size.and_then(PictureCheck::new) {
            Some(check) => ErrorDetection::Checked { check: Box::new(check), is_sound: false },
            None if config.codec == codec::Id::MJPEG => {
                ErrorDetection::Strict { lenient: None, holds_frame: false }
            }
            None => ErrorDetection::Reported,
        };
        let decoder = config.open(matches!(detection, ErrorDetection::Strict { .. }))?;
        Ok(Self { decoder, detection, draining: false, config })
    }

    /// The range of the luma levels that the video states.
    pub(super) fn color_range(&self) -> ffmpeg_next::util::color::Range {
        self.decoder.color_range()
    }

    /// Number of pictures that the decoder keeps to predict others from, as the video states it.
    pub(super) fn references(&self) -> usize {
        let stated = match self.config.codec {
            codec if libav::is_intra_only(codec) => Some(0),
            codec::Id::H264 => usize::try_from(libav::reference_frames(&self.decoder)).ok(),
            codec::Id::HEVC => hevc_references::references(libav::extradata(&self.config.parameters)),
            _ => None,
        };
        stated.unwrap_or(MAX_REFERENCES)
    }

    /// Sends a packet to the decoder. Returns `false` if the decoder rejects the packet; its frame is then lost.
    pub(super) fn send(&mut self, packet: &Packet) -> bool {
        if let ErrorDetection::Checked { check, is_sound } = &mut self.detection {
            *is_sound = packet.data().is_some_and(|picture| check.is_sound(picture));
        }
        self.decoder.send_packet(packet).is_ok() || self.send_to_lenient(packet)
    }

    /// Signals to the decoder that no more packets follow. Returns `false` if this was done before or if it fails.
    pub(super) fn send_end(&mut self) -> bool {
        !mem::replace(&mut self.draining, true) && self.decoder.send_eof().is_ok()
    }

    /// Prepares for packets from another position in the file.
    pub(super) fn flush(&mut self) {
        self.decoder.flush();
        self.draining = false;
    }

    /// Writes the next frame in presentation order into `frame`.
    pub(super) fn receive(&mut self, frame: &mut Video) -> DecoderOutput {
        if self.config.pictures.is_exceeded() {
            return DecoderOutput::End;
        }
        if self.detection.receive_lenient(frame) {
            return DecoderOutput::Frame { errors: true };
        }
        match self.decoder.receive_frame(frame) {
            Ok(()) => {
                let is_unsound = matches!(self.detection, ErrorDetection::Checked { is_sound: false, .. });
                DecoderOutput::Frame { errors: is_unsound || frame.is_corrupt() || frame.has_decode_errors() }
            }
            Err(Error::Other { errno: EAGAIN }) => DecoderOutput::NeedsPackets,
            Err(Error::Eof) => DecoderOutput::End,
            Err(_) => DecoderOutput::Lost,
        }
    }

    /// Maximum number of frames that the decoder returns until the frame of the packet sent next is among them: the
    /// frames that it holds back to put them into presentation order, plus one.
    pub(super) fn in_flight(&self) -> u32 {
        libav::reorder_delay(&self.decoder).saturating_add(1)
    }

    /// Sends a packet that the strict decoder rejected to the lenient one.
    fn send_to_lenient(&mut self, packet: &Packet) -> bool {
        let ErrorDetection::Strict { lenient, holds_frame } = &mut self.detection else { return false };
        if lenient.is_none() {
            *lenient = self.config.open(false).ok().map(Box::new);
        }
        *holds_frame = lenient.as_mut().is_some_and(|decoder| decoder.send_packet(packet).is_ok());
        *holds_frame
    }
}

impl ErrorDetection {
    /// Receives the frame that the lenient decoder holds, if it holds one.
    fn receive_lenient(&mut self, frame: &mut Video) -> bool {
        let Self::Strict { lenient: Some(lenient), holds_frame } = self else { return false };
        mem::take(holds_frame) && lenient.receive_frame(frame).is_ok()
    }
}

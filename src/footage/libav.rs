//! The calls into libav that `ffmpeg-next` has no safe interface for.
#![allow(unsafe_code)]

use std::cmp::Ordering;
use std::ffi::{CStr, CString, c_int, c_void};
use std::path::Path;
use std::sync::Arc;

use ffmpeg_next::codec::{self, Parameters};
use ffmpeg_next::decoder;
use ffmpeg_next::error::ENOMEM;
use ffmpeg_next::ffi;
use ffmpeg_next::format::context::Input;
use ffmpeg_next::frame::Video;
use ffmpeg_next::{Dictionary, Error, StreamMut};

use super::picture_memory::PictureMemory;

/// Maximum size of one block of memory of libav, in bytes. It limits the memory that sizes stated in a file can take, such as
/// those of a packet or of a container's index. Set by judgement: the largest block that is needed is a frame of 16 million pixels
/// with 4 bytes each.
const MAX_BLOCK_BYTES: usize = 80_000_000;
/// Maximum number of pixels of a frame that is decoded when a file is opened, to find the properties of its streams. Source:
/// ITU-T H.265, table A.8, MaxLumaPs of levels 5 to 5.2, for 4096 x 2176 pixels.
const MAX_PROBED_PX: u64 = 8_912_896;

/// Position of one component (luma, or red, green or blue) in a frame's memory; see libavutil's
/// `AVComponentDescriptor`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct PixelComponent {
    /// Index of the plane that holds the component.
    pub plane: usize,
    /// Bytes from one pixel to the next.
    pub step: usize,
    /// Number of bytes in a row before the component's first value.
    pub offset: usize,
    /// Number of low bits that do not belong to the value.
    pub shift: u32,
    /// Number of bits of the value.
    pub depth: u32,
}

impl PixelComponent {
    fn of(raw: &ffi::AVComponentDescriptor) -> Option<Self> {
        Some(Self {
            plane: raw.plane.try_into().ok()?,
            step: raw.step.try_into().ok()?,
            offset: raw.offset.try_into().ok()?,
            shift: raw.shift.try_into().ok()?,
            depth: raw.depth.try_into().ok()?,
        })
    }
}

/// How a pixel format stores luma, or red, green and blue.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct PixelLayout {
    /// Whether the components are red, green and blue, not luma.
    pub rgb: bool,
    /// Whether values of two bytes start with the high byte.
    pub big_endian: bool,
    /// Luma three times, or red, green and blue.
    pub components: [PixelComponent; 3],
}

/// The layout of a frame's pixel format; `None` for palettes, formats that are not aligned to bytes, floating-point
/// formats, Bayer patterns and frames in the memory of a graphics card.
pub(super) fn pixel_layout(frame: &Video) -> Option<PixelLayout> {
    let descriptor = frame.format().descriptor()?.as_ptr();
    // SAFETY: `Pixel::descriptor` yields only pointers into libavutil's static table.
    let descriptor = unsafe { &*descriptor };
    let has = |flag: i32| descriptor.flags & u64::from(flag.unsigned_abs()) != 0;
    let refused = [
        ffi::AV_PIX_FMT_FLAG_PAL,
        ffi::AV_PIX_FMT_FLAG_BITSTREAM,
        ffi::AV_PIX_FMT_FLAG_HWACCEL,
        ffi::AV_PIX_FMT_FLAG_BAYER,
        ffi::AV_PIX_FMT_FLAG_FLOAT,
    ];
    if refused.into_iter().any(has) {
        return None;
    }
    let rgb = has(ffi::AV_PIX_FMT_FLAG_RGB);
    let component = |index: usize| PixelComponent::of(descriptor.comp.get(if rgb { index } else { 0 })?);
    Some(PixelLayout {
        rgb,
        big_endian: has(ffi::AV_PIX_FMT_FLAG_BE),
        components: [component(0)?, component(1)?, component(2)?],
    })
}

/// The components luma, blue difference and red difference of a frame whose format [`pixel_layout`] supports; the two
/// differences are `None` for a grey frame. Returns `None` if the pixel format is unknown.
pub(super) fn yuv_components(frame: &Video) -> Option<[Option<PixelComponent>; 3]> {
    let descriptor = frame.format().descriptor()?.as_ptr();
    // SAFETY: `Pixel::descriptor` yields only pointers into libavutil's static table.
    let descriptor = unsafe { &*descriptor };
    let has_chroma = descriptor.nb_components >= 3;
    let component = |index: usize| PixelComponent::of(descriptor.comp.get(index)?);
    Some([Some(component(0)?), component(1).filter(|_| has_chroma), component(2).filter(|_| has_chroma)])
}

/// Binary logarithms of the numbers of pixels that share a chroma sample, horizontally and vertically; `None` if the
/// pixel format is unknown.
pub(super) fn chroma_shift(frame: &Video) -> Option<(u32, u32)> {
    let descriptor = frame.format().descriptor()?.as_ptr();
    // SAFETY: `Pixel::descriptor` yields only pointers into libavutil's static table.
    let descriptor = unsafe { &*descriptor };
    Some((descriptor.log2_chroma_w.into(), descriptor.log2_chroma_h.into()))
}

/// Whether the pixel format itself says that luma uses all levels from 0 to 255.
pub(super) fn is_full_range(frame: &Video) -> bool {
    frame.format().descriptor().is_some_and(|descriptor| descriptor.name().starts_with("yuvj"))
}

/// One plane of a decoded frame, borrowed from the frame.
#[derive(Debug, Clone, Copy)]
pub(super) struct FramePlane<'a> {
    bytes: &'a [u8],
    stride: usize,
    row_bytes: usize,
    rows: usize,
    upside_down: bool,
}

impl<'a> FramePlane<'a> {
    /// The bytes of a row, counted from the top; `None` below the last row.
    pub(super) fn row(&self, row: usize) -> Option<&'a [u8]> {
        if row >= self.rows {
            return None;
        }
        let stored_row = if self.upside_down { self.rows - 1 - row } else { row };
        let start = stored_row.checked_mul(self.stride)?;
        self.bytes.get(start..start.checked_add(self.row_bytes)?)
    }

    /// All rows in one slice, and the distance between the starts of successive rows, in bytes; `None` if the rows
    /// are stored from the bottom up.
    pub(super) fn as_slice(&self) -> Option<(&'a [u8], usize)> {
        (!self.upside_down).then_some((self.bytes, self.stride))
    }
}

/// The top `rows` rows of one plane, with the first `row_bytes` bytes of each; `None` if the plane is smaller. Unlike
/// `ffmpeg_next::frame::Video::data`, this checks against the true end of the buffer and supports frames that are
/// stored from the bottom up.
pub(super) fn plane(frame: &Video, plane: usize, row_bytes: usize, rows: usize) -> Option<FramePlane<'_>> {
    if rows == 0 || row_bytes == 0 {
        return None;
    }
    // SAFETY: the frame owns a valid AVFrame for as long as it is borrowed here.
    let raw = unsafe { &*frame.as_ptr() };
    let top = raw.data.get(plane)?.cast_const();
    let stride = isize::try_from(*raw.linesize.get(plane)?).ok()?;
    if top.is_null() || stride.unsigned_abs() < row_bytes {
        return None;
    }
    let upside_down = stride < 0;
    let span = stride.unsigned_abs().checked_mul(rows - 1)?;
    let length = span.checked_add(row_bytes)?;
    let first = if upside_down { (top as usize).checked_sub(span)? } else { top as usize };
    let end = first.checked_add(length)?;
    let is_inside = raw.buf.iter().filter(|buffer| !buffer.is_null()).any(|&buffer| {
        // SAFETY: a non-null entry of `buf` is a reference the frame holds, so it is valid.
        let (start, size) = unsafe { ((*buffer).data as usize, (*buffer).size) };
        start <= first && start.checked_add(size).is_some_and(|stop| end <= stop)
    });
    if !is_inside {
        return None;
    }
    // SAFETY: `first..first + length` lies within one buffer of the frame (checked above). The buffer lives while the
    // frame is borrowed, and the decoder does not write to it while the frame holds a reference.
    let bytes = unsafe {
        let start = if upside_down { top.offset(stride * (rows as isize - 1)) } else { top };
        std::slice::from_raw_parts(start, length)
    };
    Some(FramePlane { bytes, stride: stride.unsigned_abs(), row_bytes, rows, upside_down })
}

/// Makes the demuxer skip all streams except the one with index `keep`.
pub(super) fn keep_only_stream(input: &mut Input, keep: usize) {
    for mut stream in input.streams_mut() {
        let index = stream.index();
        // SAFETY: the stream belongs to the open input, and `discard` is a field that callers may set.
        unsafe {
            (*stream.as_mut_ptr()).discard =
                if index == keep { ffi::AVDiscard::AVDISCARD_DEFAULT } else { ffi::AVDiscard::AVDISCARD_ALL };
        }
    }
}

/// Seeks the key frame at or before `timestamp`, in ticks of the stream's time base. Returns whether the
/// container supports seeking.
pub(super) fn seek_before(input: &mut Input, stream: usize, timestamp: i64) -> bool {
    let Ok(stream) = i32::try_from(stream) else { return false };
    // SAFETY: the input is open, and libavformat checks `stream` against its streams.
    unsafe { ffi::av_seek_frame(input.as_mut_ptr(), stream, timestamp, ffi::AVSEEK_FLAG_BACKWARD) >= 0 }
}

/// The timestamp of the key frame at or before `timestamp`; `None` if the container's index has none.
pub(super) fn key_timestamp_before(input: &mut Input, stream: usize, timestamp: i64) -> Option<i64> {
    let mut stream = input.stream_mut(stream)?;
    // SAFETY: the stream belongs to the open input. The entry is copied before any other call.
    unsafe {
        let entry = ffi::avformat_index_get_entry_from_timestamp(
            stream.as_mut_ptr(),
            timestamp,
            ffi::AVSEEK_FLAG_BACKWARD,
        );
        entry.as_ref().map(|entry| entry.timestamp)
    }
}

/// An entry of a container's index.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct IndexEntry {
    /// Position of the entry in the index.
    pub number: i32,
    /// Timestamp of the packet, in ticks of the stream's time base.
    pub timestamp: i64,
    /// Position of the packet in the file, in bytes.
    position: i64,
    /// Size of the packet in bytes.
    bytes: i32,
}

fn index_entry(stream: &mut StreamMut, number: i32) -> Option<IndexEntry> {
    // SAFETY: the stream belongs to an open input. The entry is copied before any other call.
    let entry = unsafe { ffi::avformat_index_get_entry(stream.as_mut_ptr(), number).as_ref()? };
    Some(IndexEntry { number, timestamp: entry.timestamp, position: entry.pos, bytes: entry.size() })
}

/// The index entry of the packet whose first byte is at `position`, in bytes from the start of the file; `None` if no
/// packet begins there. The index must be in file order.
pub(super) fn index_entry_at(input: &mut Input, stream: usize, position: i64) -> Option<IndexEntry> {
    let mut stream = input.stream_mut(stream)?;
    // SAFETY: the stream belongs to the open input.
    let (mut low, mut high) = (0, unsafe { ffi::avformat_index_get_entries_count(stream.as_mut_ptr()) });
    while low < high {
        let middle = low + (high - low) / 2;
        let entry = index_entry(&mut stream, middle)?;
        match entry.position.cmp(&position) {
            Ordering::Equal => return Some(entry),
            Ordering::Less => low = middle + 1,
            Ordering::Greater => high = middle,
        }
    }
    None
}

/// Number of non-empty packets that the index lists between the entries numbered `first` and `last`, without these
/// two.
pub(super) fn filled_entries_between(input: &mut Input, stream: usize, first: i32, last: i32) -> u64 {
    let Some(mut stream) = input.stream_mut(stream) else { return 0 };
    let filled = (first.saturating_add(1)..last)
        .filter_map(|number| index_entry(&mut stream, number))
        .filter(|entry| entry.bytes > 0);
    filled.count() as u64
}

/// The timestamps of all key frames in the container's index.
pub(super) fn key_timestamps(input: &mut Input, stream: usize) -> Vec<i64> {
    let Some(mut stream) = input.stream_mut(stream) else { return Vec::new() };
    // SAFETY: the stream belongs to the open input.
    let count = unsafe { ffi::avformat_index_get_entries_count(stream.as_mut_ptr()) };
    let entries = (0..count).map_while(|number| {
        // SAFETY: as above. The entry is copied before any other call.
        unsafe { ffi::avformat_index_get_entry(stream.as_mut_ptr(), number).as_ref() }
    });
    let is_key = |entry: &&ffi::AVIndexEntry| entry.flags() & ffi::AVINDEX_KEYFRAME != 0;
    entries.filter(is_key).map(|entry| entry.timestamp).collect()
}

/// The URL of a file for libavformat: `file:` and the bytes of its path. On Unix the path need not be valid UTF-8.
/// `None` if the path has a zero byte or, on other systems, if it is not valid Unicode.
pub(super) fn file_url(path: &Path) -> Option<CString> {
    #[cfg(unix)]
    let name = Some(std::os::unix::ffi::OsStrExt::as_bytes(path.as_os_str()));
    #[cfg(not(unix))]
    let name = path.to_str().map(str::as_bytes);
    CString::new([b"file:", name?].concat()).ok()
}

/// Opens a file, as [`ffmpeg_next::format::input_with_dictionary`] does, which takes text only.
pub(super) fn open_input(url: &CStr, options: Dictionary) -> Result<Input, Error> {
    let mut context = std::ptr::null_mut();
    // SAFETY: `url` ends with a zero byte; `context` and `options` are pointers that the call may replace. The dictionary is
    // owned again afterwards, so that it is freed.
    let opened = unsafe {
        let mut options = options.disown();
        let opened = ffi::avformat_open_input(&mut context, url.as_ptr(), std::ptr::null_mut(), &mut options);
        drop(Dictionary::own(options));
        opened
    };
    if opened < 0 {
        return Err(Error::from(opened));
    }
    // SAFETY: the context was opened above. From here on `Input` owns it and closes it.
    Ok(unsafe { Input::wrap(context) })
}

/// Finds the streams of a file and their properties, for which libavformat decodes the first frames. Its decoders are not limited
/// in their memory, so they decode neither large frames nor those of streams that are unknown before.
pub(super) fn find_streams(input: &mut Input) -> Result<(), Error> {
    let is_large = |(width, height): (u32, u32)| u64::from(width) * u64::from(height) > MAX_PROBED_PX;
    let has_large = input.streams().any(|stream| is_large(frame_size(&stream.parameters())));
    let options = || {
        let mut options = Dictionary::new();
        options.set("max_pixels", &MAX_PROBED_PX.to_string());
        // SAFETY: the dictionary is owned again below.
        unsafe { options.disown() }
    };
    let mut options: Vec<*mut ffi::AVDictionary> = input.streams().map(|_| options()).collect();
    // SAFETY: the input is open; libavformat reads one dictionary for each stream that is known now, and may replace them. Each is
    // owned again afterwards, so that it is freed.
    let found = unsafe {
        let context = input.as_mut_ptr();
        if has_large || (*context).ctx_flags & ffi::AVFMTCTX_NOHEADER != 0 {
            ffi::av_opt_set(context.cast(), c"codec_whitelist".as_ptr(), c"none".as_ptr(), 0);
        }
        let found = ffi::avformat_find_stream_info(context, options.as_mut_ptr());
        options.into_iter().for_each(|options| drop(Dictionary::own(options)));
        found
    };
    if found < 0 { Err(Error::from(found)) } else { Ok(()) }
}

/// Width and height of a stream's frames in pixels, as the container states them; 0 where it does not.
pub(super) fn frame_size(parameters: &Parameters) -> (u32, u32) {
    // SAFETY: the parameters own a valid structure for as long as they are borrowed.
    let (width, height) = unsafe { ((*parameters.as_ptr()).width, (*parameters.as_ptr()).height) };
    (u32::try_from(width).unwrap_or(0), u32::try_from(height).unwrap_or(0))
}

/// The codec configuration that the container stores (`extradata` in libavcodec), such as a decoder configuration
/// record; empty if there is none.
pub(super) fn extradata(parameters: &Parameters) -> &[u8] {
    // SAFETY: the parameters own a valid structure for as long as they are borrowed.
    let (data, size) = unsafe { ((*parameters.as_ptr()).extradata, (*parameters.as_ptr()).extradata_size) };
    match usize::try_from(size) {
        // SAFETY: `extradata` points to `extradata_size` bytes owned by the parameters.
        Ok(size) if !data.is_null() => unsafe { std::slice::from_raw_parts(data, size) },
        _ => &[],
    }
}

/// Number of frames that the decoder holds back to put them into presentation order, according to the data decoded so
/// far.
pub(super) fn reorder_delay(decoder: &decoder::Video) -> u32 {
    // SAFETY: the decoder owns a valid context. The field is a plain number, written only by calls that borrow the
    // decoder exclusively.
    u32::try_from(unsafe { (*decoder.as_ptr()).has_b_frames }).unwrap_or(0)
}

/// Number of reference frames that the video asks for, according to the data decoded so far.
pub(super) fn reference_frames(decoder: &decoder::Video) -> u32 {
    // SAFETY: as for `reorder_delay`.
    u32::try_from(unsafe { (*decoder.as_ptr()).refs }).unwrap_or(0)
}

/// Limits each block of memory that libav takes, in the whole process. Larger ones fail as if there were no memory.
pub(super) fn limit_memory_blocks() {
    // SAFETY: the call has no preconditions.
    unsafe { ffi::av_max_alloc(MAX_BLOCK_BYTES) }
}

/// Makes a decoder that is not open yet count its pictures in `memory`, which must outlive the decoder.
pub(super) fn count_pictures(context: &mut codec::Context, memory: &Arc<PictureMemory>) {
    // SAFETY: the context owns a valid structure, and both fields are for the caller to set before the decoder is opened.
    unsafe {
        (*context.as_mut_ptr()).opaque = Arc::as_ptr(memory).cast_mut().cast();
        (*context.as_mut_ptr()).get_buffer2 = Some(counted_picture);
    }
}

/// The pixel values of a picture whose memory is counted.
struct CountedPicture {
    values: *mut ffi::AVBufferRef,
    bytes: usize,
    memory: Arc<PictureMemory>,
}

impl Drop for CountedPicture {
    fn drop(&mut self) {
        // SAFETY: this is the reference that `counted_picture` took from the frame, and nobody else releases it.
        unsafe { ffi::av_buffer_unref(&mut self.values) };
        self.memory.release(self.bytes);
    }
}

/// Gives a decoder the memory of a picture, or refuses it: `get_buffer2` of libavcodec.
unsafe extern "C" fn counted_picture(
    context: *mut ffi::AVCodecContext,
    frame: *mut ffi::AVFrame,
    flags: c_int,
) -> c_int {
    let refusal = ffi::AVERROR(ENOMEM);
    // SAFETY: libavcodec passes its own context, whose `opaque` `count_pictures` set, and a frame to be filled. If the result is
    // negative, libavcodec releases the frame.
    unsafe {
        let result = ffi::avcodec_default_get_buffer2(context, frame, flags);
        let first = (*frame).buf[0];
        if result < 0 || first.is_null() {
            return result;
        }
        let planes = (*frame).buf.iter().filter(|buffer| !buffer.is_null()).map(|buffer| (**buffer).size);
        let pixels = (*frame).width.unsigned_abs() as usize * (*frame).height.unsigned_abs() as usize;
        let bytes = PictureMemory::bytes_of(planes.sum(), pixels);
        let memory: *const PictureMemory = (*context).opaque.cast();
        if !(*memory).take(bytes) {
            return refusal;
        }
        Arc::increment_strong_count(memory);
        let counted = Box::new(CountedPicture { values: first, bytes, memory: Arc::from_raw(memory) });
        let (data, size) = ((*first).data, (*first).size);
        let counted = Box::into_raw(counted);
        (*frame).buf[0] = ffi::av_buffer_create(data, size, Some(release_picture), counted.cast(), 0);
        if (*frame).buf[0].is_null() {
            drop(Box::from_raw(counted));
            return refusal;
        }
        result
    }
}

/// Releases a picture that `counted_picture` gave.
unsafe extern "C" fn release_picture(counted: *mut c_void, _data: *mut u8) {
    // SAFETY: libavutil passes the pointer given to `av_buffer_create`, once.
    drop(unsafe { Box::from_raw(counted.cast::<CountedPicture>()) });
}

/// Whether a codec codes every frame by itself, so that damage cannot spread to the next frame.
pub(super) fn is_intra_only(codec: ffmpeg_next::codec::Id) -> bool {
    // SAFETY: the call has no preconditions and yields null or an entry of a static table.
    let descriptor = unsafe { ffi::avcodec_descriptor_get(codec.into()).as_ref() };
    descriptor.is_some_and(|descriptor| descriptor.props & ffi::AV_CODEC_PROP_INTRA_ONLY != 0)
}

/// The version of the FFmpeg release that the libraries belong to, such as `5.1.9`.
pub(super) fn release() -> String {
    // SAFETY: the call has no preconditions and yields a static text that ends with a zero byte.
    unsafe { CStr::from_ptr(ffi::av_version_info()) }.to_string_lossy().into_owned()
}

/// Whether libavformat reads a container format, given by its short name.
pub(super) fn has_demuxer(name: &CStr) -> bool {
    // SAFETY: `name` ends with a zero byte; the call yields null or an entry of a static table, which is not followed here.
    !unsafe { ffi::av_find_input_format(name.as_ptr()) }.is_null()
}

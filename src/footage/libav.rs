//! The few calls into libav for which `ffmpeg-next` has no safe face.
#![allow(unsafe_code)]

use std::cmp::Ordering;

use ffmpeg_next::StreamMut;
use ffmpeg_next::codec::Parameters;
use ffmpeg_next::decoder;
use ffmpeg_next::ffi;
use ffmpeg_next::format::context::Input;
use ffmpeg_next::frame::Video;

/// Where one component (luma, or red, green, blue) stands in a frame's memory; see libavutil's
/// `AVComponentDescriptor`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Component {
    /// Number of the plane.
    pub plane: usize,
    /// Bytes from one pixel to the next.
    pub step: usize,
    /// Bytes before the first pixel of a row.
    pub offset: usize,
    /// Low bits to shift away.
    pub shift: u32,
    /// Bits of the value.
    pub depth: u32,
}

/// How a pixel format lays out its brightness.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct PixelLayout {
    /// Red, green and blue rather than luma first.
    pub rgb: bool,
    /// Values of two bytes stand high byte first.
    pub big_endian: bool,
    /// Luma, or red, green and blue; unused ones repeat the first.
    pub components: [Component; 3],
}

/// The layout of a frame's pixel format; `None` for palettes, bit streams, floats, raw sensor patterns and
/// pictures that live on a graphics card.
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
    let component = |number: usize| {
        let raw = descriptor.comp.get(if rgb { number } else { 0 })?;
        Some(Component {
            plane: raw.plane.try_into().ok()?,
            step: raw.step.try_into().ok()?,
            offset: raw.offset.try_into().ok()?,
            shift: raw.shift.try_into().ok()?,
            depth: raw.depth.try_into().ok()?,
        })
    };
    Some(PixelLayout {
        rgb,
        big_endian: has(ffi::AV_PIX_FMT_FLAG_BE),
        components: [component(0)?, component(1)?, component(2)?],
    })
}

/// One plane of a decoded frame, in place.
#[derive(Debug, Clone, Copy)]
pub(super) struct Plane<'a> {
    bytes: &'a [u8],
    stride: usize,
    row_bytes: usize,
    rows: usize,
    upside_down: bool,
}

impl<'a> Plane<'a> {
    /// The `row`-th row from the top; `None` below the last.
    pub(super) fn row(&self, row: usize) -> Option<&'a [u8]> {
        if row >= self.rows {
            return None;
        }
        let place = if self.upside_down { self.rows - 1 - row } else { row };
        let start = place.checked_mul(self.stride)?;
        self.bytes.get(start..start.checked_add(self.row_bytes)?)
    }

    /// All rows in one slice and the distance between them, if they stand in order from top to bottom.
    pub(super) fn in_order(&self) -> Option<(&'a [u8], usize)> {
        (!self.upside_down).then_some((self.bytes, self.stride))
    }
}

/// The first `rows` rows of `row_bytes` bytes of one plane. `None` if the frame does not hold that many:
/// unlike `ffmpeg_next::frame::Video::data` this checks against the buffer's true end and knows pictures
/// stored from the bottom up.
pub(super) fn plane(frame: &Video, plane: usize, row_bytes: usize, rows: usize) -> Option<Plane<'_>> {
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
    let held = raw.buf.iter().filter(|buffer| !buffer.is_null()).any(|&buffer| {
        // SAFETY: a non-null entry of `buf` is a reference the frame holds, so it is valid.
        let (start, size) = unsafe { ((*buffer).data as usize, (*buffer).size) };
        start <= first && start.checked_add(size).is_some_and(|stop| end <= stop)
    });
    if !held {
        return None;
    }
    // SAFETY: `first..first + length` lies within one buffer of the frame (checked above), which lives and
    // is not written to while the frame is borrowed: the decoder never writes to a frame it has given out
    // while its reference is held.
    let bytes = unsafe {
        let start = if upside_down { top.offset(stride * (rows as isize - 1)) } else { top };
        std::slice::from_raw_parts(start, length)
    };
    Some(Plane { bytes, stride: stride.unsigned_abs(), row_bytes, rows, upside_down })
}

/// Tells the demuxer to pass over all streams but one, so that it need not read them.
pub(super) fn keep_only_stream(input: &mut Input, keep: usize) {
    for mut stream in input.streams_mut() {
        let index = stream.index();
        // SAFETY: the stream belongs to the open input; `discard` is the caller's to set.
        unsafe {
            (*stream.as_mut_ptr()).discard =
                if index == keep { ffi::AVDiscard::AVDISCARD_DEFAULT } else { ffi::AVDiscard::AVDISCARD_ALL };
        }
    }
}

/// Moves the demuxer to the key frame at or before `stamp` (in the stream's time base). Answers whether the
/// container could do it.
pub(super) fn seek_before(input: &mut Input, stream: usize, stamp: i64) -> bool {
    let Ok(stream) = i32::try_from(stream) else { return false };
    // SAFETY: the input is open and `stream` is checked by libavformat against its streams.
    unsafe { ffi::av_seek_frame(input.as_mut_ptr(), stream, stamp, ffi::AVSEEK_FLAG_BACKWARD) >= 0 }
}

/// The stamp of the key frame at or before `stamp` by the container's index, as far as it is known.
pub(super) fn key_stamp_before(input: &mut Input, stream: usize, stamp: i64) -> Option<i64> {
    let mut stream = input.stream_mut(stream)?;
    // SAFETY: the stream belongs to the open input; the entry is copied before anything else is called.
    unsafe {
        let entry = ffi::avformat_index_get_entry_from_timestamp(
            stream.as_mut_ptr(),
            stamp,
            ffi::AVSEEK_FLAG_BACKWARD,
        );
        entry.as_ref().map(|entry| entry.timestamp)
    }
}

/// An entry of a container's index.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct IndexEntry {
    /// Its number in the index.
    pub number: i32,
    /// Its stamp in the stream's time base.
    pub stamp: i64,
    place: i64,
    bytes: i32,
}

fn index_entry(stream: &mut StreamMut, number: i32) -> Option<IndexEntry> {
    // SAFETY: the stream belongs to an open input; the entry is copied before anything else is called.
    let entry = unsafe { ffi::avformat_index_get_entry(stream.as_mut_ptr(), number).as_ref()? };
    Some(IndexEntry { number, stamp: entry.timestamp, place: entry.pos, bytes: entry.size() })
}

/// The index entry of the packet at a place in the file, in bytes from its start, for indices in the order of
/// the file.
pub(super) fn index_entry_at(input: &mut Input, stream: usize, place: i64) -> Option<IndexEntry> {
    let mut stream = input.stream_mut(stream)?;
    // SAFETY: the stream belongs to the open input.
    let (mut low, mut high) = (0, unsafe { ffi::avformat_index_get_entries_count(stream.as_mut_ptr()) });
    while low < high {
        let middle = low + (high - low) / 2;
        let entry = index_entry(&mut stream, middle)?;
        match entry.place.cmp(&place) {
            Ordering::Equal => return Some(entry),
            Ordering::Less => low = middle + 1,
            Ordering::Greater => high = middle,
        }
    }
    None
}

/// How many index entries strictly between two stand for packets with content.
pub(super) fn filled_entries_between(input: &mut Input, stream: usize, first: i32, last: i32) -> u64 {
    let Some(mut stream) = input.stream_mut(stream) else { return 0 };
    let filled = (first.saturating_add(1)..last)
        .filter_map(|number| index_entry(&mut stream, number))
        .filter(|entry| entry.bytes > 0);
    filled.count() as u64
}

/// The stamps of all key frames that the container's index knows.
pub(super) fn key_stamps(input: &mut Input, stream: usize) -> Vec<i64> {
    let Some(mut stream) = input.stream_mut(stream) else { return Vec::new() };
    // SAFETY: the stream belongs to the open input.
    let count = unsafe { ffi::avformat_index_get_entries_count(stream.as_mut_ptr()) };
    let entries = (0..count).map_while(|number| {
        // SAFETY: as above; the entry is copied before anything else is called.
        unsafe { ffi::avformat_index_get_entry(stream.as_mut_ptr(), number).as_ref() }
    });
    let is_key = |entry: &&ffi::AVIndexEntry| entry.flags() & ffi::AVINDEX_KEYFRAME != 0;
    entries.filter(is_key).map(|entry| entry.timestamp).collect()
}

/// The decoder configuration that the container holds.
pub(super) fn extradata(parameters: &Parameters) -> &[u8] {
    // SAFETY: the parameters own a valid structure for as long as they are borrowed.
    let (data, size) = unsafe { ((*parameters.as_ptr()).extradata, (*parameters.as_ptr()).extradata_size) };
    match usize::try_from(size) {
        // SAFETY: `extradata` points to `extradata_size` bytes owned by the parameters.
        Ok(size) if !data.is_null() => unsafe { std::slice::from_raw_parts(data, size) },
        _ => &[],
    }
}

/// Pictures the decoder holds back to bring them into order of presentation, as far as it has seen.
pub(super) fn reorder_delay(decoder: &decoder::Video) -> u32 {
    // SAFETY: the decoder owns a valid context; the field is a plain number, written only by calls that need
    // the decoder exclusively.
    u32::try_from(unsafe { (*decoder.as_ptr()).has_b_frames }).unwrap_or(0)
}

/// Whether every frame of a codec stands alone, so that damage cannot spread to the next.
pub(super) fn is_intra_only(codec: ffmpeg_next::codec::Id) -> bool {
    // SAFETY: the call has no preconditions and yields null or an entry of a static table.
    let descriptor = unsafe { ffi::avcodec_descriptor_get(codec.into()).as_ref() };
    descriptor.is_some_and(|descriptor| descriptor.props & ffi::AV_CODEC_PROP_INTRA_ONLY != 0)
}

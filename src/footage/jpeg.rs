//! Luma of JPEG pictures, only where it is wanted, through libjpeg-turbo's code (in the crate `mozjpeg-sys`).
//!
//! Colour is not worked out, rows between the wanted areas go through entropy decoding only, and what comes
//! below the last area is not touched unless it is little. So damage that leaves valid codes is noticed only
//! where the lowest area stands low: what is read then stands against the recogniser's tests of shape alone. The inverse DCT is libjpeg's accurate integer one (`JDCT_ISLOW`); its
//! luma differs from that of libavcodec by a level here and there. Frames of motion JPEG leave out Huffman
//! tables that are the standard's own: libjpeg-turbo then takes those (ITU-T T.81, annex K.3.3).
#![allow(unsafe_code)]

use std::ops::Range;
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};

use mozjpeg_sys as ffi;

use super::area::Area;

/// Rows and columns of a picture that are wanted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Wanted {
    width: usize,
    height: usize,
    /// In order, none touching the next.
    bands: Vec<Range<usize>>,
    columns: Range<usize>,
}

/// The rest of a picture is gone through, for the sake of finding damage, where it is at most one part in so
/// many.
const SMALL_REST: usize = 4;

/// Bands this close are decoded as one: a picture is coded in blocks of 8 or 16 rows.
const CLOSE_ROWS: usize = 16;

impl Wanted {
    /// The rows and columns that cover `areas` of a picture; `None` where there are none.
    pub(super) fn of(areas: &[Area], width: usize, height: usize) -> Option<Self> {
        let mut rows: Vec<Range<usize>> =
            areas.iter().map(|area| area.top.min(height)..area.bottom.min(height)).collect();
        rows.retain(|band| !band.is_empty());
        rows.sort_by_key(|band| band.start);
        let mut bands: Vec<Range<usize>> = Vec::new();
        for band in rows {
            match bands.last_mut() {
                Some(last) if band.start <= last.end + CLOSE_ROWS => last.end = last.end.max(band.end),
                _ => bands.push(band),
            }
        }
        let left = areas.iter().map(|area| area.left).min()?;
        let right = areas.iter().map(|area| area.right.min(width)).max()?;
        (!bands.is_empty() && left < right).then_some(Self { width, height, bands, columns: left..right })
    }
}

/// A picture that is not plain enough for this decoder, or damaged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Unusual;

/// Decodes the wanted parts of pictures, one after the other.
pub(super) struct PartialDecoder {
    wanted: Wanted,
    plane: Vec<u8>,
    // Both boxed: libjpeg holds pointers to them.
    context: Box<ffi::jpeg_decompress_struct>,
    errors: Box<ffi::jpeg_error_mgr>,
}

impl PartialDecoder {
    pub(super) fn new(wanted: Wanted) -> Self {
        let plane = vec![0; wanted.width * wanted.height];
        // SAFETY: both structures are plain C data for which all zeros is a valid value; they are initialised
        // by libjpeg's own calls, and stay where they are on the heap as long as this lives.
        let (context, errors) = unsafe {
            let mut errors: Box<ffi::jpeg_error_mgr> = Box::new(std::mem::zeroed());
            ffi::jpeg_std_error(&mut errors);
            errors.error_exit = Some(give_up);
            errors.emit_message = Some(count_warning);
            let mut context: Box<ffi::jpeg_decompress_struct> = Box::new(std::mem::zeroed());
            context.common.err = &raw mut *errors;
            ffi::jpeg_create_decompress(&raw mut *context);
            (context, errors)
        };
        Self { wanted, plane, context, errors }
    }

    /// Decodes the wanted parts of `jpeg` and gives the whole plane, of which only these are right.
    ///
    /// # Errors
    /// [`Unusual`] for whatever is not a sound baseline picture of 8 bits, of the expected size, with luma at full
    /// resolution.
    pub(super) fn luma(&mut self, jpeg: &[u8]) -> Result<&[u8], Unusual> {
        if !is_baseline(jpeg) || !ends_as_it_should(jpeg) {
            return Err(Unusual);
        }
        let decoded = catch_unwind(AssertUnwindSafe(|| self.decode(jpeg)));
        // SAFETY: the context was created in `new`; aborting is allowed in every state, after an error too.
        unsafe { ffi::jpeg_abort_decompress(&mut self.context) };
        match decoded {
            Ok(true) if self.errors.num_warnings == 0 => Ok(&self.plane),
            _ => Err(Unusual),
        }
    }

    /// Answers whether the picture was as expected. Unwinds out of libjpeg at errors.
    fn decode(&mut self, jpeg: &[u8]) -> bool {
        let Self { wanted, plane, context, .. } = self;
        let Ok(length) = jpeg.len().try_into() else { return false };
        // SAFETY: the context was created in `new` and is idle; `jpeg` outlives the decoding, which the caller
        // aborts before it returns.
        unsafe {
            ffi::jpeg_mem_src(context, jpeg.as_ptr(), length);
            ffi::jpeg_read_header(context, 1);
        }
        if !is_plain(context, wanted) {
            return false;
        }
        context.out_color_space = ffi::J_COLOR_SPACE::JCS_GRAYSCALE;
        context.dct_method = ffi::J_DCT_METHOD::JDCT_ISLOW;
        context.do_fancy_upsampling = 0;
        let (Ok(mut left), Ok(mut columns)) =
            (u32::try_from(wanted.columns.start), u32::try_from(wanted.columns.len()))
        else {
            return false;
        };
        // SAFETY: the header is read; the columns lie within the picture, whose size `is_plain` compared.
        unsafe {
            ffi::jpeg_start_decompress(context);
            ffi::jpeg_crop_scanline(context, &mut left, &mut columns);
        }
        let (left, columns) = (left as usize, context.output_width as usize);
        for band in &wanted.bands {
            let skipped = band.start.saturating_sub(context.output_scanline as usize);
            // SAFETY: decompression is started, and the rows to skip lie within the picture.
            unsafe { ffi::jpeg_skip_scanlines(context, skipped as u32) };
            while (context.output_scanline as usize) < band.end {
                let start = context.output_scanline as usize * wanted.width + left;
                let Some(row) = plane.get_mut(start..start + columns) else { return false };
                let mut row = row.as_mut_ptr();
                // SAFETY: `row` has room for `output_width` grey pixels, which is what one row takes.
                if unsafe { ffi::jpeg_read_scanlines(context, &raw mut row, 1) } != 1 {
                    return false;
                }
            }
        }
        let rest = wanted.height - (context.output_scanline as usize).min(wanted.height);
        if rest > 0 && rest <= wanted.height / SMALL_REST {
            let start = plane.len() - wanted.width + left;
            let Some(row) = plane.get_mut(start..start + columns) else { return false };
            let mut row = row.as_mut_ptr();
            // SAFETY: as above; told to skip the last row too, libjpeg would not go through the rest at all.
            unsafe {
                ffi::jpeg_skip_scanlines(context, rest as u32 - 1);
                ffi::jpeg_read_scanlines(context, &raw mut row, 1);
            }
        }
        if context.output_scanline as usize == wanted.height {
            // SAFETY: all rows are read.
            unsafe { ffi::jpeg_finish_decompress(context) };
        }
        true
    }
}

impl Drop for PartialDecoder {
    fn drop(&mut self) {
        // SAFETY: the context was created in `new` and is not used afterwards.
        unsafe { ffi::jpeg_destroy_decompress(&mut self.context) };
    }
}

// SAFETY: libjpeg keeps no state outside the two structures and what they own, and these move with this.
unsafe impl Send for PartialDecoder {}

/// Whether the picture has the expected size, luma that can be had alone, and it at full resolution.
fn is_plain(context: &ffi::jpeg_decompress_struct, wanted: &Wanted) -> bool {
    let size = (context.image_width as usize, context.image_height as usize);
    let known = matches!(
        (context.jpeg_color_space, context.num_components),
        (ffi::J_COLOR_SPACE::JCS_YCbCr, 3) | (ffi::J_COLOR_SPACE::JCS_GRAYSCALE, 1)
    );
    // SAFETY: after the header is read `comp_info` points to `num_components` entries, or is null.
    let luma = unsafe { context.comp_info.as_ref() };
    let is_full = luma.is_some_and(|luma| {
        let sampling = (luma.h_samp_factor, luma.v_samp_factor);
        sampling == (context.max_h_samp_factor, context.max_v_samp_factor)
    });
    size == (wanted.width, wanted.height) && known && is_full
}

/// Whether the first frame header is that of a baseline picture of 8 bits (SOF0; ITU-T T.81, annex B.2.2).
fn is_baseline(jpeg: &[u8]) -> bool {
    let mut place = 2;
    while let Some(&[0xff, marker, high, low, precision]) = jpeg.get(place..place + 5) {
        match marker {
            0xff => place += 1,
            0xc0 => return precision == 8,
            // A frame of another kind, or a scan before any frame. C4 (tables), C8 and CC are no frames.
            0xc1..=0xc3 | 0xc5..=0xc7 | 0xc9..=0xcb | 0xcd..=0xcf | 0xda => return false,
            _ => place += 2 + usize::from(u16::from_be_bytes([high, low])),
        }
    }
    false
}

/// Whether the data ends with an end of image (EOI), but for zeros put behind it.
fn ends_as_it_should(jpeg: &[u8]) -> bool {
    let end = jpeg.iter().rposition(|byte| *byte != 0).map_or(0, |last| last + 1);
    jpeg.get(..end).is_some_and(|jpeg| jpeg.ends_with(&[0xff, 0xd9]))
}

/// Called by libjpeg at an error: must not return.
extern "C-unwind" fn give_up(_context: &mut ffi::jpeg_common_struct) {
    // Not a panic: nothing is printed.
    resume_unwind(Box::new(Unusual));
}

/// Called by libjpeg with a warning (level below 0) or a trace message.
extern "C-unwind" fn count_warning(context: &mut ffi::jpeg_common_struct, level: std::ffi::c_int) {
    // SAFETY: `err` was set in `new` and lives as long as the context.
    if let Some(errors) = unsafe { context.err.as_mut() }.filter(|_| level < 0) {
        errors.num_warnings += 1;
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;

    fn rows(top: usize, bottom: usize) -> Area {
        Area { left: 10, top, right: 90, bottom }
    }

    #[test]
    fn bands_that_are_close_are_one_and_end_with_the_picture() {
        let wanted = Wanted::of(&[rows(70, 200), rows(0, 10), rows(20, 30)], 64, 100).unwrap();
        assert_eq!(wanted.bands, [0..30, 70..100]);
        assert_eq!(wanted.columns, 10..64);
    }

    #[test]
    fn areas_outside_the_picture_want_nothing() {
        assert_eq!(Wanted::of(&[rows(120, 130)], 64, 100), None);
        assert_eq!(Wanted::of(&[], 64, 100), None);
    }

    #[test]
    fn what_is_no_sound_picture_is_refused_and_the_decoder_lives_on() {
        let mut decoder = PartialDecoder::new(Wanted::of(&[rows(0, 10)], 64, 100).unwrap());
        let baseline = [0xff, 0xd8, 0xff, 0xc0, 0, 11, 8, 0, 100, 0, 64, 1, 1, 0x11, 0];
        let cut_off = [&baseline[..], &[0xff, 0xda, 0, 8, 1, 1, 0, 0, 63, 0, 0x55, 0xff, 0xd9]].concat();
        for _ in 0..3 {
            for jpeg in [&[][..], &[0xff, 0xd8, 0xff, 0xd9], b"no picture at all", &baseline, &cut_off] {
                assert_eq!(decoder.luma(jpeg), Err(Unusual), "{jpeg:?}");
            }
        }
    }

    #[test]
    fn progressive_frames_are_not_baseline() {
        let header = |kind| [0xff, 0xd8, 0xff, 0xe0, 0, 2, 0xff, kind, 0, 11, 8];
        assert!(is_baseline(&header(0xc0)));
        assert!(!is_baseline(&header(0xc2)) && !is_baseline(&header(0xda)));
    }
}

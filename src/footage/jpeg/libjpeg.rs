//! Grey pictures decoded by libjpeg-turbo's code (in the crate `mozjpeg-sys`).
#![allow(unsafe_code)]

use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};

use mozjpeg_sys as ffi;

use super::{SIDE, Unusual};

#[cfg(test)]
pub(super) mod reference;

/// Decodes grey pictures, one after the other.
pub(super) struct GreyDecoder {
    // Both boxed: libjpeg holds pointers to them.
    context: Box<ffi::jpeg_decompress_struct>,
    errors: Box<ffi::jpeg_error_mgr>,
}

impl GreyDecoder {
    pub(super) fn new() -> Self {
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
        Self { context, errors }
    }

    /// Decodes `jpeg`, a grey picture of whole blocks, into `pixels`, row by row.
    ///
    /// # Errors
    /// [`Unusual`] for another picture, and for a damaged one.
    pub(super) fn decode(
        &mut self,
        jpeg: &[u8],
        (width, height): (usize, usize),
        pixels: &mut Vec<u8>,
    ) -> Result<(), Unusual> {
        pixels.resize(width * height, 0);
        let decoded = catch_unwind(AssertUnwindSafe(|| self.decode_into(jpeg, (width, height), pixels)));
        // SAFETY: the context was created in `new`; aborting is allowed in every state, after an error too.
        unsafe { ffi::jpeg_abort_decompress(&mut self.context) };
        match decoded {
            Ok(true) if self.errors.num_warnings == 0 => Ok(()),
            _ => Err(Unusual),
        }
    }

    /// Answers whether the picture was as expected. Unwinds out of libjpeg at errors.
    fn decode_into(&mut self, jpeg: &[u8], (width, height): (usize, usize), pixels: &mut [u8]) -> bool {
        let Self { context, .. } = self;
        let Ok(length) = jpeg.len().try_into() else { return false };
        // SAFETY: the context was created in `new` and is idle; `jpeg` outlives the decoding, which the caller
        // aborts before it returns.
        unsafe {
            ffi::jpeg_mem_src(context, jpeg.as_ptr(), length);
            ffi::jpeg_read_header(context, 1);
        }
        let size = (context.image_width as usize, context.image_height as usize);
        if size != (width, height) || context.num_components != 1 || width % SIDE + height % SIDE > 0 {
            return false;
        }
        context.out_color_space = ffi::J_COLOR_SPACE::JCS_GRAYSCALE;
        context.dct_method = ffi::J_DCT_METHOD::JDCT_ISLOW;
        context.raw_data_out = 1;
        // SAFETY: the header is read.
        unsafe { ffi::jpeg_start_decompress(context) };
        for rows in pixels.chunks_exact_mut(width * SIDE) {
            let mut starts = [std::ptr::null_mut(); SIDE];
            for (start, row) in starts.iter_mut().zip(rows.chunks_exact_mut(width)) {
                *start = row.as_mut_ptr();
            }
            let mut planes = [starts.as_mut_ptr()];
            // SAFETY: a row of blocks of the only component takes `SIDE` rows of `width` pixels, a whole number of
            // blocks, and there are as many.
            let read = unsafe { ffi::jpeg_read_raw_data(context, planes.as_mut_ptr(), SIDE as u32) };
            if read as usize != SIDE {
                return false;
            }
        }
        true
    }
}

impl Drop for GreyDecoder {
    fn drop(&mut self) {
        // SAFETY: the context was created in `new` and is not used afterwards.
        unsafe { ffi::jpeg_destroy_decompress(&mut self.context) };
    }
}

// SAFETY: libjpeg keeps no state outside the two structures and what they own, and these move with this.
unsafe impl Send for GreyDecoder {}

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

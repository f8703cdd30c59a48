//! Decodes whole images with the code of libjpeg-turbo (in the crate `mozjpeg-sys`), as the reference for
//! testing the decoder of regions.
#![allow(unsafe_code, clippy::unwrap_used)]

use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};

use mozjpeg_sys as ffi;

use super::idct::{Block, InverseDct, LEVEL_SHIFT_DC};
use super::{BLOCK_SIDE, InvalidCode};

/// The luma of a whole image, one byte per pixel; `None` if libjpeg fails or warns.
pub(crate) fn decode_whole(jpeg: &[u8]) -> Option<Vec<u8>> {
    let idct = InverseDct::new()?;
    let mut errors: ffi::jpeg_error_mgr;
    // SAFETY: the structures are plain C data for which all zeros is a valid value, initialised by libjpeg's own calls;
    // `jpeg` and the structures outlive the decoding, whose context is destroyed after an error too.
    unsafe {
        errors = std::mem::zeroed();
        ffi::jpeg_std_error(&mut errors);
        errors.error_exit = Some(give_up);
        errors.emit_message = Some(count_warning);
        let mut context: ffi::jpeg_decompress_struct = std::mem::zeroed();
        context.common.err = &raw mut errors;
        ffi::jpeg_create_decompress(&raw mut context);
        let decoded = catch_unwind(AssertUnwindSafe(|| {
            ffi::jpeg_mem_src(&mut context, jpeg.as_ptr(), jpeg.len() as std::ffi::c_ulong);
            ffi::jpeg_read_header(&mut context, 1);
            let coefficients = ffi::jpeg_read_coefficients(&mut context);
            let plane = luma_of(&mut context, *coefficients, &idct);
            ffi::jpeg_finish_decompress(&mut context);
            plane
        }));
        ffi::jpeg_destroy_decompress(&mut context);
        decoded.ok().filter(|_| errors.num_warnings == 0)
    }
}

/// The luma of an image, one byte per pixel, computed from the coefficients of its first component.
///
/// # Safety
/// `coefficients` must be those of the first component of the image that `context` has read.
unsafe fn luma_of(
    context: &mut ffi::jpeg_decompress_struct,
    coefficients: *mut ffi::jvirt_barray_control,
    idct: &InverseDct,
) -> Vec<u8> {
    let (width, height) = (context.image_width as usize, context.image_height as usize);
    // SAFETY: the header is read, so there is a component, with its table.
    let (component, table) = unsafe { (&*context.comp_info, &*(*context.comp_info).quant_table) };
    let stride = component.width_in_blocks as usize * BLOCK_SIDE;
    let mut plane = vec![0; stride * component.height_in_blocks as usize * BLOCK_SIDE];
    for (index, rows) in plane.chunks_exact_mut(stride * BLOCK_SIDE).enumerate() {
        // SAFETY: the component has this many rows of blocks, each as long as the component is wide.
        let blocks = unsafe {
            let access = (*context.common.mem).access_virt_barray.unwrap();
            let row = *access(&mut context.common, coefficients, index as u32, 1, 0);
            std::slice::from_raw_parts(row, component.width_in_blocks as usize)
        };
        for (column, values) in blocks.iter().enumerate() {
            let mut block = Block::EMPTY;
            for (index, (value, step)) in values.iter().zip(&table.quantval).enumerate() {
                let shift = if index == 0 { LEVEL_SHIFT_DC } else { 0 };
                let level = i32::from(*value) * i32::from(*step) + shift;
                block.0[usize::from(idct.position_of(index))] = level as i16;
            }
            idct.write(&mut block, &mut rows[column * BLOCK_SIDE..], stride);
        }
    }
    plane.chunks_exact(stride).take(height).flat_map(|row| row[..width].to_vec()).collect()
}

/// libjpeg calls this at an error; it must not return.
extern "C-unwind" fn give_up(_context: &mut ffi::jpeg_common_struct) {
    // Unlike a panic this prints nothing.
    resume_unwind(Box::new(InvalidCode));
}

/// libjpeg calls this with a warning (level below 0) or a trace message.
extern "C-unwind" fn count_warning(context: &mut ffi::jpeg_common_struct, level: std::ffi::c_int) {
    // SAFETY: `err` is set and lives as long as the context.
    if let Some(errors) = unsafe { context.err.as_mut() }.filter(|_| level < 0) {
        errors.num_warnings += 1;
    }
}

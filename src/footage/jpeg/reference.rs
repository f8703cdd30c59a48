//! Pictures coded, and their coefficients decoded, by libjpeg-turbo's code (in the crate `mozjpeg-sys`): what the parts
//! are held to.
#![allow(unsafe_code, clippy::unwrap_used)]

use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};

use mozjpeg_sys as ffi;

use super::idct::{Block, InverseDct, MIDDLE_DC};
use super::{SIDE, Unusual};

/// How a picture is coded.
#[derive(Debug, Clone)]
pub(super) struct Coding {
    pub width: usize,
    pub height: usize,
    /// Sampling factors of each component, one for grey.
    pub sampling: Vec<(i32, i32)>,
    pub quality: i32,
    /// Huffman tables are the best for the picture.
    pub optimised: bool,
    /// Minimum coded units between restart markers.
    pub interval: u32,
    pub progressive: bool,
}

/// Codes `pixels`, of which each has a sample for each component.
pub(super) fn encode(coding: &Coding, pixels: &[u8]) -> Vec<u8> {
    let components = coding.sampling.len();
    let mut jpeg = vec![0; (1 << 16) + 8 * pixels.len()];
    let (mut place, mut size) = (jpeg.as_mut_ptr(), jpeg.len() as std::ffi::c_ulong);
    // SAFETY: the structures are plain C data for which all zeros is a valid value, initialised by libjpeg's own calls;
    // `jpeg`, which is larger than any picture made here, and the rows outlive the coding.
    unsafe {
        let mut errors: ffi::jpeg_error_mgr = std::mem::zeroed();
        let mut context: ffi::jpeg_compress_struct = std::mem::zeroed();
        context.common.err = ffi::jpeg_std_error(&mut errors);
        ffi::jpeg_create_compress(&raw mut context);
        ffi::jpeg_mem_dest(&mut context, &raw mut place, &raw mut size);
        (context.image_width, context.image_height) = (coding.width as u32, coding.height as u32);
        context.input_components = components as i32;
        context.in_color_space = match components {
            1 => ffi::J_COLOR_SPACE::JCS_GRAYSCALE,
            _ => ffi::J_COLOR_SPACE::JCS_YCbCr,
        };
        let fastest = ffi::JCP_FASTEST as i32;
        ffi::jpeg_c_set_int_param(&mut context, ffi::J_INT_PARAM::JINT_COMPRESS_PROFILE, fastest);
        ffi::jpeg_set_defaults(&mut context);
        ffi::jpeg_set_quality(&mut context, coding.quality, 1);
        for (number, (across, down)) in coding.sampling.iter().enumerate() {
            let component = &mut *context.comp_info.add(number);
            (component.h_samp_factor, component.v_samp_factor) = (*across, *down);
        }
        context.optimize_coding = coding.optimised.into();
        context.restart_interval = coding.interval;
        if coding.progressive {
            ffi::jpeg_simple_progression(&mut context);
        }
        ffi::jpeg_start_compress(&mut context, 1);
        for row in pixels.chunks_exact(coding.width * components) {
            let row = row.as_ptr();
            ffi::jpeg_write_scanlines(&mut context, &raw const row, 1);
        }
        ffi::jpeg_finish_compress(&mut context);
        ffi::jpeg_destroy_compress(&mut context);
    }
    assert_eq!(place, jpeg.as_mut_ptr(), "the room was enough");
    jpeg.truncate(size as usize);
    jpeg
}

/// The luma of all of a picture, of the coefficients that libjpeg finds; `None` if it is not one without warnings.
pub(super) fn decode_whole(jpeg: &[u8]) -> Option<Vec<u8>> {
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

/// # Safety
/// `coefficients` are those of the first component of the picture that `context` has read.
unsafe fn luma_of(
    context: &mut ffi::jpeg_decompress_struct,
    coefficients: *mut ffi::jvirt_barray_control,
    idct: &InverseDct,
) -> Vec<u8> {
    let (width, height) = (context.image_width as usize, context.image_height as usize);
    // SAFETY: the header is read, so there is a component, with its table.
    let (component, table) = unsafe { (&*context.comp_info, &*(*context.comp_info).quant_table) };
    let stride = component.width_in_blocks as usize * SIDE;
    let mut plane = vec![0; stride * component.height_in_blocks as usize * SIDE];
    for (number, rows) in plane.chunks_exact_mut(stride * SIDE).enumerate() {
        // SAFETY: there are as many rows of blocks, each as long as the component is wide.
        let blocks = unsafe {
            let access = (*context.common.mem).access_virt_barray.unwrap();
            let row = *access(&mut context.common, coefficients, number as u32, 1, 0);
            std::slice::from_raw_parts(row, component.width_in_blocks as usize)
        };
        for (column, values) in blocks.iter().enumerate() {
            let mut block = Block::EMPTY;
            for (place, (value, step)) in values.iter().zip(&table.quantval).enumerate() {
                let middle = if place == 0 { MIDDLE_DC } else { 0 };
                let level = i32::from(*value) * i32::from(*step) + middle;
                block.0[usize::from(idct.place_of(place))] = level as i16;
            }
            idct.put(&mut block, &mut rows[column * SIDE..], stride);
        }
    }
    plane.chunks_exact(stride).take(height).flat_map(|row| row[..width].to_vec()).collect()
}

/// Called by libjpeg at an error: must not return.
extern "C-unwind" fn give_up(_context: &mut ffi::jpeg_common_struct) {
    // Not a panic: nothing is printed.
    resume_unwind(Box::new(Unusual));
}

/// Called by libjpeg with a warning (level below 0) or a trace message.
extern "C-unwind" fn count_warning(context: &mut ffi::jpeg_common_struct, level: std::ffi::c_int) {
    // SAFETY: `err` is set and lives as long as the context.
    if let Some(errors) = unsafe { context.err.as_mut() }.filter(|_| level < 0) {
        errors.num_warnings += 1;
    }
}

//! Encodes test images with libjpeg-turbo's code (in the crate `mozjpeg-sys`).
#![allow(unsafe_code)]

use mozjpeg_sys as ffi;

/// How an image is encoded.
#[derive(Debug, Clone)]
pub struct Encoding {
    /// Width in pixels.
    pub width: usize,
    /// Height in pixels.
    pub height: usize,
    /// Horizontal and vertical sampling factors of each component; one component is grey.
    pub sampling: Vec<(i32, i32)>,
    /// Quality from 1 to 100.
    pub quality: i32,
    /// Whether the Huffman tables are optimised for the image.
    pub optimised: bool,
    /// Minimum coded units between restart markers; 0 for none.
    pub restart_interval: u32,
    /// Whether the image is progressive.
    pub progressive: bool,
}

/// Encodes `pixels`, row by row, with one sample for each component of a pixel.
pub fn encode(encoding: &Encoding, pixels: &[u8]) -> Vec<u8> {
    let components = encoding.sampling.len();
    let mut jpeg = vec![0; (1 << 16) + 8 * pixels.len()];
    let (mut start, mut size) = (jpeg.as_mut_ptr(), jpeg.len() as std::ffi::c_ulong);
    // SAFETY: the structures are plain C data for which all zeros is a valid value, initialised by libjpeg's own calls;
    // `jpeg`, which is larger than any image encoded here, and the rows outlive the encoding.
    unsafe {
        let mut errors: ffi::jpeg_error_mgr = std::mem::zeroed();
        let mut context: ffi::jpeg_compress_struct = std::mem::zeroed();
        context.common.err = ffi::jpeg_std_error(&mut errors);
        ffi::jpeg_create_compress(&raw mut context);
        ffi::jpeg_mem_dest(&mut context, &raw mut start, &raw mut size);
        (context.image_width, context.image_height) = (encoding.width as u32, encoding.height as u32);
        context.input_components = components as i32;
        context.in_color_space = match components {
            1 => ffi::J_COLOR_SPACE::JCS_GRAYSCALE,
            _ => ffi::J_COLOR_SPACE::JCS_YCbCr,
        };
        let fastest = ffi::JCP_FASTEST as i32;
        ffi::jpeg_c_set_int_param(&mut context, ffi::J_INT_PARAM::JINT_COMPRESS_PROFILE, fastest);
        ffi::jpeg_set_defaults(&mut context);
        ffi::jpeg_set_quality(&mut context, encoding.quality, 1);
        for (index, (horizontal, vertical)) in encoding.sampling.iter().enumerate() {
            let component = &mut *context.comp_info.add(index);
            (component.h_samp_factor, component.v_samp_factor) = (*horizontal, *vertical);
        }
        context.optimize_coding = encoding.optimised.into();
        context.restart_interval = encoding.restart_interval;
        if encoding.progressive {
            ffi::jpeg_simple_progression(&mut context);
        }
        ffi::jpeg_start_compress(&mut context, 1);
        for row in pixels.chunks_exact(encoding.width * components) {
            let row = row.as_ptr();
            ffi::jpeg_write_scanlines(&mut context, &raw const row, 1);
        }
        ffi::jpeg_finish_compress(&mut context);
        ffi::jpeg_destroy_compress(&mut context);
    }
    assert_eq!(start, jpeg.as_mut_ptr(), "the buffer was large enough");
    jpeg.truncate(size as usize);
    jpeg
}

//! Pictures coded, and decoded whole, by libjpeg-turbo's code: what the parts are held to.

use super::*;

/// How a picture is coded.
#[derive(Debug, Clone)]
pub(in super::super) struct Coding {
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
pub(in super::super) fn encode(coding: &Coding, pixels: &[u8]) -> Vec<u8> {
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

/// The luma of all of a picture; `None` if it is not one without warnings.
pub(in super::super) fn decode_whole(jpeg: &[u8]) -> Option<Vec<u8>> {
    let mut decoder = GreyDecoder::new();
    let decoded = catch_unwind(AssertUnwindSafe(|| {
        let context = &mut *decoder.context;
        // SAFETY: the context is idle, `jpeg` and the rows outlive the decoding.
        unsafe {
            ffi::jpeg_mem_src(context, jpeg.as_ptr(), jpeg.len() as std::ffi::c_ulong);
            ffi::jpeg_read_header(context, 1);
            context.out_color_space = ffi::J_COLOR_SPACE::JCS_GRAYSCALE;
            context.dct_method = ffi::J_DCT_METHOD::JDCT_ISLOW;
            ffi::jpeg_start_decompress(context);
            let mut plane = vec![0; context.output_width as usize * context.output_height as usize];
            for row in plane.chunks_exact_mut(context.output_width as usize) {
                let mut row = row.as_mut_ptr();
                ffi::jpeg_read_scanlines(context, &raw mut row, 1);
            }
            ffi::jpeg_finish_decompress(context);
            plane
        }
    }));
    decoded.ok().filter(|_| decoder.errors.num_warnings == 0)
}

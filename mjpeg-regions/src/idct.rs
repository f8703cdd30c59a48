//! The inverse DCT of libavcodec, which also its decoder of whole images uses.
#![allow(unsafe_code)]

use pulp::Arch;

use super::{BLOCK_SIDE, COEFFICIENTS};

/// The binding that the build script generates from the installed `libavcodec/avdct.h`.
mod ffi {
    #![allow(
        missing_docs,
        non_camel_case_types,
        non_snake_case,
        non_upper_case_globals,
        dead_code,
        clippy::all
    )]

    include!(concat!(env!("OUT_DIR"), "/avdct.rs"));
}

/// C function that replaces the coefficients of a [`Block`] by its sample values.
type Transform = unsafe extern "C" fn(*mut i16);

/// The dequantised coefficients of a block, in the order of [`InverseDct::position_of`].
#[derive(Clone)]
#[repr(align(64))]
pub(crate) struct Block(pub [i16; COEFFICIENTS]);

impl Block {
    /// A block whose coefficients are 0.
    pub(crate) const EMPTY: Self = Self([0; COEFFICIENTS]);
}

/// Value that is added to the DC coefficient before the inverse DCT to raise all samples by 128 (the level shift, ITU-T
/// T.81, annex A.3.1): 8 times 128, because a DC coefficient is 8 times the mean of the samples.
pub(crate) const LEVEL_SHIFT_DC: i32 = 1024;

/// The inverse DCT, and the order of coefficients that it requires.
#[derive(Clone)]
pub(crate) struct InverseDct {
    transform: Transform,
    positions: [u8; COEFFICIENTS],
}

impl InverseDct {
    /// The inverse DCT of the installed libavcodec; `None` if it was built without one.
    pub(crate) fn new() -> Option<Self> {
        // SAFETY: libavcodec allocates the structure, whose layout is that of the installed header, and `av_freep` is
        // the call that frees it. It is read after it is initialised.
        unsafe {
            let mut dct = ffi::avcodec_dct_alloc();
            let is_ready = !dct.is_null() && ffi::avcodec_dct_init(dct) >= 0;
            let found = dct.as_ref().filter(|_| is_ready).and_then(|dct| {
                let transform: Transform = dct.idct?;
                Some(Self { transform, positions: dct.idct_permutation })
            });
            ffi::av_freep((&raw mut dct).cast());
            found
        }
    }

    /// The position in a [`Block`] of the coefficient whose index is counted row by row.
    pub(crate) fn position_of(&self, index: usize) -> u8 {
        self.positions[index]
    }

    /// Transforms a block into samples and writes them to `pixels`, whose rows are `stride` bytes apart. The
    /// coefficients of the block are overwritten.
    pub(crate) fn write(&self, block: &mut Block, pixels: &mut [u8], stride: usize) {
        // SAFETY: a block has the size and alignment that the function needs, and is borrowed exclusively.
        unsafe { (self.transform)(block.0.as_mut_ptr()) };
        let mut samples = [0; COEFFICIENTS];
        Arch::new().dispatch(|| {
            samples.iter_mut().zip(&block.0).for_each(|(sample, wide)| *sample = (*wide).clamp(0, 255) as u8);
        });
        for (row, samples) in samples.chunks_exact(BLOCK_SIDE).enumerate() {
            if let Some(pixels) = pixels.get_mut(row * stride..row * stride + BLOCK_SIDE) {
                pixels.copy_from_slice(samples);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use std::f64::consts::{FRAC_1_SQRT_2, PI};

    use super::*;

    /// Compares with the formula of ITU-T T.81, annex A.3.3, within the rounding of an integer transform.
    #[test]
    fn samples_follow_the_standards_formula() {
        let idct = InverseDct::new().unwrap();
        for seed in 0..200_u64 {
            let value = |index: usize| {
                let hash = (seed * 64 + index as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 40;
                if hash.is_multiple_of(5) || index == 0 { (hash / 5 % 241) as i16 - 120 } else { 0 }
            };
            let mut block = Block::EMPTY;
            for index in 0..COEFFICIENTS {
                block.0[usize::from(idct.position_of(index))] = value(index);
            }
            block.0[usize::from(idct.position_of(0))] += LEVEL_SHIFT_DC as i16;
            let mut pixels = [7; 10 * BLOCK_SIDE];
            idct.write(&mut block, &mut pixels, 10);
            for y in 0..BLOCK_SIDE {
                for x in 0..BLOCK_SIDE {
                    let wave = |at: usize, of: usize| {
                        let scale = if of == 0 { FRAC_1_SQRT_2 } else { 1.0 };
                        scale * ((2 * at + 1) as f64 * of as f64 * PI / 16.0).cos()
                    };
                    let indices = (0..COEFFICIENTS).map(|index| (index / BLOCK_SIDE, index % BLOCK_SIDE));
                    let level: f64 = indices
                        .map(|(v, u)| 0.25 * wave(x, u) * wave(y, v) * f64::from(value(v * BLOCK_SIDE + u)))
                        .sum();
                    let expected = (level + 128.0).clamp(0.0, 255.0);
                    let found = f64::from(pixels[10 * y + x]);
                    assert!((found - expected).abs() < 1.5, "{seed}: {x} {y}: {found} {expected}");
                }
            }
            assert!(pixels.chunks(10).all(|row| row.len() < 10 || row[BLOCK_SIDE..] == [7, 7]));
        }
    }
}

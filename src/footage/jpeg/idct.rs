//! Pixels of a block, by libavcodec's inverse DCT: the one its own decoder of whole pictures takes.
#![allow(unsafe_code)]

use std::ffi::{c_int, c_void};

use pulp::Arch;

use super::{COEFFICIENTS, SIDE};

/// The beginning of libavcodec's `AVDCT` (`libavcodec/avdct.h`), which libavcodec alone makes.
#[repr(C)]
struct AvDct {
    class: *const c_void,
    transform: Option<Transform>,
    places: [u8; COEFFICIENTS],
}

/// Makes levels of coefficients, in place; both in a [`Block`].
type Transform = unsafe extern "C" fn(*mut i16);

unsafe extern "C" {
    fn avcodec_dct_alloc() -> *mut AvDct;
    fn avcodec_dct_init(dct: *mut AvDct) -> c_int;
}

/// The coefficients of a block, in the order that [`InverseDct::places`] tells, times their steps of quantisation.
#[derive(Clone)]
#[repr(align(64))]
pub(super) struct Block(pub [i16; COEFFICIENTS]);

impl Block {
    /// A block without any.
    pub(super) const EMPTY: Self = Self([0; COEFFICIENTS]);
}

/// What a DC coefficient is more by than that of the differences to a middle grey (ITU-T T.81, annex A.3.1): eight
/// times 128.
pub(super) const MIDDLE_DC: i32 = 1024;

/// The inverse DCT of blocks.
#[derive(Clone)]
pub(super) struct InverseDct {
    transform: Transform,
    places: [u8; COEFFICIENTS],
}

impl InverseDct {
    /// `None` where libavcodec has none.
    pub(super) fn new() -> Option<Self> {
        // SAFETY: the structure is made by libavcodec and freed by the call that its documentation names; what is
        // read of it stands at its beginning.
        unsafe {
            let mut dct = avcodec_dct_alloc();
            let found = dct.as_ref().filter(|_| avcodec_dct_init(dct) >= 0);
            let found = found.and_then(|dct| Some(Self { transform: dct.transform?, places: dct.places }));
            ffmpeg_next::ffi::av_freep((&raw mut dct).cast());
            found
        }
    }

    /// Where in a [`Block`] the coefficient goes whose place in a block, row by row, is given.
    pub(super) fn place_of(&self, place: usize) -> u8 {
        self.places[place]
    }

    /// Puts the levels of a block to the beginning of a picture's rows, `stride` apart. What the block held is lost.
    pub(super) fn put(&self, block: &mut Block, pixels: &mut [u8], stride: usize) {
        // SAFETY: a block is as large and as aligned as the function needs, and its own.
        unsafe { (self.transform)(block.0.as_mut_ptr()) };
        let mut levels = [0; COEFFICIENTS];
        Arch::new().dispatch(|| {
            levels.iter_mut().zip(&block.0).for_each(|(level, wide)| *level = (*wide).clamp(0, 255) as u8);
        });
        for (row, levels) in levels.chunks_exact(SIDE).enumerate() {
            if let Some(pixels) = pixels.get_mut(row * stride..row * stride + SIDE) {
                pixels.copy_from_slice(levels);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use std::f64::consts::{FRAC_1_SQRT_2, PI};

    use super::*;

    /// ITU-T T.81, annex A.3.3, by the book; within the rounding of an integer transform.
    #[test]
    fn levels_are_those_of_the_standards_formula() {
        let idct = InverseDct::new().unwrap();
        for seed in 0..200_u64 {
            let value = |place: usize| {
                let hash = (seed * 64 + place as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 40;
                if hash.is_multiple_of(5) || place == 0 { (hash / 5 % 241) as i16 - 120 } else { 0 }
            };
            let mut block = Block::EMPTY;
            for place in 0..COEFFICIENTS {
                block.0[usize::from(idct.place_of(place))] = value(place);
            }
            block.0[usize::from(idct.place_of(0))] += MIDDLE_DC as i16;
            let mut pixels = [7; 10 * SIDE];
            idct.put(&mut block, &mut pixels, 10);
            for y in 0..SIDE {
                for x in 0..SIDE {
                    let wave = |at: usize, of: usize| {
                        let scale = if of == 0 { FRAC_1_SQRT_2 } else { 1.0 };
                        scale * ((2 * at + 1) as f64 * of as f64 * PI / 16.0).cos()
                    };
                    let places = (0..COEFFICIENTS).map(|place| (place / SIDE, place % SIDE));
                    let level: f64 = places
                        .map(|(v, u)| 0.25 * wave(x, u) * wave(y, v) * f64::from(value(v * SIDE + u)))
                        .sum();
                    let expected = (level + 128.0).clamp(0.0, 255.0);
                    let found = f64::from(pixels[10 * y + x]);
                    assert!((found - expected).abs() < 1.5, "{seed}: {x} {y}: {found} {expected}");
                }
            }
            assert!(pixels.chunks(10).all(|row| row.len() < 10 || row[SIDE..] == [7, 7]));
        }
    }
}

//! Decodes the selected blocks and writes their pixels into the plane.

use super::bits::BitReader;
use super::blocks::BlockDecoder;
use super::idct::{Block, InverseDct, LEVEL_SHIFT_DC};
use super::{BLOCK_SIDE, COEFFICIENTS, InvalidCode};

/// Maximum magnitude of a coefficient after multiplication by its quantisation step, for 8-bit samples. The forward DCT
/// (ITU-T T.81, annex A.3.3) keeps the sum of squares, so no coefficient exceeds eight times the largest distance from
/// middle grey: 1024. A quarter is added for encoders that let samples exceed their range (set by judgement).
const MAX_COEFFICIENT: i32 = 1280;

/// For each coefficient in zigzag order: its position in a [`Block`], and the quantisation step by which it is
/// multiplied.
type Steps = [(u8, u8); COEFFICIENTS];

/// Quantisation and inverse DCT; kept from one image to the next.
#[derive(Clone)]
pub(crate) struct BlockTransform {
    idct: InverseDct,
    steps: Steps,
}

impl BlockTransform {
    /// The transform, still without quantisation table; `None` if libavcodec has no inverse DCT.
    pub(crate) fn new() -> Option<Self> {
        let idct = InverseDct::new()?;
        let mut steps = [(0, 0); COEFFICIENTS];
        for ((position, _), index) in steps.iter_mut().zip(zigzag()) {
            *position = idct.position_of(index);
        }
        Some(Self { idct, steps })
    }

    /// Sets the quantisation table, given in the form of its JPEG segment (ITU-T T.81, annex B.2.4.1).
    pub(crate) fn set_quantisation(&mut self, table: &[u8]) {
        self.steps.iter_mut().zip(table).for_each(|((_, step), new_step)| *step = *new_step);
    }

    /// Whether a DC coefficient, before its multiplication by the quantisation step, is one that images can have.
    #[inline]
    pub(crate) fn is_valid_dc(&self, dc: i32) -> bool {
        least_magnitude(dc, self.steps[0].1) <= MAX_COEFFICIENT
    }
}

/// Writes the selected blocks of one image.
pub(crate) struct BlockWriter<'a> {
    pub transform: &'a BlockTransform,
    /// The index in the plane of the first pixel of each block that is still to be written.
    pub offsets: std::slice::Iter<'a, usize>,
    pub plane: &'a mut [u8],
    pub stride: usize,
}

impl BlockWriter<'_> {
    /// Decodes the next block and writes its pixels. `dc` is the DC coefficient of the previous block; returns that of
    /// this block.
    ///
    /// # Errors
    ///
    /// [`InvalidCode`] if the code of the block is damaged.
    #[inline]
    pub(crate) fn write(
        &mut self,
        decoder: &BlockDecoder,
        bits: &mut BitReader<'_>,
        dc: i32,
    ) -> Result<i32, InvalidCode> {
        let BlockTransform { idct, steps } = self.transform;
        let mut block = Block::EMPTY;
        let mut magnitude = 0;
        let difference = decoder.decode(bits, |index, value| {
            let (position, step) = steps[index];
            magnitude = magnitude.max(least_magnitude(value, step));
            block.0[usize::from(position) % COEFFICIENTS] = (value * i32::from(step)) as i16;
        })?;
        let (dc, (position, step)) = (dc.wrapping_add(difference), steps[0]);
        if magnitude > MAX_COEFFICIENT || !self.transform.is_valid_dc(dc) {
            return Err(InvalidCode);
        }
        block.0[usize::from(position) % COEFFICIENTS] = (dc * i32::from(step) + LEVEL_SHIFT_DC) as i16;
        let offset = *self.offsets.next().ok_or(InvalidCode)?;
        idct.write(&mut block, self.plane.get_mut(offset..).unwrap_or_default(), self.stride);
        Ok(dc)
    }
}

/// The smallest magnitude that a coefficient can have had before quantisation: rounding changes it by at most one step.
fn least_magnitude(coefficient: i32, step: u8) -> i32 {
    (coefficient.saturating_abs() - 1).saturating_mul(i32::from(step))
}

/// The indices of the coefficients, counted row by row, in zigzag order (annex A.3.6, figure A.6).
fn zigzag() -> impl Iterator<Item = usize> {
    (0..2 * BLOCK_SIDE - 1).flat_map(|diagonal| {
        let steps = diagonal.saturating_sub(BLOCK_SIDE - 1)..=diagonal.min(BLOCK_SIDE - 1);
        steps.map(move |step| {
            let (row, column) =
                if diagonal % 2 == 1 { (step, diagonal - step) } else { (diagonal - step, step) };
            row * BLOCK_SIDE + column
        })
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn coefficients_that_no_image_has_are_out_of_range() {
        let mut transform = BlockTransform::new().unwrap();
        transform.set_quantisation(&[16; COEFFICIENTS]);
        // Black and white: 8 x -128 and 8 x 127, divided by the step.
        assert!(transform.is_valid_dc(-64) && transform.is_valid_dc(64));
        assert!(
            !transform.is_valid_dc(100) && !transform.is_valid_dc(-100) && !transform.is_valid_dc(i32::MIN)
        );
    }

    /// The first and the last entries of figure A.6.
    #[test]
    fn the_zigzag_order_follows_the_diagonals_in_alternating_directions() {
        let indices: Vec<usize> = zigzag().collect();
        assert_eq!(indices[..16], [0, 1, 8, 16, 9, 2, 3, 10, 17, 24, 32, 25, 18, 11, 4, 5]);
        assert_eq!(indices[56..], [53, 60, 61, 54, 47, 55, 62, 63]);
        assert_eq!(indices.len(), COEFFICIENTS);
    }
}

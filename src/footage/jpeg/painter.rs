//! Blocks taken from a picture's code and put to their places in the plane.

use super::bits::Bits;
use super::blocks::BlockCodes;
use super::idct::{Block, InverseDct, MIDDLE_DC};
use super::{COEFFICIENTS, SIDE, Unusual};

/// What no DC coefficient of 8 bit samples is beyond (annex A.3.3: eight times the mean difference to a middle grey).
const MOST_DC: u32 = 1024;

/// For each coefficient in zigzag order: its place in a [`Block`], and its step of quantisation.
type Steps = [(u8, u8); COEFFICIENTS];

/// What blocks are painted with, from one picture to the next.
pub(super) struct Palette {
    idct: InverseDct,
    steps: Steps,
}

impl Palette {
    /// `None` where there is no inverse DCT.
    pub(super) fn new() -> Option<Self> {
        let idct = InverseDct::new()?;
        let mut steps = [(0, 0); COEFFICIENTS];
        for (step, place) in steps.iter_mut().zip(zigzag()) {
            step.0 = idct.place_of(place);
        }
        Some(Self { idct, steps })
    }

    /// Takes up a quantisation table, given as in its segment (ITU-T T.81, annex B.2.4.1).
    pub(super) fn quantise(&mut self, table: &[u8]) {
        self.steps.iter_mut().zip(table).for_each(|(step, of_table)| step.1 = *of_table);
    }
}

/// Paints the wanted blocks of one picture.
pub(super) struct Painter<'a> {
    pub palette: &'a Palette,
    /// Where the next blocks begin in the plane.
    pub places: std::slice::Iter<'a, usize>,
    pub plane: &'a mut [u8],
    pub stride: usize,
}

impl Painter<'_> {
    /// Takes the next block, behind one with a DC coefficient `dc`, and puts it to its place; answers its own.
    ///
    /// # Errors
    /// [`Unusual`] where its code is damaged.
    #[inline]
    pub(super) fn paint(&mut self, codes: &BlockCodes, bits: &mut Bits<'_>, dc: i32) -> Result<i32, Unusual> {
        let Palette { idct, steps } = self.palette;
        let mut block = Block::EMPTY;
        let difference = codes.take(bits, |number, value| {
            let (place, step) = steps[number];
            block.0[usize::from(place) % COEFFICIENTS] = (value * i32::from(step)) as i16;
        })?;
        let (dc, (place, step)) = (dc.wrapping_add(difference), steps[0]);
        if dc.unsigned_abs() > MOST_DC {
            return Err(Unusual);
        }
        block.0[usize::from(place) % COEFFICIENTS] = (dc * i32::from(step) + MIDDLE_DC) as i16;
        let place = *self.places.next().ok_or(Unusual)?;
        idct.put(&mut block, self.plane.get_mut(place..).unwrap_or_default(), self.stride);
        Ok(dc)
    }
}

/// The places of the coefficients in a block, row by row, in zigzag order (annex A.3.6, figure A.6).
fn zigzag() -> impl Iterator<Item = usize> {
    (0..2 * SIDE - 1).flat_map(|diagonal| {
        let along = diagonal.saturating_sub(SIDE - 1)..=diagonal.min(SIDE - 1);
        along.map(move |step| {
            let (row, column) =
                if diagonal % 2 == 1 { (step, diagonal - step) } else { (diagonal - step, step) };
            row * SIDE + column
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The first of figure A.6 and the last.
    #[test]
    fn coefficients_go_to_and_fro_along_the_diagonals() {
        let places: Vec<usize> = zigzag().collect();
        assert_eq!(places[..16], [0, 1, 8, 16, 9, 2, 3, 10, 17, 24, 32, 25, 18, 11, 4, 5]);
        assert_eq!(places[56..], [53, 60, 61, 54, 47, 55, 62, 63]);
        assert_eq!(places.len(), COEFFICIENTS);
    }
}

//! A small grey picture made of picked blocks, one after the other.

use std::ops::Range;

use memchr::memchr;

use super::bits::word_at;
use super::blocks::{MOST_DC_BITS, size_of};
use super::huffman::STANDARD_DC;
use super::{SIDE, Unusual};

/// Most blocks side by side.
const ACROSS: usize = 64;
/// Most bits that are put out in one go: no more can be had at once from any place.
const MOST_BITS: u32 = 56;
/// The codes of [`STANDARD_DC`]'s first table and their lengths (ITU-T T.81, annex K.3.1, table K.3).
const DC_CODES: [(u64, u32); MOST_DC_BITS as usize + 1] = [
    (0b00, 2),
    (0b010, 3),
    (0b011, 3),
    (0b100, 3),
    (0b101, 3),
    (0b110, 3),
    (0b1110, 4),
    (0b1_1110, 5),
    (0b11_1110, 6),
    (0b111_1110, 7),
    (0b1111_1110, 8),
    (0b1_1111_1110, 9),
];

/// A baseline JPEG picture (ITU-T T.81) that grows by blocks.
#[derive(Default)]
pub(super) struct Strip {
    jpeg: Vec<u8>,
    /// The code of the blocks without stuffed bytes.
    code: Vec<u8>,
    /// How many blocks there are to be side by side and one below the other.
    columns: usize,
    rows: usize,
    /// How many there are.
    count: usize,
    /// DC coefficient of the last block, and where its AC coefficients came from.
    dc: i32,
    ac: Range<usize>,
    /// Bits that are not yet in `code`: the highest `held`; the others are zero.
    bits: u64,
    held: u32,
}

impl Strip {
    /// Begins a strip of `blocks` blocks with a quantisation table and a table of AC codes, both given as in
    /// their segments.
    pub(super) fn begin(
        &mut self,
        quantisation: &[u8],
        ac_table: &[u8],
        blocks: usize,
    ) -> Result<(), Unusual> {
        self.rows = blocks.div_ceil(ACROSS).max(1);
        self.columns = blocks.div_ceil(self.rows).max(1);
        (self.count, self.dc, self.ac, self.bits, self.held) = (0, 0, 0..0, 0, 0);
        let [width, height] = [self.columns, self.rows].map(|blocks| u16::try_from(blocks * SIDE));
        let ([x1, x0], [y1, y0]) =
            (width.map_err(|_| Unusual)?.to_be_bytes(), height.map_err(|_| Unusual)?.to_be_bytes());
        self.code.clear();
        self.jpeg.clear();
        self.jpeg.extend_from_slice(&[0xff, 0xd8]);
        self.segment(0xdb, &[&[0], quantisation]);
        self.segment(0xc0, &[&[8, y1, y0, x1, x0, 1, 1, 0x11, 0]]);
        self.segment(0xc4, &[&[0], STANDARD_DC[0], &[0x10], ac_table]);
        self.segment(0xda, &[&[1, 1, 0, 0, 63, 0]]);
        Ok(())
    }

    /// A segment with its marker and length (annex B.1.1.4).
    fn segment(&mut self, marker: u8, parts: &[&[u8]]) {
        let length = parts.iter().map(|part| part.len()).sum::<usize>() + 2;
        let [.., high, low] = length.to_be_bytes();
        self.jpeg.extend_from_slice(&[0xff, marker, high, low]);
        parts.iter().for_each(|part| self.jpeg.extend_from_slice(part));
    }

    /// Adds a block with a DC coefficient and the code of its AC coefficients, which stands in `bytes`.
    ///
    /// # Errors
    /// [`Unusual`] where the coefficient is too far from the one before.
    pub(super) fn add(&mut self, dc: i32, bytes: &[u8], ac: Range<usize>) -> Result<(), Unusual> {
        let difference = dc.wrapping_sub(self.dc);
        let size = size_of(difference);
        let (code, length) = *DC_CODES.get(size as usize).ok_or(Unusual)?;
        // A negative one is written as what is one less, without the bits above (annex F.1.2.1).
        let value = (i64::from(difference) - i64::from(difference < 0)) as u64;
        let bits = code << size | value & ((1 << size) - 1);
        self.put(bits << (u64::BITS - length - size), length + size);
        self.copy(bytes, ac.clone())?;
        (self.dc, self.ac) = (dc, ac);
        self.count += 1;
        Ok(())
    }

    /// Copies bits of `bytes`.
    fn copy(&mut self, bytes: &[u8], mut bits: Range<usize>) -> Result<(), Unusual> {
        while !bits.is_empty() {
            let word = word_at(bytes, bits.start / 8).ok_or(Unusual)? << (bits.start % 8);
            let count = bits.len().min(MOST_BITS as usize);
            self.put(word & u64::MAX << (64 - count), count as u32);
            bits.start += count;
        }
        Ok(())
    }

    /// Puts out the highest `count` of `bits`, of which the others are zero.
    fn put(&mut self, bits: u64, count: u32) {
        self.bits |= bits >> self.held;
        self.held += count;
        if let Some(left) = self.held.checked_sub(u64::BITS) {
            self.code.extend_from_slice(&self.bits.to_be_bytes());
            self.bits = bits << (count - left);
            self.held = left;
        }
    }

    /// Fills up the last row with the last block, whose code stands in `bytes`, and ends the picture.
    pub(super) fn finish(&mut self, bytes: &[u8]) -> Result<(), Unusual> {
        while self.count < self.columns * self.rows {
            self.add(self.dc, bytes, self.ac.clone())?;
        }
        // The last byte is filled with ones (annex F.1.2.3).
        let last = (self.bits | u64::MAX >> self.held).to_be_bytes();
        self.code.extend(last.iter().take(self.held.div_ceil(8) as usize));
        let mut rest = self.code.as_slice();
        // A zero behind tells that it is no marker (annex B.1.1.5).
        while let Some((before, behind)) = memchr(0xff, rest).and_then(|at| rest.split_at_checked(at + 1)) {
            self.jpeg.extend_from_slice(before);
            self.jpeg.push(0);
            rest = behind;
        }
        self.jpeg.extend_from_slice(rest);
        self.jpeg.extend_from_slice(&[0xff, 0xd9]);
        Ok(())
    }

    /// Width and height in pixels.
    pub(super) fn size(&self) -> (usize, usize) {
        (self.columns * SIDE, self.rows * SIDE)
    }

    /// The picture, when it is finished.
    pub(super) fn jpeg(&self) -> &[u8] {
        &self.jpeg
    }
}

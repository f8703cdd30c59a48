//! Luma of JPEG pictures, only where it is wanted.
//!
//! ```text
//! header -> huffman, blocks (tables) + layout (which blocks, where) -> scan (goes through the code, picks the blocks)
//!        -> strip (a small grey picture of the picked blocks) -> libjpeg (decodes it) -> the plane
//! ```
//!
//! Only the Huffman code is gone through here; the picked blocks' coefficients are handed on as they stand, and
//! libjpeg-turbo's code makes pixels of them, so these are the ones it would give for the whole picture. The inverse
//! DCT is its accurate integer one (`JDCT_ISLOW`), whose luma differs from that of libavcodec by a level here and there.
//! Colour is not worked out, and what comes below the last wanted area is not gone through unless it is little. So
//! damage that leaves valid codes is noticed only where the lowest area stands low: what is read then stands against
//! the recogniser's tests of shape alone.

mod bits;
mod blocks;
mod header;
mod huffman;
mod layout;
mod libjpeg;
mod scan;
mod strip;

#[cfg(test)]
mod tests;

use super::LumaPlane;
use blocks::BlockCodes;
use header::Header;
use layout::Layout;
pub(super) use layout::Wanted;
use libjpeg::GreyDecoder;
use scan::Scan;
use strip::Strip;

/// Samples along each side of a block.
const SIDE: usize = 8;
/// Coefficients of a block.
const COEFFICIENTS: usize = SIDE * SIDE;

/// A picture that is not plain enough for this decoder, or damaged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Unusual;

/// Decodes the wanted parts of pictures, one after the other.
pub(super) struct PartialDecoder {
    wanted: Wanted,
    layout: Layout,
    codes: [BlockCodes; header::MOST_COMPONENTS],
    scan: Scan,
    strip: Strip,
    decoder: GreyDecoder,
    /// The strip's pixels.
    picked: Vec<u8>,
    plane: Vec<u8>,
}

impl PartialDecoder {
    pub(super) fn new(wanted: Wanted) -> Self {
        let (columns, rows) = wanted.blocks();
        let plane = vec![0; columns * rows * COEFFICIENTS];
        Self {
            wanted,
            layout: Layout::default(),
            codes: Default::default(),
            scan: Scan::default(),
            strip: Strip::default(),
            decoder: GreyDecoder::new(),
            picked: Vec::new(),
            plane,
        }
    }

    /// Decodes the wanted parts of `jpeg` and gives the whole plane, of which only these are right.
    ///
    /// # Errors
    /// [`Unusual`] for whatever is not a sound baseline picture of 8 bits, of the expected size, in one scan, with luma
    /// at full resolution.
    pub(super) fn luma(&mut self, jpeg: &[u8]) -> Result<LumaPlane<'_>, Unusual> {
        let header = Header::read(jpeg).ok_or(Unusual)?;
        let (width, height) = self.wanted.size();
        if (header.width, header.height) != (width, height) {
            return Err(Unusual);
        }
        self.layout.fit(&self.wanted, &header);
        for component in &header.components {
            let (dc, ac) = header.tables_of(component);
            self.codes[component.codes].follow(dc, ac)?;
        }
        self.scan.read(header.scan)?;
        let [luma, ..] = header.components.as_slice() else { return Err(Unusual) };
        self.strip.begin(header.quantisation, header.tables_of(luma).1, self.layout.places.len())?;
        scan::pick(&self.scan, &self.layout, &self.codes, header.interval, &mut self.strip)?;
        self.strip.finish(&self.scan.bytes)?;
        self.decoder.decode(self.strip.jpeg(), self.strip.size(), &mut self.picked)?;
        self.put_in_place();
        Ok(LumaPlane { data: &self.plane, width, height, stride: self.wanted.blocks().0 * SIDE })
    }

    /// Puts each block of the strip to its place in the plane.
    fn put_in_place(&mut self) {
        let (from_stride, to_stride) = (self.strip.size().0, self.wanted.blocks().0 * SIDE);
        let rows = self.picked.chunks_exact(from_stride * SIDE);
        for (rows, places) in rows.zip(self.layout.places.chunks(from_stride / SIDE)) {
            for (block, place) in places.iter().enumerate() {
                let from = rows.get(block * SIDE..).unwrap_or_default();
                let to = self.plane.get_mut(*place..).unwrap_or_default();
                copy_block((from, from_stride), (to, to_stride));
            }
        }
    }
}

/// Copies the block at the beginning of some pixels to the beginning of others; each come with their stride.
fn copy_block((from, from_stride): (&[u8], usize), (to, to_stride): (&mut [u8], usize)) {
    for row in 0..SIDE {
        let from = from.get(row * from_stride..).and_then(|from| from.first_chunk::<SIDE>());
        let to = to.get_mut(row * to_stride..).and_then(|to| to.first_chunk_mut::<SIDE>());
        if let (Some(from), Some(to)) = (from, to) {
            *to = *from;
        }
    }
}

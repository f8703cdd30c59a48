//! Luma of JPEG pictures, only where it is wanted.
//!
//! ```text
//! header -> huffman, blocks (tables) + layout (which blocks, where) -> scan (goes through the code, picks the blocks)
//!        -> painter (their coefficients) -> idct (their pixels) -> the plane
//! ```
//!
//! The inverse DCT is libavcodec's, so that the pixels are the very ones that its decoder gives for the whole picture.
//! Colour is not worked out, and what comes below the last wanted area is not gone through unless it is little. So
//! damage that leaves valid codes is noticed only where the lowest area stands low: what is read then stands against
//! the recogniser's tests of shape alone.

mod bits;
mod blocks;
mod header;
mod huffman;
mod idct;
mod layout;
mod painter;
mod scan;

#[cfg(test)]
mod reference;
#[cfg(test)]
mod tests;

use super::LumaPlane;
use blocks::BlockCodes;
use header::Header;
use layout::Layout;
pub(super) use layout::Wanted;
use painter::{Painter, Palette};
use scan::Scan;

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
    palette: Palette,
    plane: Vec<u8>,
}

impl PartialDecoder {
    /// `None` where libavcodec has no inverse DCT.
    pub(super) fn new(wanted: Wanted) -> Option<Self> {
        let palette = Palette::new()?;
        let (columns, rows) = wanted.blocks();
        let plane = vec![0; columns * rows * COEFFICIENTS];
        Some(Self {
            wanted,
            layout: Layout::default(),
            codes: Default::default(),
            scan: Scan::default(),
            palette,
            plane,
        })
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
        self.palette.quantise(header.quantisation);
        let stride = self.wanted.blocks().0 * SIDE;
        let (palette, plane, places) = (&self.palette, self.plane.as_mut_slice(), self.layout.places.iter());
        let mut painter = Painter { palette, places, plane, stride };
        scan::pick(&self.scan, &self.layout, &self.codes, header.interval, &mut painter)?;
        Ok(LumaPlane { data: &self.plane, width, height, stride })
    }
}

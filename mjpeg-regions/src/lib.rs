//! Decodes the luma of chosen regions of baseline JPEG images, and skips the rest.
//!
//! In a video of separate JPEG images (Motion JPEG) one often needs a few small regions of each frame. This decoder
//! reads the codes of all other blocks with tables that skip several at once, and computes pixels only in blocks that
//! overlap a region. Chroma is never decoded.
//!
//! The inverse DCT is that of libavcodec, so the pixels have exactly the values of those from libavcodec's own decoder
//! of whole images.
//!
//! ```
//! use mjpeg_regions::{Decoder, Region};
//!
//! # fn decode_frames(frames: &[Vec<u8>]) -> Result<(), Box<dyn std::error::Error>> {
//! let speed = Region { left: 16, top: 8, right: 80, bottom: 24 };
//! let mut decoder = Decoder::new(640, 480, &[speed])?;
//! for jpeg in frames {
//!     let luma = decoder.decode(jpeg)?;
//!     let pixels = luma.rows().skip(speed.top).map(|row| &row[speed.left..speed.right]);
//!     println!("{} rows of pixels", pixels.take(speed.bottom - speed.top).count());
//! }
//! # Ok(())
//! # }
//! # decode_frames(&[]).unwrap();
//! ```
//!
//! # What is decoded
//!
//! Baseline images of one scan with 8 bits per sample: grey, or luma and two chroma components with luma at full
//! resolution. Restart markers are supported, and missing Huffman tables are those of the standard, as usual in Motion
//! JPEG. Everything else is refused with a [`DecodeError`], so that the caller can use a general decoder instead.
//!
//! # Damaged images
//!
//! Damage is reported if it makes a table or a code invalid, or the data too short or too long, if a DC coefficient of
//! luma is out of range anywhere, or an AC coefficient in a decoded block. The codes below the last region are read as
//! well: damage above can shift the decoded blocks, and this shows only at the end of the data. Damage that leaves all
//! codes valid, their number unchanged and the coefficients in range is not noticed.
//!
//! # How it works
//!
//! ```text
//! header -> huffman, blocks (tables), layout (which blocks, and where) -> scan (decodes or skips each block)
//!        -> writer (coefficients) -> idct (pixels) -> the plane
//! ```

mod bits;
mod blocks;
mod header;
mod huffman;
mod idct;
mod layout;
mod scan;
mod writer;

#[cfg(test)]
#[path = "../tests/encode/mod.rs"]
mod encode;
#[cfg(test)]
mod reference;
#[cfg(test)]
mod tests;

use blocks::BlockDecoder;
use header::Header;
use layout::{BlockSelection, Layout};
use scan::Scan;
use writer::{BlockTransform, BlockWriter};

/// Number of samples along each side of a block.
const BLOCK_SIDE: usize = 8;
/// Number of coefficients of a block.
const COEFFICIENTS: usize = BLOCK_SIDE * BLOCK_SIDE;

/// A rectangle in an image, in pixels: columns `left..right` of rows `top..bottom`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Region {
    /// Index of the first column.
    pub left: usize,
    /// Index of the first row.
    pub top: usize,
    /// Index of the column after the last.
    pub right: usize,
    /// Index of the row after the last.
    pub bottom: usize,
}

/// The luma of an image, borrowed from its decoder. In a plane from [`Decoder::decode`], only the pixels of blocks that
/// overlap the decoder's regions are valid.
#[derive(Debug, Clone, Copy)]
pub struct LumaPlane<'a> {
    /// Rows of `stride` bytes each, of which the first `width` belong to the image. The last row may end after `width`.
    pub data: &'a [u8],
    /// Width in pixels.
    pub width: usize,
    /// Height in pixels.
    pub height: usize,
    /// Bytes from the start of one row to the start of the next.
    pub stride: usize,
}

impl<'a> LumaPlane<'a> {
    /// The rows from top to bottom, `width` bytes each.
    pub fn rows(&self) -> impl Iterator<Item = &'a [u8]> + use<'a> {
        let width = self.width;
        self.data.chunks(self.stride.max(1)).take(self.height).filter_map(move |row| row.get(..width))
    }
}

/// Why a decoder cannot be created.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum SetupError {
    /// No region overlaps the image.
    #[error("no region overlaps an image of {width} x {height} pixels; give a region inside the image")]
    NoRegion {
        /// Width of the image in pixels.
        width: usize,
        /// Height of the image in pixels.
        height: usize,
    },
    /// The installed libavcodec was built without an inverse DCT.
    #[error("the installed libavcodec has no inverse DCT; install a build with its MJPEG decoder")]
    NoInverseDct,
}

/// Why an image cannot be decoded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum DecodeError {
    /// The header is damaged, or describes an image that this decoder does not support.
    #[error(
        "the header is damaged, or not that of a baseline JPEG image with 8 bits per sample, one scan and luma at full \
         resolution; decode the image with a general decoder"
    )]
    Unsupported,
    /// The size of the image is not the one for which the decoder was created.
    #[error("the image has {width} x {height} pixels, which is not the size that the decoder was made for")]
    OtherSize {
        /// Width of the image in pixels.
        width: usize,
        /// Height of the image in pixels.
        height: usize,
    },
    /// The image's Huffman tables or coded data are damaged or cut off, or contain markers that this decoder
    /// does not support.
    #[error("the coded data is damaged or cut off")]
    Damaged,
}

/// Error: a code does not follow the standard. The type has no content, so that results of the inner loops
/// fit into registers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct InvalidCode;

impl From<InvalidCode> for DecodeError {
    fn from(InvalidCode: InvalidCode) -> Self {
        Self::Damaged
    }
}

/// Width and height in pixels that the header of `jpeg` states; `None` if the header is damaged or describes an image that
/// this decoder does not support.
#[must_use]
pub fn image_size(jpeg: &[u8]) -> Option<(usize, usize)> {
    Header::read(jpeg).map(|header| (header.width, header.height))
}

/// Decodes the same regions of one image after another. All images have the same size.
#[derive(Clone)]
pub struct Decoder {
    selection: BlockSelection,
    layout: Layout,
    decoders: [BlockDecoder; header::MAX_COMPONENTS],
    scan: Scan,
    transform: BlockTransform,
    plane: Vec<u8>,
}

impl Decoder {
    /// A decoder for `regions` of images of `width` x `height` pixels. Parts of regions outside the image are
    /// ignored.
    ///
    /// # Errors
    ///
    /// [`SetupError::NoRegion`] if no region overlaps the image, [`SetupError::NoInverseDct`] if libavcodec
    /// has no inverse DCT.
    pub fn new(width: usize, height: usize, regions: &[Region]) -> Result<Self, SetupError> {
        let selection =
            BlockSelection::new(width, height, regions).ok_or(SetupError::NoRegion { width, height })?;
        let (columns, rows) = selection.blocks();
        Self::of_selection(selection, vec![0; columns * rows * COEFFICIENTS])
    }

    /// A decoder that only [checks](Self::check) images of `width` x `height` pixels.
    ///
    /// # Errors
    ///
    /// [`SetupError::NoInverseDct`] if libavcodec has no inverse DCT.
    pub fn for_checks(width: usize, height: usize) -> Result<Self, SetupError> {
        Self::of_selection(BlockSelection::none(width, height), Vec::new())
    }

    fn of_selection(selection: BlockSelection, plane: Vec<u8>) -> Result<Self, SetupError> {
        let transform = BlockTransform::new().ok_or(SetupError::NoInverseDct)?;
        Ok(Self {
            selection,
            layout: Layout::default(),
            decoders: Default::default(),
            scan: Scan::default(),
            transform,
            plane,
        })
    }

    /// Reads all codes of `jpeg`, a complete image with its markers.
    ///
    /// # Errors
    ///
    /// [`DecodeError`] if the image is damaged, not supported, or of another size.
    pub fn check(&mut self, jpeg: &[u8]) -> Result<(), DecodeError> {
        self.decode(jpeg).map(drop)
    }

    /// Decodes the regions of `jpeg`, a complete image with its markers. The plane has the size of the image;
    /// its pixels are valid in the regions, and in the rest of the blocks that overlap them.
    ///
    /// # Errors
    ///
    /// [`DecodeError`] if the image is damaged, not supported, or of another size. The decoder can be used
    /// again afterwards.
    pub fn decode(&mut self, jpeg: &[u8]) -> Result<LumaPlane<'_>, DecodeError> {
        let header = Header::read(jpeg).ok_or(DecodeError::Unsupported)?;
        let (width, height) = self.selection.size();
        if (header.width, header.height) != (width, height) {
            return Err(DecodeError::OtherSize { width: header.width, height: header.height });
        }
        self.layout.adapt(&self.selection, &header);
        for component in &header.components {
            let (dc, ac) = header.tables_of(component);
            self.decoders[component.decoder].set_tables(dc, ac)?;
        }
        self.scan.read(header.scan)?;
        if self.scan.has_zeros && !self.decoders[0].decodes_zeros_to_uniform_blocks() {
            return Err(DecodeError::Damaged);
        }
        self.transform.set_quantisation(header.quantisation);
        let stride = self.selection.blocks().0 * BLOCK_SIDE;
        let mut writer = BlockWriter {
            transform: &self.transform,
            offsets: self.layout.offsets.iter(),
            plane: &mut self.plane,
            stride,
        };
        scan::decode_selected(
            &self.scan,
            &self.layout,
            &self.decoders,
            header.restart_interval,
            &mut writer,
        )?;
        Ok(LumaPlane { data: &self.plane, width, height, stride })
    }
}

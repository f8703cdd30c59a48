//! Decodes regions of Motion JPEG frames without the rest of the frame.

use mjpeg_regions::{Decoder, LumaPlane, Region};

use crate::geometry::PixelRect;

/// Decodes the same areas in one Motion JPEG frame after the other.
pub(super) struct RegionDecoder(Decoder);

impl RegionDecoder {
    /// A decoder for frames with the given `size` (width, height) in pixels; `None` if no area overlaps the frame, or
    /// if libavcodec has no inverse DCT.
    pub(super) fn new(size: (u32, u32), areas: &[PixelRect]) -> Option<Self> {
        let region = |area: &PixelRect| {
            let (columns, rows) = (area.columns(), area.rows());
            Region { left: columns.start, top: rows.start, right: columns.end, bottom: rows.end }
        };
        let regions: Vec<Region> = areas.iter().map(region).collect();
        Decoder::new(size.0 as usize, size.1 as usize, &regions).ok().map(Self)
    }

    /// The luma plane of a frame, of which only the areas are valid. `None` if the frame is damaged, has
    /// another size, or needs the general decoder.
    pub(super) fn decode(&mut self, jpeg: &[u8]) -> Option<LumaPlane<'_>> {
        self.0.decode(jpeg).ok()
    }
}

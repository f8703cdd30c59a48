//! Converts luma planes to and from grey-level images.

use image::GrayImage;
use mjpeg_regions::LumaPlane;

use crate::geometry::PixelRect;

/// Conversions between a luma plane and a grey-level image.
pub trait LumaImage<'a> {
    /// Borrows an image as a luma plane.
    fn of(image: &'a GrayImage) -> Self;

    /// A copy of the plane as an image.
    fn to_image(&self) -> GrayImage;

    /// A copy of an area of the plane. Parts of the area outside the plane are left out.
    fn crop(&self, area: PixelRect) -> GrayImage;
}

impl<'a> LumaImage<'a> for LumaPlane<'a> {
    fn of(image: &'a GrayImage) -> Self {
        let (width, height) = (image.width() as usize, image.height() as usize);
        Self { data: image.as_raw(), width, height, stride: width }
    }

    fn to_image(&self) -> GrayImage {
        let side = |pixels: usize| u32::try_from(pixels).unwrap_or(u32::MAX);
        self.crop(PixelRect::new(0, 0, side(self.width), side(self.height)))
    }

    fn crop(&self, area: PixelRect) -> GrayImage {
        let (columns, rows) = (area.columns(), area.rows());
        let columns = columns.start..columns.end.min(self.width);
        let rows = rows.start..rows.end.min(self.height);
        let mut pixels = Vec::with_capacity(columns.len() * rows.len());
        let selected = self.rows().take(rows.end).skip(rows.start);
        selected.filter_map(|row| row.get(columns.clone())).for_each(|row| pixels.extend_from_slice(row));
        let size = u32::try_from(columns.len()).ok().zip(u32::try_from(rows.len()).ok());
        size.and_then(|(width, height)| GrayImage::from_raw(width, height, pixels)).unwrap_or_default()
    }
}

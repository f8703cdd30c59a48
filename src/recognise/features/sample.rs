//! A sample of the recording: the surroundings of every region, in frames spread over the recording.

use image::{GrayImage, imageops};
use ndarray::Array2;

use super::window::{MARGIN_PX, Window, working_factor};
use crate::footage::{LumaImage as _, LumaPlane};
use crate::geometry::PixelRect;
use crate::setup::Region;

/// The pixels of a region and its surroundings in one frame.
#[derive(Debug, Clone)]
pub struct Patch {
    /// Time of the frame since the first frame of the recording, in seconds.
    pub time_s: f64,
    image: GrayImage,
    /// The region's box, in pixels of `image`.
    rect: PixelRect,
}

impl Patch {
    /// Copies a box and its surroundings out of a frame, with the frame's time in seconds.
    #[must_use]
    pub fn of(frame: &GrayImage, rect: PixelRect, time_s: f64) -> Self {
        Self { time_s, ..Self::cut(LumaPlane::of(frame), rect) }
    }

    /// The rectangle of a frame that the patch of a box covers, in frame pixels.
    pub(crate) fn area(rect: PixelRect) -> PixelRect {
        rect.with_margin(((MARGIN_PX + 1) * working_factor(rect.height as f32)) as u32)
    }

    /// Copies a box and its surroundings out of a luma plane; the time of the patch is 0.
    fn cut(luma: LumaPlane<'_>, rect: PixelRect) -> Self {
        let around = Self::area(rect);
        let rect = PixelRect { left: rect.left - around.left, top: rect.top - around.top, ..rect };
        Self { time_s: 0.0, image: luma.crop(around), rect }
    }

    /// The copied pixels.
    pub(in crate::recognise) fn luma(&self) -> LumaPlane<'_> {
        LumaPlane::of(&self.image)
    }

    /// The region's window in the copied pixels, with `factor` frame pixels per working pixel in each
    /// direction.
    pub(in crate::recognise) fn window(&self, factor: usize) -> Window {
        Window::new(self.rect, factor)
    }

    /// Grey levels of the region's window, with `factor` frame pixels per working pixel in each direction.
    #[must_use]
    pub fn levels(&self, factor: usize) -> Array2<f32> {
        self.window(factor).cut(self.luma())
    }

    /// The pixels of the region's box.
    #[must_use]
    pub fn crop(&self) -> GrayImage {
        let PixelRect { left, top, width, height } = self.rect;
        imageops::crop_imm(&self.image, left, top, width, height).to_image()
    }
}

/// The patches of all regions in the sampled frames.
#[derive(Debug, Clone, Default)]
pub struct Sample {
    /// One list for each region, in the order of the setup; each list holds one patch for each sampled frame.
    pub regions: Vec<Vec<Patch>>,
}

impl Sample {
    /// An empty sample for a number of regions.
    #[must_use]
    pub fn new(regions: usize) -> Self {
        Self { regions: vec![Vec::new(); regions] }
    }

    /// Copies the surroundings of all regions out of a frame.
    #[must_use]
    pub fn cut(regions: &[Region], luma: LumaPlane<'_>) -> Vec<Patch> {
        regions.iter().map(|region| Patch::cut(luma, region.rect)).collect()
    }

    /// Adds the patches of one frame, as [`Self::cut`] returned them, with the frame's time in seconds.
    pub fn add(&mut self, patches: Vec<Patch>, time_s: f64) {
        for (all, patch) in self.regions.iter_mut().zip(patches) {
            all.push(Patch { time_s, ..patch });
        }
    }
}

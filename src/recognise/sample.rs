//! A sample of the clip: the surroundings of every region in frames spread over it.

use image::{GrayImage, imageops};
use ndarray::Array2;

use super::alphabet::working_factor;
use super::feature::{MARGIN_PX, Window};
use crate::footage::LumaPlane;
use crate::setup::{PixelBox, Region};

/// The surroundings of one region in one frame.
#[derive(Debug, Clone)]
pub struct Patch {
    /// Time of the frame in seconds.
    pub time_s: f64,
    picture: GrayImage,
    /// The region's box within the picture.
    place: PixelBox,
}

impl Patch {
    /// Copies the surroundings of a box out of a frame.
    #[must_use]
    pub fn of(frame: &GrayImage, place: PixelBox, time_s: f64) -> Self {
        let margin = (MARGIN_PX as u32 + 1) * working_factor(place.height as f32) as u32;
        let (left, top) = (place.x.saturating_sub(margin), place.y.saturating_sub(margin));
        let width = (place.x + place.width + margin).min(frame.width()).saturating_sub(left);
        let height = (place.y + place.height + margin).min(frame.height()).saturating_sub(top);
        let picture = imageops::crop_imm(frame, left, top, width, height).to_image();
        Self { time_s, picture, place: PixelBox { x: place.x - left, y: place.y - top, ..place } }
    }

    /// The copied picture.
    pub(super) fn luma(&self) -> LumaPlane<'_> {
        let (width, height) = (self.picture.width() as usize, self.picture.height() as usize);
        LumaPlane { data: self.picture.as_raw(), width, height, stride: width }
    }

    /// The region's window in the copied picture, at a working resolution.
    pub(super) fn window(&self, factor: usize) -> Window {
        Window::new(self.place, factor)
    }

    /// Grey levels of the region's window at a working resolution.
    #[must_use]
    pub fn levels(&self, factor: usize) -> Array2<f32> {
        self.window(factor).cut(self.luma())
    }

    /// The region alone, as a picture.
    #[must_use]
    pub fn crop(&self) -> GrayImage {
        let PixelBox { x, y, width, height } = self.place;
        imageops::crop_imm(&self.picture, x, y, width, height).to_image()
    }
}

/// The sample of all regions.
#[derive(Debug, Clone, Default)]
pub struct Sample {
    /// One list a region, in the setup's order; each holds one patch a sampled frame.
    pub regions: Vec<Vec<Patch>>,
}

impl Sample {
    /// An empty sample for so many regions.
    #[must_use]
    pub fn new(regions: usize) -> Self {
        Self { regions: vec![Vec::new(); regions] }
    }

    /// Adds a frame.
    pub fn add(&mut self, regions: &[Region], frame: &GrayImage, time_s: f64) {
        for (patches, region) in self.regions.iter_mut().zip(regions) {
            patches.push(Patch::of(frame, region.place, time_s));
        }
    }
}

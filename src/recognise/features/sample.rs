//! A sample of the recording: the surroundings of every region in frames spread over it.

use image::{GrayImage, imageops};
use ndarray::Array2;

use super::window::{MARGIN_PX, Window, working_factor};
use crate::footage::LumaPlane;
use crate::geometry::PixelRect;
use crate::setup::Region;

/// The surroundings of one region in one frame.
#[derive(Debug, Clone)]
pub struct Patch {
    /// Time of the frame in seconds.
    pub time_s: f64,
    image: GrayImage,
    /// The region's box within the image.
    place: PixelRect,
}

impl Patch {
    /// Copies the surroundings of a box out of a frame.
    #[must_use]
    pub fn of(frame: &GrayImage, place: PixelRect, time_s: f64) -> Self {
        Self { time_s, ..Self::cut(LumaPlane::of(frame), place) }
    }

    /// The part of a frame that holds the surroundings of a box.
    pub(crate) fn area(place: PixelRect) -> PixelRect {
        place.with_margin(((MARGIN_PX + 1) * working_factor(place.height as f32)) as u32)
    }

    /// Copies the surroundings of a box out of a luma plane, with time 0.
    fn cut(luma: LumaPlane<'_>, place: PixelRect) -> Self {
        let around = Self::area(place);
        let place = PixelRect { left: place.left - around.left, top: place.top - around.top, ..place };
        Self { time_s: 0.0, image: luma.crop(around), place }
    }

    /// The copied pixels.
    pub(in crate::recognise) fn luma(&self) -> LumaPlane<'_> {
        LumaPlane::of(&self.image)
    }

    /// The region's window in the copied pixels, at a working resolution.
    pub(in crate::recognise) fn window(&self, factor: usize) -> Window {
        Window::new(self.place, factor)
    }

    /// Grey levels of the region's window at a working resolution.
    #[must_use]
    pub fn levels(&self, factor: usize) -> Array2<f32> {
        self.window(factor).cut(self.luma())
    }

    /// The pixels of the region's box.
    #[must_use]
    pub fn crop(&self) -> GrayImage {
        let PixelRect { left, top, width, height } = self.place;
        imageops::crop_imm(&self.image, left, top, width, height).to_image()
    }
}

/// The sample of all regions.
#[derive(Debug, Clone, Default)]
pub struct Sample {
    /// One list per region, in the setup's order; each holds one patch per sampled frame.
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
        regions.iter().map(|region| Patch::cut(luma, region.place)).collect()
    }

    /// Adds the patches of a frame that [`Self::cut`] returned.
    pub fn add(&mut self, patches: Vec<Patch>, time_s: f64) {
        for (all, patch) in self.regions.iter_mut().zip(patches) {
            all.push(Patch { time_s, ..patch });
        }
    }
}

//! A sample of the clip: the surroundings of every region in frames spread over it.

use image::{GrayImage, imageops};
use ndarray::Array2;

use super::alphabet::working_factor;
use super::feature::{MARGIN_PX, Window};
use crate::footage::LumaPlane;
use crate::geometry::PixelRect;
use crate::setup::Region;

/// The surroundings of one region in one frame.
#[derive(Debug, Clone)]
pub struct Patch {
    /// Time of the frame in seconds.
    pub time_s: f64,
    picture: GrayImage,
    /// The region's box within the picture.
    place: PixelRect,
}

impl Patch {
    /// Copies the surroundings of a box out of a frame.
    #[must_use]
    pub fn of(frame: &GrayImage, place: PixelRect, time_s: f64) -> Self {
        Self { time_s, ..Self::cut(LumaPlane::of(frame), place) }
    }

    /// The part of a frame that the surroundings of a box are copied from.
    pub(crate) fn area(place: PixelRect) -> PixelRect {
        place.with_margin(((MARGIN_PX + 1) * working_factor(place.height as f32)) as u32)
    }

    /// The same of a frame where it lies, at the time 0.
    fn cut(luma: LumaPlane<'_>, place: PixelRect) -> Self {
        let around = Self::area(place);
        let place = PixelRect { left: place.left - around.left, top: place.top - around.top, ..place };
        Self { time_s: 0.0, picture: luma.crop(around), place }
    }

    /// The copied picture.
    pub(super) fn luma(&self) -> LumaPlane<'_> {
        LumaPlane::of(&self.picture)
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
        let PixelRect { left, top, width, height } = self.place;
        imageops::crop_imm(&self.picture, left, top, width, height).to_image()
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

    /// The surroundings of all regions in a frame.
    #[must_use]
    pub fn cut(regions: &[Region], luma: LumaPlane<'_>) -> Vec<Patch> {
        regions.iter().map(|region| Patch::cut(luma, region.place)).collect()
    }

    /// Adds a frame of which all regions were [cut](Self::cut).
    pub fn add(&mut self, patches: Vec<Patch>, time_s: f64) {
        for (all, patch) in self.regions.iter_mut().zip(patches) {
            all.push(Patch { time_s, ..patch });
        }
    }
}

//! Cache of unchanged regions: a region whose pixels equal those of the previous frame is not decoded again.

use super::features::window::Window;
use super::observation::Observation;
use crate::footage::LumaPlane;

/// Pixels and observations of the previous frame.
#[derive(Debug, Default)]
pub struct RegionCache {
    /// For each region, the pixels of its window and its observation in the previous frame; `None` before its
    /// first frame.
    regions: Vec<Option<(Vec<u8>, Observation)>>,
}

impl RegionCache {
    /// The observation of a region at `window`: the observation from the previous frame if the region's pixels are
    /// the same, otherwise the result of calling `observe`.
    pub(super) fn get_or_observe(
        &mut self,
        region: usize,
        (window, luma): (&Window, LumaPlane<'_>),
        observe: impl FnOnce() -> Observation,
    ) -> Observation {
        if self.regions.len() <= region {
            self.regions.resize(region + 1, None);
        }
        let cached = &mut self.regions[region];
        match cached {
            Some((pixels, observation)) if is_same(pixels, window, luma) => observation.clone(),
            _ => {
                let mut pixels = cached.take().map_or_else(Vec::new, |(pixels, _)| pixels);
                pixels.clear();
                window.lines(luma).for_each(|line| pixels.extend_from_slice(line));
                cached.insert((pixels, observe())).1.clone()
            }
        }
    }
}

fn is_same(pixels: &[u8], window: &Window, luma: LumaPlane<'_>) -> bool {
    let mut rest = pixels;
    let same = window.lines(luma).all(|line| {
        let (cached, remaining) = rest.split_at(line.len().min(rest.len()));
        rest = remaining;
        cached == line
    });
    same && rest.is_empty()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::PixelRect;
    use crate::recognise::TextLegibility;

    #[test]
    fn only_a_region_whose_pixels_changed_is_observed_again() {
        let window = Window::new(PixelRect { left: 8, top: 8, width: 16, height: 8 }, 1);
        let mut pixels = vec![90_u8; 40 * 30];
        let mut cache = RegionCache::default();
        let mut observed = |pixels: &[u8], region: usize| {
            let luma = LumaPlane { data: pixels, width: 40, height: 30, stride: 40 };
            let mut observed = false;
            cache.get_or_observe(region, (&window, luma), || {
                observed = true;
                Observation { legibility: TextLegibility::Illegible, ..Observation::nothing() }
            });
            observed
        };
        assert!(observed(&pixels, 1));
        assert!(!observed(&pixels, 1));
        assert!(observed(&pixels, 0), "another region");
        for outside in [39, 12 * 40 + 1, 12 * 40 + 30, 22 * 40 + 12] {
            pixels[outside] = 10; // Outside the window and its margin.
            assert!(!observed(&pixels, 1), "{outside}");
        }
        for inside in [12 * 40 + 2, 12 * 40 + 29, 21 * 40 + 12] {
            pixels[inside] = 10; // In the margin.
            assert!(observed(&pixels, 1), "{inside}");
        }
        assert!(!observed(&pixels, 1));
        assert!(observed(&pixels, 0));
    }
}

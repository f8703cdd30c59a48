//! The frame before: a region that shows the same pixels again need not be read again.

use super::feature::Window;
use super::look::Look;
use crate::footage::LumaPlane;

/// What the last frame of a stretch showed.
#[derive(Debug, Default)]
pub struct Former {
    /// By region: the pixels of its window, and how they look.
    regions: Vec<Option<(Vec<u8>, Look)>>,
}

impl Former {
    /// The look of a region at `window`: as before if its pixels are, else what `look` says.
    pub(super) fn look(
        &mut self,
        region: usize,
        (window, luma): (&Window, LumaPlane<'_>),
        look: impl FnOnce() -> Look,
    ) -> Look {
        if self.regions.len() <= region {
            self.regions.resize(region + 1, None);
        }
        let former = &mut self.regions[region];
        match former {
            Some((pixels, former)) if is_same(pixels, window, luma) => former.clone(),
            _ => {
                let mut pixels = former.take().map_or_else(Vec::new, |(pixels, _)| pixels);
                pixels.clear();
                window.lines(luma).for_each(|line| pixels.extend_from_slice(line));
                former.insert((pixels, look())).1.clone()
            }
        }
    }
}

fn is_same(pixels: &[u8], window: &Window, luma: LumaPlane<'_>) -> bool {
    let mut rest = pixels;
    let same = window.lines(luma).all(|line| {
        let (former, behind) = rest.split_at(line.len().min(rest.len()));
        rest = behind;
        former == line
    });
    same && rest.is_empty()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recognise::Sight;
    use crate::setup::PixelBox;

    #[test]
    fn only_a_region_whose_pixels_changed_is_looked_at() {
        let window = Window::new(PixelBox { x: 8, y: 8, width: 16, height: 8 }, 1);
        let mut pixels = vec![90_u8; 40 * 30];
        let mut former = Former::default();
        let mut looked = |pixels: &[u8], region: usize| {
            let luma = LumaPlane { data: pixels, width: 40, height: 30, stride: 40 };
            let mut looked = false;
            former.look(region, (&window, luma), || {
                looked = true;
                Look { sight: Sight::Strange, ..Look::nothing() }
            });
            looked
        };
        assert!(looked(&pixels, 1));
        assert!(!looked(&pixels, 1));
        assert!(looked(&pixels, 0), "another region");
        for outside in [39, 12 * 40 + 1, 12 * 40 + 30, 22 * 40 + 12] {
            pixels[outside] = 10; // Outside the window and its margin.
            assert!(!looked(&pixels, 1), "{outside}");
        }
        for inside in [12 * 40 + 2, 12 * 40 + 29, 21 * 40 + 12] {
            pixels[inside] = 10; // In the margin.
            assert!(looked(&pixels, 1), "{inside}");
        }
        assert!(!looked(&pixels, 1));
        assert!(looked(&pixels, 0));
    }
}

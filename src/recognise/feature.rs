//! Features: the part of a frame under a region, freed of slow brightness changes.
//!
//! A region is cut from the luma plane with a margin, averaged down when its glyphs are large, and
//! high-passed: a narrow Gaussian blur minus a wide one, then limited. What remains are strokes
//! and edges; sky, haze and gain flutter are gone.

use std::ops::Range;

use ndarray::Array2;
use pulp::Arch;

use super::blur::{difference, gaussian};
use super::scratch;
use crate::footage::LumaPlane;
use crate::geometry::PixelRect;

/// Standard deviation of the narrow blur, in working pixels: takes off single-pixel noise.
const NARROW_BLUR_PX: f32 = 0.7;

/// Features are limited to this many grey levels either way, so that one bright edge behind the
/// text does not outweigh the strokes.
const LIMIT_LEVELS: f32 = 90.0;

/// Rows (or cols) of context around a box, in working pixels.
pub const MARGIN_PX: usize = 6;

/// Which part of the frame a region's features cover, and at which working resolution.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// The region's box in frame pixels.
    pub place: PixelRect,
    /// Frame pixels averaged into one working pixel, each way.
    pub factor: usize,
    /// Working columns, margins included.
    pub cols: usize,
    /// Working rows, margins included.
    pub rows: usize,
}

impl Window {
    /// The window of a box at a working resolution of one pixel for `factor` frame pixels.
    #[must_use]
    pub fn new(place: PixelRect, factor: usize) -> Self {
        let factor = factor.max(1);
        Self {
            place,
            factor,
            cols: (place.width as usize).div_ceil(factor) + 2 * MARGIN_PX,
            rows: (place.height as usize).div_ceil(factor) + 2 * MARGIN_PX,
        }
    }

    /// Cuts the window out of a frame; pixels outside the frame repeat its edge.
    ///
    /// Gives grey levels, rows x cols.
    #[must_use]
    pub fn cut(&self, luma: LumaPlane<'_>) -> Array2<f32> {
        self.cut_rows(luma, 0..self.rows)
    }

    /// Cuts some of the window's rows out of a frame.
    ///
    /// Gives grey levels, as many rows as asked for x cols.
    #[must_use]
    pub fn cut_rows(&self, luma: LumaPlane<'_>, rows: Range<usize>) -> Array2<f32> {
        let top = self.place.top as isize - (MARGIN_PX * self.factor) as isize;
        let mut cut = scratch::zeros((rows.len(), self.cols));
        for (row, mut target) in rows.zip(cut.rows_mut()) {
            let Some(target) = target.as_slice_mut() else { continue };
            for dy in 0..self.factor {
                self.add_line(luma, top + (row * self.factor + dy) as isize, target);
            }
        }
        if self.factor > 1 {
            cut *= 1.0 / (self.factor * self.factor) as f32;
        }
        cut
    }

    /// The part of the frame that it covers, as far as the frame's edges at the left and at the top.
    #[must_use]
    pub(crate) fn area(&self) -> PixelRect {
        let margin = (MARGIN_PX * self.factor) as u32;
        let PixelRect { left, top, .. } = self.place;
        PixelRect::from_edges(
            left.saturating_sub(margin),
            top.saturating_sub(margin),
            left + (self.factor * self.cols) as u32 - margin,
            top + (self.factor * self.rows) as u32 - margin,
        )
    }

    /// The lines of the frame that it covers, as far as they lie inside.
    pub(super) fn lines<'a>(&self, luma: LumaPlane<'a>) -> impl Iterator<Item = &'a [u8]> {
        let area = self.area();
        let columns = area.columns().start..area.columns().end.min(luma.width);
        let rows = area.rows().start..area.rows().end.min(luma.height);
        rows.filter_map(move |row| luma.data.get(row * luma.stride..)?.get(columns.clone()))
    }

    /// Adds one line of the frame to a working row.
    fn add_line(&self, luma: LumaPlane<'_>, y: isize, target: &mut [f32]) {
        let left = self.place.left as isize - (MARGIN_PX * self.factor) as isize;
        let y = y.clamp(0, luma.height.max(1) as isize - 1) as usize;
        let line = luma.data.get(y * luma.stride..).unwrap_or(&[]);
        let line = &line[..line.len().min(luma.width)];
        let inside =
            usize::try_from(left).ok().and_then(|left| line.get(left..left + self.cols * self.factor));
        match inside {
            Some(levels) if self.factor == 1 => Arch::new().dispatch(|| {
                target.iter_mut().zip(levels).for_each(|(target, level)| *target += f32::from(*level));
            }),
            Some(levels) => {
                for (target, levels) in target.iter_mut().zip(levels.chunks_exact(self.factor)) {
                    *target += levels.iter().map(|level| u32::from(*level)).sum::<u32>() as f32;
                }
            }
            None => {
                let last = line.len().max(1) as isize - 1;
                for (col, target) in target.iter_mut().enumerate() {
                    for dx in 0..self.factor {
                        let x = (left + (col * self.factor + dx) as isize).clamp(0, last) as usize;
                        *target += line.get(x).copied().map_or(0.0, f32::from);
                    }
                }
            }
        }
    }
}

/// The high-pass that turns grey levels into features.
#[derive(Debug, Clone)]
pub struct HighPass {
    narrow: Vec<f32>,
    wide: Vec<f32>,
}

impl HighPass {
    /// A high-pass for glyphs whose cells are `cell_width` working pixels wide: the wide blur has a
    /// standard deviation of a fifth of the cell width.
    #[must_use]
    pub fn for_cell_width(cell_width: f32) -> Self {
        Self { narrow: gaussian(NARROW_BLUR_PX), wide: gaussian((cell_width / 5.0).max(1.6)) }
    }

    /// Rows above and below a row that its features depend on.
    #[must_use]
    pub fn reach(&self) -> usize {
        self.narrow.len().max(self.wide.len()) - 1
    }

    /// Features of a picture: same shape, grey levels, limited to +-90.
    #[must_use]
    pub fn apply(&self, levels: &Array2<f32>) -> Array2<f32> {
        self.apply_to_rows(levels, 0..levels.nrows())
    }

    /// Features of some rows of a picture: as many rows x the picture's columns.
    #[must_use]
    pub fn apply_to_rows(&self, levels: &Array2<f32>, rows: Range<usize>) -> Array2<f32> {
        difference(levels, (&self.narrow, &self.wide), rows, LIMIT_LEVELS)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slow_change_of_brightness_leaves_no_features() {
        let ramp = Array2::from_shape_fn((20, 30), |(y, x)| 40.0 + 2.0 * x as f32 + y as f32);
        let features = HighPass::for_cell_width(12.0).apply(&ramp);
        let inner = features.slice(ndarray::s![8..12, 8..22]);
        assert!(inner.iter().all(|level| level.abs() < 0.01), "{inner}");
    }

    #[test]
    fn a_window_at_the_frame_border_repeats_the_edge() {
        let data: Vec<u8> = (0..64).collect();
        let luma = LumaPlane { data: &data, width: 8, height: 8, stride: 8 };
        let window = Window::new(PixelRect { left: 0, top: 0, width: 8, height: 8 }, 1);
        let cut = window.cut(luma);
        assert_eq!(cut[[0, 0]], 0.0);
        assert_eq!(cut[[MARGIN_PX, MARGIN_PX + 3]], 3.0);
        assert_eq!(cut[[window.rows - 1, window.cols - 1]], 63.0);
    }

    #[test]
    fn large_glyphs_are_averaged_down() {
        let data: Vec<u8> = (0..16 * 16).map(|i| if i % 2 == 0 { 0 } else { 200 }).collect();
        let luma = LumaPlane { data: &data, width: 16, height: 16, stride: 16 };
        let cut = Window::new(PixelRect { left: 4, top: 4, width: 8, height: 8 }, 2).cut(luma);
        assert_eq!(cut.dim(), (4 + 2 * MARGIN_PX, 4 + 2 * MARGIN_PX));
        assert_eq!(cut[[MARGIN_PX, MARGIN_PX]], 100.0);
    }
}

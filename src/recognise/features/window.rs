//! Windows: the part of a frame that contains a region and a margin, averaged down if its glyphs are large.

use std::ops::Range;

use ndarray::Array2;
use pulp::Arch;

use super::scratch;
use crate::footage::LumaPlane;
use crate::geometry::PixelRect;

/// Glyphs up to this height, in frame pixels, are not averaged down. Larger ones are averaged down to between
/// half of this height and the full height, in working pixels. Set by judgement.
const WORKING_HEIGHT_PX: usize = 40;

/// Margin around a box on every side, in working pixels. Set by judgement.
pub const MARGIN_PX: usize = 6;

/// Number of frame pixels averaged into one working pixel in each direction, for glyphs whose height is given
/// in frame pixels.
#[must_use]
pub fn working_factor(glyph_height_px: f32) -> usize {
    (glyph_height_px / WORKING_HEIGHT_PX as f32).ceil().max(1.0) as usize
}

/// The part of the frame that a region's features cover, and their resolution.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// The region's box in frame pixels.
    pub rect: PixelRect,
    /// Number of frame pixels averaged into one working pixel in each direction.
    pub factor: usize,
    /// Width in working pixels, including the margins.
    pub cols: usize,
    /// Height in working pixels, including the margins.
    pub rows: usize,
}

impl Window {
    /// The window of a box, with `factor` frame pixels per working pixel in each direction.
    #[must_use]
    pub fn new(rect: PixelRect, factor: usize) -> Self {
        let factor = factor.max(1);
        Self {
            rect,
            factor,
            cols: (rect.width as usize).div_ceil(factor) + 2 * MARGIN_PX,
            rows: (rect.height as usize).div_ceil(factor) + 2 * MARGIN_PX,
        }
    }

    /// The window's grey levels in a frame, as rows x columns. Outside the frame the edge pixels are
    /// repeated.
    #[must_use]
    pub fn cut(&self, luma: LumaPlane<'_>) -> Array2<f32> {
        self.cut_rows(luma, 0..self.rows)
    }

    /// Grey levels of some of the window's rows in a frame.
    #[must_use]
    pub fn cut_rows(&self, luma: LumaPlane<'_>, rows: Range<usize>) -> Array2<f32> {
        let top = self.rect.top as isize - (MARGIN_PX * self.factor) as isize;
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

    /// The part of the frame that the window covers, clipped at the left and top edge of the frame.
    #[must_use]
    pub(crate) fn area(&self) -> PixelRect {
        let margin = (MARGIN_PX * self.factor) as u32;
        let PixelRect { left, top, .. } = self.rect;
        PixelRect::from_edges(
            left.saturating_sub(margin),
            top.saturating_sub(margin),
            left + (self.factor * self.cols) as u32 - margin,
            top + (self.factor * self.rows) as u32 - margin,
        )
    }

    /// The pixel rows of the frame that the window covers, cut to its columns; rows outside the frame are left out.
    pub(in crate::recognise) fn lines<'a>(&self, luma: LumaPlane<'a>) -> impl Iterator<Item = &'a [u8]> {
        let area = self.area();
        let columns = area.columns().start..area.columns().end.min(luma.width);
        let rows = area.rows().start..area.rows().end.min(luma.height);
        rows.filter_map(move |row| luma.data.get(row * luma.stride..)?.get(columns.clone()))
    }

    /// Adds the grey levels of row `y` of the frame to `target`, a row of the window. Each entry of `target`
    /// gets the sum over `factor` neighbouring columns of the frame.
    fn add_line(&self, luma: LumaPlane<'_>, y: isize, target: &mut [f32]) {
        let left = self.rect.left as isize - (MARGIN_PX * self.factor) as isize;
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

#[cfg(test)]
mod tests {
    use super::*;

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

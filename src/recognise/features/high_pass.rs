//! The high-pass filter: a narrow Gaussian blur minus a wide one, limited to a maximum magnitude. Strokes and
//! edges remain; sky, haze and slow changes of brightness are removed.

use std::ops::Range;

use ndarray::Array2;

use super::blur::{difference, gaussian};

/// Standard deviation of the narrow blur, in working pixels; it removes the noise of single pixels. Set by
/// judgement.
const NARROW_BLUR_PX: f32 = 0.7;

/// Maximum magnitude of a feature, in grey levels: a bright edge behind a text must not outweigh its strokes. Set by
/// judgement.
const LIMIT_LEVELS: f32 = 90.0;

/// The high-pass filter that turns grey levels into features.
#[derive(Debug, Clone)]
pub struct HighPass {
    narrow: Vec<f32>,
    wide: Vec<f32>,
}

impl HighPass {
    /// The high-pass filter for cells of a width in working pixels. The standard deviation of the wide blur
    /// is a fifth of that width, but at least 1.6 working pixels.
    #[must_use]
    pub fn for_cell_width(cell_width: f32) -> Self {
        Self { narrow: gaussian(NARROW_BLUR_PX), wide: gaussian((cell_width / 5.0).max(1.6)) }
    }

    /// Radius of the filter in working pixels: number of rows above and below a row that affect its features.
    #[must_use]
    pub fn radius(&self) -> usize {
        self.narrow.len().max(self.wide.len()) - 1
    }

    /// Features of grey levels: an array of the same shape, limited to +-90 grey levels.
    #[must_use]
    pub fn apply(&self, levels: &Array2<f32>) -> Array2<f32> {
        self.apply_to_rows(levels, 0..levels.nrows())
    }

    /// Features of the rows `rows` of an image of grey levels, limited to +-90 grey levels. Rows outside this
    /// range affect the result only where they are within the filter's radius.
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
}

//! Distance of a cell from the mean of a digit class, regardless of small shifts and of contrast.

use ndarray::Array2;

use crate::learn::cut::similarity::{overlap, shifts_within};

/// Maximum shift that is tried between a cell and the mean of its class, in working pixels, in each direction (set by
/// judgement).
const MAX_SHIFT_PX: isize = 1;

/// Maximum contrast that is tried for a cell relative to the mean of its class; the minimum is the reciprocal (set by
/// judgement).
const MAX_CONTRAST: f32 = 1.6;

/// Mean square difference between a cell and a class mean, in squared grey levels, at the shift and contrast with the
/// smallest difference.
pub(crate) fn mean_square_difference(cell: &Array2<f32>, mean: &Array2<f32>) -> f32 {
    let shifts = shifts_within(MAX_SHIFT_PX);
    shifts.map(|shift| difference_at_shift(cell, mean, shift)).fold(f32::INFINITY, f32::min)
}

/// Mean square difference between a cell and a mean that is shifted by `shift` (down, right) in working pixels:
/// `min_c |cell - c mean|^2 / n`, with a contrast `c` from `1 / MAX_CONTRAST` to [`MAX_CONTRAST`].
fn difference_at_shift(cell: &Array2<f32>, mean: &Array2<f32>, shift: (isize, isize)) -> f32 {
    let (cell, mean) = overlap(cell, mean, shift);
    let (mut own, mut both, mut other) = (0.0, 0.0, 0.0);
    for (cell, mean) in cell.rows().into_iter().zip(mean.rows()) {
        for (level, mean) in cell.iter().zip(mean) {
            own += level * level;
            both += level * mean;
            other += mean * mean;
        }
    }
    let contrast = if other > 0.0 { both / other } else { 1.0 };
    let contrast = contrast.clamp(1.0 / MAX_CONTRAST, MAX_CONTRAST);
    (own - 2.0 * contrast * both + contrast * contrast * other) / cell.len().max(1) as f32
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    /// Features of an invented digit, with strokes that differ between classes.
    pub(crate) fn digit_cell(class: usize) -> Array2<f32> {
        Array2::from_shape_fn((16, 12), |(row, col)| {
            let inside = (3..13).contains(&row) && (2..10).contains(&col);
            let stroke = ((row / 2) * 7 + (col / 2) * 3 + class * (row / 2)).is_multiple_of(5);
            if inside && stroke { 60.0 } else { -10.0 }
        })
    }

    #[test]
    fn differences_allow_for_one_pixel_and_for_contrast() {
        let mut shifted = digit_cell(2);
        shifted.slice_mut(ndarray::s![1.., ..]).assign(&digit_cell(2).slice(ndarray::s![..15, ..]));
        assert!(mean_square_difference(&shifted, &digit_cell(2)) < 1.0);
        assert!(mean_square_difference(&(digit_cell(2) * 1.3), &digit_cell(2)) < 1.0);
        assert!(mean_square_difference(&digit_cell(1), &digit_cell(2)) > 100.0);
    }
}

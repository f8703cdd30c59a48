//! The input image of the line reader: a box of a frame, resampled to a fixed number of rows.

use image::GrayImage;
use ndarray::Array2;

use crate::neural::resampling;

/// Rows of the image, as in `scripts/line_reader/lines.py`, which renders the training images (set by judgement).
pub(super) const ROWS: usize = 24;
/// Horizontal stretch, so that narrow digits have enough columns: columns of the image per column of a box that is
/// scaled to [`ROWS`] rows; as in `scripts/line_reader/lines.py` (set by judgement).
const ASPECT: f32 = 1.5;
/// Minimum and maximum number of columns of the image (set by judgement).
const COLUMNS: (f32, f32) = (16.0, 400.0);
/// Minimum of the standard deviation by which the grey levels of a crop are divided, in grey levels: the limit keeps
/// the noise of a blank crop small (set by judgement).
const MIN_DEVIATION_LEVELS: f32 = 4.0;

/// A crop with zero mean and unit standard deviation, [`ROWS`] x columns; `None` for an empty crop.
pub(super) fn line_image(crop: &GrayImage) -> Option<Array2<f32>> {
    let (width, height) = (crop.width() as usize, crop.height() as usize);
    let levels = crop.as_raw().iter().map(|level| f32::from(*level)).collect();
    let levels = Array2::from_shape_vec((height, width), levels).ok().filter(|levels| !levels.is_empty())?;
    let columns = (width as f32 * ROWS as f32 / height as f32 * ASPECT).round().clamp(COLUMNS.0, COLUMNS.1);
    let image = resampling(height, ROWS).dot(&levels).dot(&resampling(width, columns as usize).t());
    let image = &image - image.mean()?;
    let deviation = image.std(0.0).max(MIN_DEVIATION_LEVELS);
    Some(image / deviation)
}

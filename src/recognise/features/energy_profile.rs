//! Energy profiles: finds the rows and columns of a window that contain strokes, from the mean energy of the
//! features over many frames.

use ndarray::{Array2, ArrayView2};

use super::high_pass::HighPass;
use super::sample::Patch;
use super::window::{MARGIN_PX, working_factor};

/// Width of a cell divided by its height, for the high-pass filter (a usual proportion of digits, no source).
const USUAL_CELL_ASPECT: f32 = 0.6;

/// Usual height of a text inside a shaded panel that fills its box, in box heights, for the high-pass filter (set by
/// judgement).
const TEXT_IN_PANEL_HEIGHT: f32 = 0.5;

/// Maximum number of rows without strokes inside a text, in working pixels (set by judgement).
const MAX_GAP_ROWS: usize = 2;

/// Width of the edge of a box in which the edge of a shaded panel can lie, in working pixels (set by judgement).
const EDGE_PX: usize = 2;

/// Minimum number of rows without strokes above and below a text for its rows to be measured inside the box alone (set by
/// judgement).
const MIN_QUIET_ROWS: usize = 1;

/// Mean squared feature of every row over all frames, in squared grey levels.
#[must_use]
pub fn row_energy(features: &[Array2<f32>]) -> Vec<f32> {
    energy(features, |f| {
        f.rows().into_iter().map(|row| row.iter().map(|v| v * v).sum::<f32>() / row.len() as f32).collect()
    })
}

/// Mean squared feature of every column over the rows `top..bottom` and all frames, in squared grey levels.
#[must_use]
pub fn column_energy(features: &[Array2<f32>], top: usize, bottom: usize) -> Vec<f32> {
    energy(features, |f| {
        let band = f.slice(ndarray::s![top.min(f.nrows())..bottom.min(f.nrows()), ..]);
        let rows = band.nrows().max(1) as f32;
        band.columns().into_iter().map(|column| column.iter().map(|v| v * v).sum::<f32>() / rows).collect()
    })
}

fn energy(features: &[Array2<f32>], profile: impl Fn(&Array2<f32>) -> Vec<f32>) -> Vec<f32> {
    let mut total: Vec<f32> = Vec::new();
    for one in features {
        let profile = profile(one);
        total.resize(profile.len(), 0.0);
        total.iter_mut().zip(&profile).for_each(|(sum, value)| *sum += value);
    }
    total.iter_mut().for_each(|sum| *sum /= features.len().max(1) as f32);
    total
}

/// Rows of a region's text in its window.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TextRows {
    /// First row of the text, in working pixels.
    pub top: usize,
    /// Row below the last row of the text, in working pixels.
    pub bottom: usize,
    /// Number of frame pixels in one working pixel, in each direction.
    pub factor: usize,
}

/// Rows of the text of a region whose box is `box_height` frame pixels high; `None` if no strokes stand out
/// from the background.
#[must_use]
pub fn text_rows(patches: &[Patch], box_height: u32) -> Option<TextRows> {
    let factor = working_factor(box_height as f32);
    let levels: Vec<Array2<f32>> = patches.iter().map(|patch| patch.levels(factor)).collect();
    let height = box_height as f32 / factor as f32;
    let (top, bottom) = rows_between_quiet_rows(&levels, height).or_else(|| {
        let features = features_for(levels.iter().map(|levels| levels.view()), height);
        extent(&row_energy(&features), MAX_GAP_ROWS)
    })?;
    Some(TextRows { top, bottom, factor })
}

/// The rows of the text if there are quiet rows above and below it inside the box, as in a box around a shaded panel.
/// What lies outside the box or close to its edges is cut off before filtering, so that neither the edges of the panel
/// nor the scenery beside it count as strokes. `levels` are grey levels of the window, `height` is that of the box in
/// working pixels. `None` if the text reaches the edges of the box.
fn rows_between_quiet_rows(levels: &[Array2<f32>], height: f32) -> Option<(usize, usize)> {
    let (rows, cols) = levels.first()?.dim();
    let edge = MARGIN_PX + EDGE_PX;
    let (last_row, last_col) = (rows.checked_sub(edge)?, cols.checked_sub(edge)?);
    if edge >= last_row || edge >= last_col {
        return None;
    }
    let inner = ndarray::s![edge..last_row, edge..last_col];
    let features =
        features_for(levels.iter().map(|levels| levels.slice(inner)), TEXT_IN_PANEL_HEIGHT * height);
    let profile = row_energy(&features);
    let (top, bottom) = extent(&profile, MAX_GAP_ROWS)?;
    let threshold = threshold_of(&profile)?;
    let mut others = profile[..top].iter().chain(&profile[bottom..]);
    let is_between = top >= MIN_QUIET_ROWS && bottom + MIN_QUIET_ROWS <= profile.len();
    (is_between && others.all(|energy| *energy <= threshold)).then_some((edge + top, edge + bottom))
}

/// Features of grey levels, for text of a height in working pixels.
fn features_for<'a>(levels: impl Iterator<Item = ArrayView2<'a, f32>>, text_height: f32) -> Vec<Array2<f32>> {
    let high_pass = HighPass::for_cell_width(USUAL_CELL_ASPECT * text_height);
    levels.map(|levels| high_pass.apply(&levels.to_owned())).collect()
}

/// The threshold of a profile, at a quarter of the distance from the lower to the upper decile; `None` if it is empty.
fn threshold_of(profile: &[f32]) -> Option<f32> {
    let mut sorted = profile.to_vec();
    sorted.sort_by(f32::total_cmp);
    let low = *sorted.get(sorted.len() / 10)?;
    let high = *sorted.get(sorted.len() - 1 - sorted.len() / 10)?;
    Some(low + 0.25 * (high - low))
}

/// The longest run of entries above the threshold of a profile, as the first index and the index after the
/// last; gaps of up to `bridged_gap` entries are included. The threshold lies at a quarter of the distance
/// from the lower to the upper decile. `None` if no entry lies above it.
#[must_use]
pub fn extent(profile: &[f32], bridged_gap: usize) -> Option<(usize, usize)> {
    let threshold = threshold_of(profile)?;
    let mut best: Option<(usize, usize)> = None;
    let mut current: Option<(usize, usize)> = None;
    for (i, value) in profile.iter().enumerate() {
        if *value <= threshold {
            continue;
        }
        current = match current {
            Some((start, end)) if i <= end + bridged_gap => Some((start, i + 1)),
            _ => Some((i, i + 1)),
        };
        best = longer(best, current);
    }
    best
}

fn longer(a: Option<(usize, usize)>, b: Option<(usize, usize)>) -> Option<(usize, usize)> {
    match (a, b) {
        (Some(a), Some(b)) => Some(if b.1 - b.0 > a.1 - a.0 { b } else { a }),
        (a, b) => a.or(b),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    /// A window of 40 columns with a dark panel that fills its box of 24 rows, over bright scenery that changes with
    /// `frame`, and strokes in the rows 14 to 22.
    fn panel(frame: usize) -> Array2<f32> {
        Array2::from_shape_fn((24 + 2 * MARGIN_PX, 40), |(row, col)| {
            let in_panel =
                (MARGIN_PX..24 + MARGIN_PX).contains(&row) && (MARGIN_PX..40 - MARGIN_PX).contains(&col);
            let is_stroke = (14..23).contains(&row) && (12..28).contains(&col) && (col + frame) % 5 < 2;
            match (in_panel, is_stroke) {
                (false, _) => 150.0 + ((row * 7 + col * 3 + frame * 11) % 50) as f32,
                (true, true) => 230.0,
                (true, false) => 30.0,
            }
        })
    }

    #[test]
    fn the_edges_of_a_panel_are_no_strokes() {
        let levels: Vec<Array2<f32>> = (0..6).map(panel).collect();
        let (top, bottom) = rows_between_quiet_rows(&levels, 24.0).unwrap();
        assert!(top.abs_diff(14) <= 1 && bottom.abs_diff(23) <= 1, "{top}..{bottom}");
    }

    #[test]
    fn a_text_as_high_as_its_box_has_no_quiet_rows() {
        let stroke = |row: usize, col: usize| (8..22).contains(&row) && col % 5 < 2;
        let levels =
            Array2::from_shape_fn(
                (18 + 2 * MARGIN_PX, 40),
                |(row, col)| if stroke(row, col) { 230.0 } else { 90.0 },
            );
        assert_eq!(rows_between_quiet_rows(&[levels], 18.0), None);
    }

    #[test]
    fn the_extent_is_the_longest_run_above_the_threshold() {
        let profile = [1.0, 1.0, 9.0, 1.0, 1.0, 1.0, 8.0, 9.0, 1.5, 9.0, 8.0, 1.0, 1.0, 1.0];
        assert_eq!(extent(&profile, 2), Some((6, 11)));
        assert_eq!(extent(&[], 2), None);
    }
}

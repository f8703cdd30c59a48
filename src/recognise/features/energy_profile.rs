//! Energy profiles: finds the rows and columns of a window that contain strokes, from the mean energy of the
//! features over many frames.

use ndarray::Array2;

use super::high_pass::HighPass;
use super::sample::Patch;
use super::window::working_factor;

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
    let high_pass = HighPass::for_cell_width(0.6 * box_height as f32 / factor as f32);
    let features: Vec<Array2<f32>> =
        patches.iter().map(|patch| high_pass.apply(&patch.levels(factor))).collect();
    let (top, bottom) = extent(&row_energy(&features), 2)?;
    Some(TextRows { top, bottom, factor })
}

/// The longest run of entries above the threshold of a profile, as the first index and the index after the
/// last; gaps of up to `bridged_gap` entries are included. The threshold lies at a quarter of the distance
/// from the lower to the upper decile. `None` if no entry lies above it.
#[must_use]
pub fn extent(profile: &[f32], bridged_gap: usize) -> Option<(usize, usize)> {
    let mut sorted = profile.to_vec();
    sorted.sort_by(f32::total_cmp);
    let low = *sorted.get(sorted.len() / 10)?;
    let high = *sorted.get(sorted.len() - 1 - sorted.len() / 10)?;
    let threshold = low + 0.25 * (high - low);
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
    use super::*;

    #[test]
    fn the_extent_is_the_longest_run_above_the_threshold() {
        let profile = [1.0, 1.0, 9.0, 1.0, 1.0, 1.0, 8.0, 9.0, 1.5, 9.0, 8.0, 1.0, 1.0, 1.0];
        assert_eq!(extent(&profile, 2), Some((6, 11)));
        assert_eq!(extent(&[], 2), None);
    }
}

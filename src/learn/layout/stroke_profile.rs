//! Horizontal profile of a labelled text: how its strokes are distributed over the columns.

use crate::learn::group::size_group::{RegionExamples, SizeGroup};
use crate::recognise::MARGIN_PX;
use crate::recognise::energy_profile;

/// Maximum distance by which a text may extend beyond the edge of its box, in working pixels (set by
/// judgement).
const BOX_PADDING_PX: usize = 2;

/// Selects the column whose energy is subtracted from all columns, as the energy of a column without strokes: of the
/// n columns sorted by ascending energy, the one with index n / `BACKGROUND_RANK_DIVISOR` (set by judgement).
const BACKGROUND_RANK_DIVISOR: usize = 8;

/// Minimum share of a text's strokes in a cell for the centre of these strokes to be computed. It prevents a division
/// by zero; set by judgement.
const MIN_MEASURED_SHARE: f32 = 1e-6;

/// Distance that is assumed between the strokes and the centre of a cell if the cell has no strokes, in cell
/// widths: half a cell, as for strokes at its edge.
const EMPTY_CELL_OFFSET: f32 = 0.5;

/// A labelled text and the share of its strokes in each column.
#[derive(Debug, Clone)]
pub(crate) struct StrokeProfile {
    pub(crate) text: String,
    /// Share of the text's strokes in each column of the window: the square root of the column's stroke energy, after
    /// the energy of a column without strokes is subtracted. All shares add up to 1.
    shares: Vec<f32>,
    /// Prefix sums over the columns: of `shares`, and of `shares` times the middle of the column.
    sums: Vec<(f32, f32)>,
}

impl StrokeProfile {
    /// A labelled text; `shares` holds the share of its strokes in each column of its window.
    pub(crate) fn new(text: String, shares: Vec<f32>) -> Self {
        let mut sum = (0.0, 0.0);
        let mut sums = vec![sum];
        for (column, share) in shares.iter().enumerate() {
            sum = (sum.0 + share, sum.1 + share * (column as f32 + 0.5));
            sums.push(sum);
        }
        Self { text, shares, sums }
    }

    /// Number of columns of the window.
    pub(crate) fn cols(&self) -> usize {
        self.shares.len()
    }

    /// Share of the text's strokes to the left of `column`, which may be fractional.
    fn before(&self, column: f32) -> f32 {
        let column = column.clamp(0.0, self.shares.len() as f32);
        let whole = column as usize;
        self.sums[whole].0 + self.shares.get(whole).map_or(0.0, |share| share * (column - whole as f32))
    }

    /// Share of the text's strokes between the columns `left` and `right`, which may be fractional.
    pub(crate) fn between(&self, left: f32, right: f32) -> f32 {
        (self.before(right) - self.before(left)).max(0.0)
    }

    /// Distance in cell widths from the centre of the cell between the columns `left` and `right` to the centre of
    /// gravity of its strokes, positive to the right; [`EMPTY_CELL_OFFSET`] if the cell has no strokes.
    pub(crate) fn centre_offset(&self, left: f32, right: f32) -> f32 {
        let (first, last) = (left.max(0.0) as usize, (right.max(0.0) as usize).min(self.shares.len()));
        let (before, after) = (self.sums[first.min(last)], self.sums[last]);
        let (weight, moment) = (after.0 - before.0, after.1 - before.1);
        if weight > MIN_MEASURED_SHARE {
            (moment / weight - 0.5 * (left + right)) / (right - left)
        } else {
            EMPTY_CELL_OFFSET
        }
    }
}

/// The stroke profiles of all examples of each region.
pub(crate) fn stroke_profiles(group: &SizeGroup<'_>) -> Vec<Vec<StrokeProfile>> {
    group.regions.iter().map(|region| profiles_of_region(region, group.rows)).collect()
}

fn profiles_of_region(region: &RegionExamples<'_>, rows: usize) -> Vec<StrokeProfile> {
    let profiles = region.examples.iter().zip(&region.features).map(|(example, features)| {
        let mut energy =
            energy_profile::column_energy(std::slice::from_ref(features), region.top, region.top + rows);
        blank_margins(&mut energy);
        let mut sorted = energy.clone();
        sorted.sort_by(f32::total_cmp);
        let floor = sorted.get(sorted.len() / BACKGROUND_RANK_DIVISOR).copied().unwrap_or(0.0);
        // The square root makes a faint stroke count nearly as much as a strong one.
        let above: Vec<f32> = energy.iter().map(|value| (value - floor).max(0.0).sqrt()).collect();
        let total = above.iter().sum::<f32>().max(f32::MIN_POSITIVE);
        StrokeProfile::new(example.label.text.clone(), above.iter().map(|value| value / total).collect())
    });
    profiles.collect()
}

/// Sets the stroke energy of the columns outside the box to the minimum over the columns inside: the strokes outside
/// belong to icons and to the letters of units. The box is widened by [`BOX_PADDING_PX`].
fn blank_margins(energy: &mut [f32]) {
    let outside = MARGIN_PX.saturating_sub(BOX_PADDING_PX).min(energy.len() / 2);
    let inner = &energy[outside..energy.len() - outside];
    let floor = inner.iter().copied().fold(f32::INFINITY, f32::min);
    let last = energy.len() - outside;
    energy[..outside].fill(floor);
    energy[last..].fill(floor);
}

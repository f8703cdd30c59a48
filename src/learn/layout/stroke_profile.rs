//! Horizontal profile of a labelled text: the distribution of its stroke energy over the columns.

use crate::learn::group::size_group::{RegionExamples, SizeGroup};
use crate::recognise::MARGIN_PX;
use crate::recognise::energy_profile;

/// Maximum distance by which a text may extend beyond the edge of its box, in working pixels (set by
/// judgement).
const BOX_PADDING_PX: usize = 2;

/// The energy of columns without strokes is taken from the column of rank n / `FLOOR_DIVISOR`, where the n columns are
/// sorted by ascending energy (set by judgement).
const FLOOR_DIVISOR: usize = 8;

/// Minimum stroke energy of a cell for the centre of its strokes to be measured, as a share of the energy of
/// the text.
const MIN_MEASURED_ENERGY: f32 = 1e-6;

/// Distance that is assumed between the strokes and the centre of a cell if the cell has no strokes, in cell
/// widths: half a cell, as for strokes at its edge.
const EMPTY_CELL_OFFSET: f32 = 0.5;

/// A labelled text with the distribution of its stroke energy over the columns.
#[derive(Debug, Clone)]
pub(crate) struct StrokeProfile {
    pub(crate) text: String,
    /// Stroke energy above the floor in every column of the window; the sum is 1.
    energy: Vec<f32>,
    /// Prefix sums over the columns: of the energy, and of the energy times the middle of its column.
    sums: Vec<(f32, f32)>,
}

impl StrokeProfile {
    /// A labelled text with the stroke energy of every column of its window.
    pub(crate) fn new(text: String, energy: Vec<f32>) -> Self {
        let mut sum = (0.0, 0.0);
        let mut sums = vec![sum];
        for (column, share) in energy.iter().enumerate() {
            sum = (sum.0 + share, sum.1 + share * (column as f32 + 0.5));
            sums.push(sum);
        }
        Self { text, energy, sums }
    }

    /// Number of columns of the window.
    pub(crate) fn cols(&self) -> usize {
        self.energy.len()
    }

    /// Share of the text's stroke energy to the left of a column, which may be fractional.
    fn before(&self, column: f32) -> f32 {
        let column = column.clamp(0.0, self.energy.len() as f32);
        let whole = column as usize;
        self.sums[whole].0 + self.energy.get(whole).map_or(0.0, |share| share * (column - whole as f32))
    }

    /// Share of the text's stroke energy between two columns, which may be fractional.
    pub(crate) fn between(&self, left: f32, right: f32) -> f32 {
        (self.before(right) - self.before(left)).max(0.0)
    }

    /// Distance of the strokes' centre from the centre of the cell between two columns, in cell widths.
    pub(crate) fn centre_offset(&self, left: f32, right: f32) -> f32 {
        let (first, last) = (left.max(0.0) as usize, (right.max(0.0) as usize).min(self.energy.len()));
        let (before, after) = (self.sums[first.min(last)], self.sums[last]);
        let (weight, moment) = (after.0 - before.0, after.1 - before.1);
        if weight > MIN_MEASURED_ENERGY {
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
        let floor = sorted.get(sorted.len() / FLOOR_DIVISOR).copied().unwrap_or(0.0);
        // The square root makes a faint stroke count nearly as much as a strong one.
        let above: Vec<f32> = energy.iter().map(|value| (value - floor).max(0.0).sqrt()).collect();
        let total = above.iter().sum::<f32>().max(f32::MIN_POSITIVE);
        StrokeProfile::new(example.label.text.clone(), above.iter().map(|value| value / total).collect())
    });
    profiles.collect()
}

/// Sets the stroke energy of the columns outside the box to 0: the strokes there belong to icons and to the letters
/// of units.
fn blank_margins(energy: &mut [f32]) {
    let outside = MARGIN_PX.saturating_sub(BOX_PADDING_PX).min(energy.len() / 2);
    let inner = &energy[outside..energy.len() - outside];
    let floor = inner.iter().copied().fold(f32::INFINITY, f32::min);
    let last = energy.len() - outside;
    energy[..outside].fill(floor);
    energy[last..].fill(floor);
}

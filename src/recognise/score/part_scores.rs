//! Part scores: how much of each part of a character a cell shows. A cell with a digit that lacks just one
//! stroke of another digit passes every test of the whole cell, but not this one.

use std::ops::Range;

use arrayvec::ArrayVec;
use ndarray::Array2;
use pulp::Arch;

/// Number of horizontal bands and of vertical bands that a cell is divided into. Bands of one kind have equal sizes, to
/// within a pixel. Set by judgement.
const BANDS: (usize, usize) = (6, 4);

/// Number of blocks of a cell: a block is two bands high and two bands wide, and neighbouring blocks overlap by one
/// band.
const BLOCKS: usize = (BANDS.0 - 1) * (BANDS.1 - 1);

/// Number of columns that are summed at a time; most cells have no more.
const COLUMNS: usize = 32;

/// Minimum energy of a block for it to be tested, relative to the strongest block. Set by judgement.
const MIN_ENERGY_SHARE: f32 = 0.45;

/// One sum for each intersection of a horizontal and a vertical band of a cell.
type Bands = [[f32; BANDS.1]; BANDS.0];

/// The blocks of a template that contain strokes.
#[derive(Debug, Clone)]
pub(in crate::recognise) struct TemplateParts {
    template: Array2<f32>,
    /// For each block, the index of its upper horizontal band and of its left vertical band, and sum(t t)
    /// over the block.
    blocks: ArrayVec<((usize, usize), f32), BLOCKS>,
}

impl TemplateParts {
    /// Finds the blocks of a template that contain strokes.
    pub(in crate::recognise) fn of(template: &Array2<f32>) -> Self {
        let template = template.as_standard_layout().into_owned();
        let bands = template.as_slice().map_or_else(Bands::default, |t| products(template.dim(), t, t));
        let places = (1..BANDS.0).flat_map(|y| (1..BANDS.1).map(move |x| (y - 1, x - 1)));
        let energies = places.map(|place| (place, sum_of_block(&bands, place)));
        let strongest = energies.clone().map(|(_, energy)| energy).fold(f32::MIN_POSITIVE, f32::max);
        let blocks = energies.filter(|(_, energy)| *energy > MIN_ENERGY_SHARE * strongest).collect();
        Self { template, blocks }
    }

    /// Smallest part score: the minimum over the blocks of sum(t f) / sum(t t), with the template t and the
    /// features f; 1 for the glyph itself.
    ///
    /// `cell` holds features with the size of the template, row by row.
    pub(in crate::recognise) fn min_score(&self, cell: &[f32]) -> f32 {
        let Some(template) = self.template.as_slice() else { return 0.0 };
        if cell.len() != template.len() {
            return 0.0;
        }
        let bands = products(self.template.dim(), template, cell);
        let shares = self.blocks.iter().map(|(place, energy)| sum_of_block(&bands, *place) / energy);
        shares.fold(f32::INFINITY, f32::min)
    }
}

fn sum_of_block(bands: &Bands, (y, x): (usize, usize)) -> f32 {
    let rows = [&bands[y], &bands[y + 1]];
    rows.iter().map(|row| row[x] + row[x + 1]).sum()
}

/// Sums of the products of two cells over every intersection of a horizontal and a vertical band. Both cells
/// are given row by row.
fn products((rows, cols): (usize, usize), one: &[f32], other: &[f32]) -> Bands {
    let bounds = |bands: usize, length: usize, band: usize| -> Range<usize> {
        band * length / bands..(band + 1) * length / bands
    };
    let mut bands = Bands::default();
    for first in (0..cols).step_by(COLUMNS) {
        let some = first..cols.min(first + COLUMNS);
        for (band_y, bands) in bands.iter_mut().enumerate() {
            // One sum for each column, so that columns are added in parallel.
            let mut sums = [0.0_f32; COLUMNS];
            Arch::new().dispatch(|| {
                for row in bounds(BANDS.0, rows, band_y) {
                    let at = row * cols + some.start..row * cols + some.end;
                    for (sum, (p, q)) in sums.iter_mut().zip(one[at.clone()].iter().zip(&other[at])) {
                        *sum += p * q;
                    }
                }
            });
            for (band_x, band) in bands.iter_mut().enumerate() {
                let at = bounds(BANDS.1, cols, band_x);
                let inside = |col: usize| col.clamp(some.start, some.end) - some.start;
                *band += sums[inside(at.start)..inside(at.end)].iter().sum::<f32>();
            }
        }
    }
    bands
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An upright stroke at the left and one at the right, as in a 0; the lower half of the right one has level `right`.
    fn cell(right: f32) -> Array2<f32> {
        Array2::from_shape_fn((24, 16), |(y, x)| match x {
            2..5 => 60.0,
            11..14 if y >= 12 => 60.0 * right,
            11..14 => 60.0,
            _ => -10.0,
        })
    }

    fn min_score(share: f32, cell: &Array2<f32>) -> f32 {
        let fainter = cell.mapv(|level| level * share);
        TemplateParts::of(&self::cell(1.0)).min_score(fainter.as_slice().unwrap_or(&[]))
    }

    #[test]
    fn the_part_scores_of_a_fainter_glyph_are_its_contrast() {
        for share in [1.0, 0.7, 1.3] {
            let found = min_score(share, &cell(1.0));
            assert!((found - share).abs() < 1e-4, "{share}: {found}");
        }
    }

    #[test]
    fn a_missing_stroke_gives_a_small_part_score() {
        // What remains of these blocks is the background beside the stroke.
        let found = min_score(1.0, &cell(0.0));
        assert!(found < 0.1, "{found}");
        let half = min_score(1.0, &cell(0.5));
        assert!((0.45..0.6).contains(&half), "{half}");
    }

    #[test]
    fn wide_cells_are_summed_as_narrow_ones() {
        let wide = Array2::from_shape_fn((24, 80), |(y, x)| cell(1.0)[(y, x / 5)]);
        let missing = Array2::from_shape_fn((24, 80), |(y, x)| cell(0.5)[(y, x / 5)]);
        let parts = TemplateParts::of(&wide);
        assert!((parts.min_score(wide.as_slice().unwrap_or(&[])) - 1.0).abs() < 1e-4);
        let narrow = min_score(1.0, &cell(0.5));
        assert!((parts.min_score(missing.as_slice().unwrap_or(&[])) - narrow).abs() < 1e-3);
    }

    #[test]
    fn a_cell_of_another_size_scores_zero() {
        assert_eq!(TemplateParts::of(&cell(1.0)).min_score(&[60.0; 10]), 0.0);
    }
}

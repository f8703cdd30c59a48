//! The matched filter: how much better a character explains a place than no character does.
//!
//! For a template t and a noise covariance S, the log-likelihood ratio of "the features f are t plus
//! noise" against "the features are noise alone" is t' S^-1 f - t' S^-1 t / 2 (the linear
//! discriminant of Fisher with a shared covariance; T. W. Anderson, An Introduction to Multivariate
//! Statistical Analysis, section 6.4; cited from memory). It is linear in f: one weighted sum a place.

use multiversion::multiversion;
use ndarray::Array2;

use super::alphabet::{Alphabet, Shape};
use super::noise::Noise;
use super::strangeness::{Strange, Strangeness};

/// Rates how well a character explains a place of the features.
pub trait Scorer {
    /// How much better character `index` explains the cells of a row than nothing does: above 0 when better.
    /// `row` has an entry a column; entry x is for the cell with its top left corner at (`top`, x), and stays
    /// negative infinity where the cell leaves the features.
    fn score_row(&self, index: usize, features: &Array2<f32>, top: usize, row: &mut [f32]);

    /// Twice the score that a true match is expected to reach.
    fn distance2(&self, index: usize) -> f32;

    /// How strange the features are for character `index`, given the scores of all characters there.
    fn strangeness(&self, index: usize, scores: &[f32]) -> Strange;
}

/// Rates by normalised correlation less a threshold: knows neither noise nor contrast, so it serves
/// to find text before these are known.
#[derive(Debug, Clone, Copy)]
pub struct Correlator<'a> {
    alphabet: &'a Alphabet,
}

/// Correlation from which on a character explains a place better than nothing.
const CORRELATION_OF_SOMETHING: f32 = 0.35;

impl<'a> Correlator<'a> {
    /// Rates the characters of an alphabet.
    #[must_use]
    pub fn new(alphabet: &'a Alphabet) -> Self {
        Self { alphabet }
    }
}

impl Scorer for Correlator<'_> {
    fn score_row(&self, index: usize, features: &Array2<f32>, top: usize, row: &mut [f32]) {
        let Some(shape) = self.alphabet.shapes.get(index) else { return };
        for (score, correlation) in row.iter_mut().zip(correlations(&shape.template, features, top)) {
            *score = correlation - CORRELATION_OF_SOMETHING;
        }
    }

    fn distance2(&self, _index: usize) -> f32 {
        2.0 * (1.0 - CORRELATION_OF_SOMETHING)
    }

    fn strangeness(&self, _index: usize, _scores: &[f32]) -> Strange {
        Strange::USUAL
    }
}

/// One character's filter.
#[derive(Debug, Clone)]
struct Filter {
    /// S^-1 t, row-major, rows x cols.
    weights: Vec<f32>,
    cols: usize,
    /// t' S^-1 t without the template's own noise: the squared distance between the character and nothing.
    distance2: f32,
    /// What the template's own noise adds to t' S^-1 t.
    of_noise: f64,
}

/// The filters of an alphabet under a noise model.
#[derive(Debug, Clone)]
pub struct Matcher {
    filters: Vec<Filter>,
    rows: usize,
    strangeness: Strangeness,
}

impl Matcher {
    /// Prepares the filters; `None` when the noise model cannot be inverted.
    #[must_use]
    pub fn new(alphabet: &Alphabet, noise: &Noise) -> Option<Self> {
        let mut solvers = std::collections::BTreeMap::new();
        let mut filters = Vec::new();
        for shape in &alphabet.shapes {
            let cols = shape.template.ncols();
            if let std::collections::btree_map::Entry::Vacant(slot) = solvers.entry(cols) {
                slot.insert(noise.solver(cols)?);
            }
            let of_noise = noise.distance2_of_mean(shape.template.len(), shape.pictures);
            filters.push(filter_of(shape, &solvers.get(&cols)?.weights(&shape.template), of_noise));
        }
        let digits: Vec<usize> =
            (0..filters.len()).filter(|index| alphabet.shapes[*index].character.is_ascii_digit()).collect();
        let product = |i: usize, j: usize| {
            let of_noise = if i == j { filters[i].of_noise } else { 0.0 };
            cross(&filters[i], &alphabet.shapes[j].template) - of_noise
        };
        let strangeness = Strangeness::new(digits, product)?;
        Some(Self { filters, rows: alphabet.rows, strangeness })
    }
}

impl Scorer for Matcher {
    /// The log-likelihood ratios.
    fn score_row(&self, index: usize, features: &Array2<f32>, top: usize, row: &mut [f32]) {
        let (Some(filter), Some(levels)) = (self.filters.get(index), features.as_slice()) else { return };
        let (rows, width) = features.dim();
        let columns = (width + 1).saturating_sub(filter.cols).min(row.len());
        if top + self.rows > rows || columns == 0 {
            return;
        }
        let base = -0.5 * filter.distance2;
        let under = &levels[top * width..(top + self.rows) * width];
        slide(&filter.weights, filter.cols, under, width, (base, &mut row[..columns]));
    }

    /// Squared distance between character `index` and nothing.
    fn distance2(&self, index: usize) -> f32 {
        self.filters.get(index).map_or(0.0, |filter| filter.distance2)
    }

    fn strangeness(&self, index: usize, scores: &[f32]) -> Strange {
        let weighed = |digit: usize| scores[digit] + 0.5 * self.filters[digit].distance2;
        self.strangeness.of(index, weighed)
    }
}

/// A filter's weights times another template, over the columns both have.
fn cross(filter: &Filter, template: &Array2<f32>) -> f64 {
    let cols = filter.cols.min(template.ncols());
    let rows = filter.weights.chunks_exact(filter.cols).zip(template.rows());
    rows.map(|(weights, row)| (0..cols).map(|x| f64::from(weights[x] * row[x])).sum::<f64>()).sum()
}

/// The filter of a shape; `of_noise` is the part of its squared distance that is its template's own noise,
/// which must not count: a shape learnt from few pictures would always score too low.
fn filter_of(shape: &Shape, weights: &[f64], of_noise: f64) -> Filter {
    let as_seen = weights.iter().zip(&shape.template).map(|(w, t)| w * f64::from(*t)).sum::<f64>();
    let of_noise = of_noise.min(MOST_NOISE_SHARE * as_seen);
    let distance2 = as_seen - of_noise;
    let weights = weights.iter().map(|weight| *weight as f32).collect();
    Filter { weights, cols: shape.template.ncols(), distance2: distance2 as f32, of_noise }
}

/// Largest share of a squared distance that is put down to noise.
const MOST_NOISE_SHARE: f64 = 0.5;

/// Normalised correlation of a template with the features at all columns of a row, -1 to 1:
/// sum(t f) / sqrt(sum(t t) sum(f f)); 0 where either is flat. Empty where the cell leaves the features.
#[must_use]
pub fn correlations(template: &Array2<f32>, features: &Array2<f32>, top: usize) -> Vec<f32> {
    let ((rows, cols), (height, width)) = (template.dim(), features.dim());
    let (Some(t), Some(f)) = (template.as_slice(), features.as_slice()) else { return Vec::new() };
    if top + rows > height || cols > width {
        return Vec::new();
    }
    let under = &f[top * width..(top + rows) * width];
    let mut products = vec![0.0; width - cols + 1];
    slide(t, cols, under, width, (0.0, &mut products));
    let mut squares = vec![0.0_f32; width];
    for row in under.chunks_exact(width) {
        squares.iter_mut().zip(row).for_each(|(sum, level)| *sum += level * level);
    }
    let tt: f32 = t.iter().map(|level| level * level).sum();
    for (product, window) in products.iter_mut().zip(squares.windows(cols)) {
        let scale = (tt * window.iter().sum::<f32>()).sqrt();
        *product = if scale > 0.0 { *product / scale } else { 0.0 };
    }
    products
}

/// Columns whose sums are kept in registers while a template slides over them.
const TILE: usize = 32;

/// The products of a template with the features, rows `width` wide, at every column, added to `base`.
#[multiversion(targets("x86_64+avx2+fma"))]
fn slide(template: &[f32], cols: usize, features: &[f32], width: usize, (base, sums): (f32, &mut [f32])) {
    let columns = sums.len();
    // The last tile may overlap the one before: its sums are the same.
    let firsts = (0..columns / TILE).map(|tile| tile * TILE).chain(columns.checked_sub(TILE));
    for first in firsts {
        // Two sets of sums, so that one need not wait for the other.
        let (mut even, mut odd) = ([base; TILE], [0.0_f32; TILE]);
        for (template, row) in template.chunks_exact(cols).zip(features.chunks_exact(width)) {
            let levels = &row[first..first + cols - 1 + TILE];
            let mut pairs = template.chunks_exact(2);
            for (pair, levels) in (&mut pairs).zip(levels.windows(TILE + 1).step_by(2)) {
                for at in 0..TILE {
                    even[at] += pair[0] * levels[at];
                    odd[at] += pair[1] * levels[at + 1];
                }
            }
            if let ([weight], levels) = (pairs.remainder(), &levels[cols - 1..]) {
                even.iter_mut().zip(levels).for_each(|(sum, level)| *sum += weight * level);
            }
        }
        let sums = sums[first..first + TILE].iter_mut();
        sums.zip(even.iter().zip(odd)).for_each(|(sum, (even, odd))| *sum = even + odd);
    }
    if columns >= TILE {
        return;
    }
    sums.fill(base);
    for (template, row) in template.chunks_exact(cols).zip(features.chunks_exact(width)) {
        for (weight, levels) in template.iter().zip(row.windows(columns)) {
            sums.iter_mut().zip(levels).for_each(|(sum, level)| *sum += weight * level);
        }
    }
}

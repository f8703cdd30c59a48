//! The matched filter: how much better a character explains a place than no character does.
//!
//! For a template t and a noise covariance S, the log-likelihood ratio of "the features f are t plus
//! noise" against "the features are noise alone" is t' S^-1 f - t' S^-1 t / 2 (the linear
//! discriminant of Fisher with a shared covariance; T. W. Anderson, An Introduction to Multivariate
//! Statistical Analysis, section 6.4; cited from memory). It is linear in f: one weighted sum a place.

use ndarray::Array2;

use super::alphabet::{Alphabet, Shape};
use super::noise::Noise;

/// One character's filter.
#[derive(Debug, Clone)]
struct Filter {
    /// S^-1 t, row-major, rows x cols.
    weights: Vec<f32>,
    cols: usize,
    /// t' S^-1 t: the squared distance between the character and nothing.
    distance2: f32,
}

/// The filters of an alphabet under a noise model.
#[derive(Debug, Clone)]
pub struct Matcher {
    filters: Vec<Filter>,
    rows: usize,
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
            filters.push(filter_of(shape, &solvers.get(&cols)?.weights(&shape.template)));
        }
        Some(Self { filters, rows: alphabet.rows })
    }

    /// Log-likelihood ratio of character `index` against nothing, with its cell's top left corner at
    /// (`top`, `left`) of the features; `None` where the cell leaves them.
    #[must_use]
    pub fn score(&self, index: usize, features: &Array2<f32>, top: usize, left: usize) -> Option<f32> {
        let filter = self.filters.get(index)?;
        if top + self.rows > features.nrows() || left + filter.cols > features.ncols() {
            return None;
        }
        let sum: f32 = filter
            .weights
            .chunks_exact(filter.cols)
            .zip(features.rows().into_iter().skip(top))
            .map(|(weights, row)| match row.as_slice() {
                Some(row) => dot(weights, &row[left..left + filter.cols]),
                None => 0.0,
            })
            .sum();
        Some(sum - 0.5 * filter.distance2)
    }

    /// Squared distance between character `index` and nothing: the expected score of a true match
    /// is half of it.
    #[must_use]
    pub fn distance2(&self, index: usize) -> f32 {
        self.filters.get(index).map_or(0.0, |filter| filter.distance2)
    }
}

fn filter_of(shape: &Shape, weights: &[f64]) -> Filter {
    let distance2 = weights.iter().zip(&shape.template).map(|(w, t)| w * f64::from(*t)).sum::<f64>();
    Filter {
        weights: weights.iter().map(|weight| *weight as f32).collect(),
        cols: shape.template.ncols(),
        distance2: distance2 as f32,
    }
}

/// Sum of products, in four lanes so that the compiler can use vector instructions.
fn dot(a: &[f32], b: &[f32]) -> f32 {
    let mut lanes = [0.0_f32; 4];
    let (a4, b4) = (a.chunks_exact(4), b.chunks_exact(4));
    let rest: f32 = a4.remainder().iter().zip(b4.remainder()).map(|(x, y)| x * y).sum();
    for (x, y) in a4.zip(b4) {
        for lane in 0..4 {
            lanes[lane] += x[lane] * y[lane];
        }
    }
    lanes.iter().sum::<f32>() + rest
}

/// Normalised correlation of a template with the features at (`top`, `left`), -1 to 1:
/// sum(t f) / sqrt(sum(t t) sum(f f)). `None` where the cell leaves the features; 0 where either is
/// flat.
#[must_use]
pub fn normalised_correlation(
    template: &Array2<f32>,
    features: &Array2<f32>,
    top: usize,
    left: usize,
) -> Option<f32> {
    let (rows, cols) = template.dim();
    if top + rows > features.nrows() || left + cols > features.ncols() {
        return None;
    }
    let patch = features.slice(ndarray::s![top..top + rows, left..left + cols]);
    let (mut tf, mut tt, mut ff) = (0.0_f32, 0.0_f32, 0.0_f32);
    ndarray::Zip::from(template).and(&patch).for_each(|t, f| {
        tf += t * f;
        tt += t * t;
        ff += f * f;
    });
    let scale = (tt * ff).sqrt();
    Some(if scale > 0.0 { tf / scale } else { 0.0 })
}

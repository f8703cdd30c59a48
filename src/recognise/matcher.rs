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
    /// How much better character `index` explains the cell with its top left corner at (`top`,
    /// `left`) than nothing does: above 0 when better. `None` where the cell leaves the features.
    fn score(&self, index: usize, features: &Array2<f32>, top: usize, left: usize) -> Option<f32>;

    /// The scores of character `index` at all columns of a row, where working them out together is cheaper
    /// than one by one.
    fn scores_of_row(&self, _index: usize, _features: &Array2<f32>, _top: usize) -> Option<Vec<f32>> {
        None
    }

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
    fn score(&self, index: usize, features: &Array2<f32>, top: usize, left: usize) -> Option<f32> {
        let shape = self.alphabet.shapes.get(index)?;
        Some(normalised_correlation(&shape.template, features, top, left)? - CORRELATION_OF_SOMETHING)
    }

    fn scores_of_row(&self, index: usize, features: &Array2<f32>, top: usize) -> Option<Vec<f32>> {
        let mut row = correlations(&self.alphabet.shapes.get(index)?.template, features, top);
        row.iter_mut().for_each(|score| *score -= CORRELATION_OF_SOMETHING);
        Some(row)
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
    /// S^-1 t, row-major, rows x stride; zero beyond the template's columns.
    weights: Vec<f32>,
    cols: usize,
    /// Columns rounded up to whole vectors.
    stride: usize,
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
    /// The log-likelihood ratio.
    fn score(&self, index: usize, features: &Array2<f32>, top: usize, left: usize) -> Option<f32> {
        let filter = self.filters.get(index)?;
        if top + self.rows > features.nrows() || left + filter.cols > features.ncols() {
            return None;
        }
        let cols = if left + filter.stride <= features.ncols() { filter.stride } else { filter.cols };
        let from = features.as_slice()?.get(top * features.ncols() + left..)?;
        Some(weighed(&filter.weights, from, (cols, filter.stride, features.ncols())) - 0.5 * filter.distance2)
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
    let rows = filter.weights.chunks_exact(filter.stride).zip(template.rows());
    rows.map(|(weights, row)| (0..cols).map(|x| f64::from(weights[x] * row[x])).sum::<f64>()).sum()
}

/// The filter of a shape; `of_noise` is the part of its squared distance that is its template's own noise,
/// which must not count: a shape learnt from few pictures would always score too low.
fn filter_of(shape: &Shape, weights: &[f64], of_noise: f64) -> Filter {
    let as_seen = weights.iter().zip(&shape.template).map(|(w, t)| w * f64::from(*t)).sum::<f64>();
    let of_noise = of_noise.min(MOST_NOISE_SHARE * as_seen);
    let distance2 = as_seen - of_noise;
    let cols = shape.template.ncols();
    let stride = cols.next_multiple_of(LANES);
    let mut padded = Vec::with_capacity(stride * shape.template.nrows());
    for row in weights.chunks_exact(cols) {
        padded.extend(row.iter().map(|weight| *weight as f32));
        padded.resize(padded.len() + stride - cols, 0.0);
    }
    Filter { weights: padded, cols, stride, distance2: distance2 as f32, of_noise }
}

/// Largest share of a squared distance that is put down to noise.
const MOST_NOISE_SHARE: f64 = 0.5;

/// Numbers multiplied at a time, so that the compiler can use vector instructions.
const LANES: usize = 8;

/// Rows worked on side by side, so that a sum need not wait for the one before.
const ROWS: usize = 4;

/// Sum of weights times features over `cols` columns; rows stand apart by the strides of each.
#[multiversion(targets("x86_64+avx2+fma"))]
fn weighed(weights: &[f32], features: &[f32], (cols, stride, apart): (usize, usize, usize)) -> f32 {
    let mut lanes = [[0.0_f32; LANES]; ROWS];
    let mut rest = 0.0;
    let rows = weights.len() / stride;
    let weights = |row: usize| &weights[row * stride..row * stride + cols];
    let features = |row: usize| &features[row * apart..row * apart + cols];
    for top in (0..rows - rows % ROWS).step_by(ROWS) {
        let pair =
            |row: usize| weights(top + row).chunks_exact(LANES).zip(features(top + row).chunks_exact(LANES));
        for (((first, second), third), fourth) in pair(0).zip(pair(1)).zip(pair(2)).zip(pair(3)) {
            for (lanes, (weights, levels)) in lanes.iter_mut().zip([first, second, third, fourth]) {
                for ((lane, weight), level) in lanes.iter_mut().zip(weights).zip(levels) {
                    *lane += weight * level;
                }
            }
        }
    }
    for row in 0..rows {
        let whole = if row < rows - rows % ROWS { cols - cols % LANES } else { 0 };
        let products = weights(row)[whole..].iter().zip(&features(row)[whole..]);
        rest += products.map(|(weight, level)| weight * level).sum::<f32>();
    }
    lanes.iter().flatten().sum::<f32>() + rest
}

/// sum(t f), sum(t t) and sum(f f) over the rows of a template, `cols` wide, and the features under it, whose
/// rows stand `stride` apart.
#[multiversion(targets("x86_64+avx2+fma"))]
fn products(template: &[f32], features: &[f32], cols: usize, stride: usize) -> [f32; 3] {
    let (mut tf, mut tt, mut ff) = ([0.0_f32; LANES], [0.0_f32; LANES], [0.0_f32; LANES]);
    let mut rest = [0.0_f32; 3];
    for (t, f) in template.chunks_exact(cols).zip(features.chunks(stride)) {
        let f = &f[..cols];
        let (t8, f8) = (t.chunks_exact(LANES), f.chunks_exact(LANES));
        for (t, f) in t8.remainder().iter().zip(f8.remainder()) {
            rest[0] += t * f;
            rest[1] += t * t;
            rest[2] += f * f;
        }
        for (t, f) in t8.zip(f8) {
            for lane in 0..LANES {
                tf[lane] += t[lane] * f[lane];
                tt[lane] += t[lane] * t[lane];
                ff[lane] += f[lane] * f[lane];
            }
        }
    }
    let sum = |lanes: [f32; LANES]| lanes.iter().sum::<f32>();
    [sum(tf) + rest[0], sum(tt) + rest[1], sum(ff) + rest[2]]
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
    let (Some(t), Some(f)) = (template.as_slice(), features.as_slice()) else { return None };
    let [tf, tt, ff] = products(t, &f[top * features.ncols() + left..], cols, features.ncols());
    let scale = (tt * ff).sqrt();
    Some(if scale > 0.0 { tf / scale } else { 0.0 })
}

/// [`normalised_correlation`] at all columns of a row; empty where the cell leaves the features.
#[must_use]
pub fn correlations(template: &Array2<f32>, features: &Array2<f32>, top: usize) -> Vec<f32> {
    let ((rows, cols), (height, width)) = (template.dim(), features.dim());
    let (Some(t), Some(f)) = (template.as_slice(), features.as_slice()) else { return Vec::new() };
    if top + rows > height || cols > width {
        return Vec::new();
    }
    let under = &f[top * width..(top + rows) * width];
    let mut products = vec![0.0; width - cols + 1];
    slide(t, cols, under, width, &mut products);
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

/// Adds to `sums` the products of a template with the features, rows `width` wide, at every column.
#[multiversion(targets("x86_64+avx2+fma"))]
fn slide(template: &[f32], cols: usize, features: &[f32], width: usize, sums: &mut [f32]) {
    for (template, row) in template.chunks_exact(cols).zip(features.chunks_exact(width)) {
        for (weight, levels) in template.iter().zip(row.windows(sums.len())) {
            for (sum, level) in sums.iter_mut().zip(levels) {
                *sum += weight * level;
            }
        }
    }
}

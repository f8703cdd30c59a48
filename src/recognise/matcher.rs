//! The matched filter: how much better a character explains a place than no character does.
//!
//! For a template t and a noise covariance S, the log-likelihood ratio of "the features f are t plus
//! noise" against "the features are noise alone" is t' S^-1 f - t' S^-1 t / 2 (the linear
//! discriminant of Fisher with a shared covariance; T. W. Anderson, An Introduction to Multivariate
//! Statistical Analysis, section 6.4; cited from memory). It is linear in f: one weighted sum a place.

use arrayvec::ArrayVec;
use ndarray::Array2;
use rayon::prelude::*;

use super::alphabet::{Alphabet, Shape};
use super::decode::MOST_SHAPES;
use super::goodness_of_fit::{DIGITS, GoodnessOfFit, GoodnessOfFitTest};
use super::noise::Noise;
use super::patches::product;
use super::reach::Reach;
use super::slide::{Template, Under};
use super::strokes::Strokes;

/// Rates how well a character explains a place of the features.
pub trait Scorer {
    /// How much better some characters explain the cells of a row than nothing does: above 0 when better.
    /// `scores` has a row a character, as long as the features are wide; entry x is for the cell with its top
    /// left corner at (`top`, x), and stays as it was where the cell leaves the features. The columns within
    /// `reach` are rated at least; `None`: all.
    fn score_rows(
        &self,
        indices: &[usize],
        features: &Array2<f32>,
        top: usize,
        reach: Option<&Reach>,
        scores: &mut [f32],
    );

    /// Twice the score that a true match is expected to reach.
    fn distance2(&self, index: usize) -> f32;

    /// Goodness of fit of the features to character `index`, given the scores of all characters there.
    fn goodness_of_fit(&self, index: usize, scores: &[f32]) -> GoodnessOfFit;

    /// How much of the least stroke of character `index` is there: 1 for the glyph itself. `patch` holds the features
    /// in its cell, row-major.
    fn least_stroke(&self, index: usize, patch: &[f32]) -> f32;
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
    fn score_rows(
        &self,
        indices: &[usize],
        features: &Array2<f32>,
        top: usize,
        _reach: Option<&Reach>,
        scores: &mut [f32],
    ) {
        let templates = indices.iter().map(|index| (*index, &self.alphabet.shapes[*index].template));
        correlate(templates, features, top, scores);
        scores.iter_mut().for_each(|score| *score -= CORRELATION_OF_SOMETHING);
    }

    fn distance2(&self, _index: usize) -> f32 {
        2.0 * (1.0 - CORRELATION_OF_SOMETHING)
    }

    fn goodness_of_fit(&self, _index: usize, _scores: &[f32]) -> GoodnessOfFit {
        GoodnessOfFit::USUAL
    }

    fn least_stroke(&self, _index: usize, _patch: &[f32]) -> f32 {
        1.0
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
    strokes: Strokes,
}

/// The filters of an alphabet under a noise model.
#[derive(Debug, Clone)]
pub struct Matcher {
    filters: Vec<Filter>,
    rows: usize,
    goodness: GoodnessOfFitTest,
}

impl Matcher {
    /// Prepares the filters; `None` when the noise model is not that of the alphabet's cells.
    #[must_use]
    pub fn new(alphabet: &Alphabet, noise: &Noise) -> Option<Self> {
        let filter = |shape: &Shape| {
            let of_noise = noise.distance2_of_mean(shape.template.len(), shape.pictures);
            Some(filter_of(shape, &noise.weights(&shape.template)?, of_noise))
        };
        let filters: Vec<Filter> = alphabet.shapes.par_iter().map(filter).collect::<Option<_>>()?;
        let is_digit = |index: &usize| alphabet.shapes[*index].character.is_ascii_digit();
        let digits = (0..filters.len()).filter(is_digit).take(DIGITS).collect();
        let product_of = |i: usize, j: usize| {
            let of_noise = if i == j { filters[i].of_noise } else { 0.0 };
            cross(&filters[i], &alphabet.shapes[j].template) - of_noise
        };
        let goodness = GoodnessOfFitTest::new(digits, product_of)?;
        Some(Self { filters, rows: alphabet.rows, goodness })
    }
}

impl Matcher {
    /// Squared distance between two digits: twice the log-likelihood ratio of the one against the other that is
    /// expected where the one is shown. `None` where one of them is no digit.
    pub(super) fn distance2_between(&self, one: usize, other: usize) -> Option<f32> {
        self.goodness.distance2_between(one, other)
    }
}

impl Scorer for Matcher {
    /// The log-likelihood ratios.
    fn score_rows(
        &self,
        indices: &[usize],
        features: &Array2<f32>,
        top: usize,
        reach: Option<&Reach>,
        scores: &mut [f32],
    ) {
        let template = |index: &usize| {
            let Filter { weights, cols, .. } = self.filters.get(*index)?;
            let wanted = reach.map(|reach| reach.columns(*index));
            Some(Template { levels: weights, cols: *cols, row: *index, wanted })
        };
        let templates: ArrayVec<Template<'_>, MOST_SHAPES> =
            indices.iter().filter_map(template).take(MOST_SHAPES).collect();
        let Some(under) = Under::of(features, top, (self.rows, widest(&templates))) else { return };
        under.products(&templates, scores);
        for Template { cols, row, .. } in templates {
            let scores = scores[row * features.ncols()..].iter_mut().take(under.columns(cols));
            scores.for_each(|score| *score -= 0.5 * self.filters[row].distance2);
        }
    }

    /// Squared distance between character `index` and nothing.
    fn distance2(&self, index: usize) -> f32 {
        self.filters.get(index).map_or(0.0, |filter| filter.distance2)
    }

    fn goodness_of_fit(&self, index: usize, scores: &[f32]) -> GoodnessOfFit {
        let weighed = |digit: usize| scores[digit] + 0.5 * self.filters[digit].distance2;
        self.goodness.of(index, weighed)
    }

    fn least_stroke(&self, index: usize, patch: &[f32]) -> f32 {
        self.filters.get(index).map_or(0.0, |filter| filter.strokes.least(patch))
    }
}

/// Columns of the widest of some templates.
fn widest(templates: &[Template<'_>]) -> usize {
    templates.iter().map(|template| template.cols).max().unwrap_or(0)
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
    let strokes = Strokes::of(&shape.template);
    Filter { weights, cols: shape.template.ncols(), distance2: distance2 as f32, of_noise, strokes }
}

/// Largest share of a squared distance that is put down to noise.
const MOST_NOISE_SHARE: f64 = 0.5;

/// Normalised correlation of templates with the features at all columns of a row, -1 to 1:
/// sum(t f) / sqrt(sum(t t) sum(f f)); 0 where either is flat. Each is written into its own row of `found`,
/// rows as long as the features are wide, and leaves as it was what is for cells that leave the features.
pub fn correlate<'a>(
    templates: impl Iterator<Item = (usize, &'a Array2<f32>)>,
    features: &Array2<f32>,
    top: usize,
    found: &mut [f32],
) {
    let templates: Vec<Template<'_>> =
        templates.filter_map(|(row, template)| Template::of(row, template)).collect();
    let rows = templates.first().map_or(0, |template| template.levels.len() / template.cols.max(1));
    let Some(under) = Under::of(features, top, (rows, widest(&templates))) else { return };
    under.products(&templates, found);
    let energies = under.energies();
    for Template { levels, cols, row, .. } in templates {
        let tt = product(levels, levels);
        let products = &mut found[row * features.ncols()..];
        for (product, energies) in products.iter_mut().zip(energies.windows(cols)) {
            let scale = (tt * energies.iter().sum::<f32>()).sqrt();
            *product = if scale > 0.0 { *product / scale } else { 0.0 };
        }
    }
}

/// The same of a single template; empty where the cell leaves the features.
#[must_use]
pub fn correlations(template: &Array2<f32>, features: &Array2<f32>, top: usize) -> Vec<f32> {
    let (rows, cols) = template.dim();
    if cols > features.ncols() || top + rows > features.nrows() {
        return Vec::new();
    }
    let mut found = vec![0.0; features.ncols()];
    correlate(std::iter::once((0, template)), features, top, &mut found);
    found.truncate(features.ncols() + 1 - cols);
    found
}

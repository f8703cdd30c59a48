//! The matched filter: how much better a character explains a cell than no character does.
//!
//! For a template t and a noise covariance S, the log-likelihood ratio of "the features f are t plus noise"
//! against "the features are noise alone" is t' S^-1 f - t' S^-1 t / 2: the ratio of two normal densities
//! with means t and 0 and the same covariance. It is linear in f, so that one weighted sum per cell suffices.

use arrayvec::ArrayVec;
use ndarray::Array2;
use rayon::prelude::*;

use super::cross_correlation::{FeatureRows, TemplateRow};
use super::goodness_of_fit::{DIGITS, GoodnessOfFit, GoodnessOfFitTest};
use super::noise::Noise;
use super::part_scores::TemplateParts;
use crate::recognise::features::cells::dot;
use crate::recognise::templates::MAX_CHARACTERS;
use crate::recognise::templates::alphabet::{Alphabet, Shape};
use crate::recognise::templates::column_mask::ColumnMask;

/// Scores how well the characters of an alphabet explain cells of the features.
pub trait Scorer {
    /// Computes how much better the characters with the alphabet indices `indices` explain the cells of a row
    /// than no character does; positive means better.
    ///
    /// `scores` has one row for each character of the alphabet, as long as the features are wide. Entry x is
    /// for the cell with its top left corner at row `top` and column x; it is not written if the cell extends
    /// beyond the features. Scores are needed at the columns of `mask`, or at all columns if `mask` is
    /// `None`; other columns may be scored too.
    fn score_rows(
        &self,
        indices: &[usize],
        features: &Array2<f32>,
        top: usize,
        mask: Option<&ColumnMask>,
        scores: &mut [f32],
    );

    /// Twice the expected score of the character with alphabet index `index` in a cell that shows it.
    fn distance2(&self, index: usize) -> f32;

    /// Goodness of fit of a cell to the character with alphabet index `index`, given the scores of all
    /// characters for that cell.
    fn goodness_of_fit(&self, index: usize, scores: &[f32]) -> GoodnessOfFit;

    /// Smallest part score of the character with alphabet index `index`: 1 for the glyph itself. `cell`
    /// holds the features of its cell, row by row.
    fn min_part_score(&self, index: usize, cell: &[f32]) -> f32;
}

/// Scores characters by normalised correlation minus a threshold. This needs neither the noise nor the
/// contrast, so it finds text before these are known.
#[derive(Debug, Clone, Copy)]
pub struct Correlator<'a> {
    alphabet: &'a Alphabet,
}

/// Correlation above which a character explains a cell better than no character does. Set by judgement.
const MIN_CORRELATION: f32 = 0.35;

impl<'a> Correlator<'a> {
    /// A correlator for the characters of an alphabet.
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
        _mask: Option<&ColumnMask>,
        scores: &mut [f32],
    ) {
        let templates = indices.iter().map(|index| (*index, &self.alphabet.shapes[*index].template));
        correlate(templates, features, top, scores);
        scores.iter_mut().for_each(|score| *score -= MIN_CORRELATION);
    }

    fn distance2(&self, _index: usize) -> f32 {
        2.0 * (1.0 - MIN_CORRELATION)
    }

    fn goodness_of_fit(&self, _index: usize, _scores: &[f32]) -> GoodnessOfFit {
        GoodnessOfFit::USUAL
    }

    fn min_part_score(&self, _index: usize, _cell: &[f32]) -> f32 {
        1.0
    }
}

/// The matched filter of one character.
#[derive(Debug, Clone)]
struct Filter {
    /// S^-1 t for the template t and the noise covariance S: rows x cols numbers, row by row.
    weights: Vec<f32>,
    cols: usize,
    /// t' S^-1 t, with the template t and the noise covariance S, without the part that the noise of the template
    /// adds: the squared Mahalanobis distance between the character and no character.
    distance2: f32,
    /// The part of t' S^-1 t that is due to noise in the template; t is the template and S the noise covariance.
    template_noise2: f64,
    parts: TemplateParts,
}

/// The filters of an alphabet under a noise model.
#[derive(Debug, Clone)]
pub struct Matcher {
    filters: Vec<Filter>,
    rows: usize,
    goodness: GoodnessOfFitTest,
}

impl Matcher {
    /// The filters of an alphabet; `None` if the noise model is for cells of another height, or for narrower
    /// cells.
    #[must_use]
    pub fn new(alphabet: &Alphabet, noise: &Noise) -> Option<Self> {
        let filter = |shape: &Shape| {
            let template_noise2 = noise.distance2_of_mean(shape.template.len(), shape.image_count);
            Some(filter_of(shape, &noise.weights(&shape.template)?, template_noise2))
        };
        let filters: Vec<Filter> = alphabet.shapes.par_iter().map(filter).collect::<Option<_>>()?;
        let is_digit = |index: &usize| alphabet.shapes[*index].character.is_ascii_digit();
        let digits = (0..filters.len()).filter(is_digit).take(DIGITS).collect();
        let product_of = |i: usize, j: usize| {
            let template_noise2 = if i == j { filters[i].template_noise2 } else { 0.0 };
            cross(&filters[i], &alphabet.shapes[j].template) - template_noise2
        };
        let goodness = GoodnessOfFitTest::new(digits, product_of)?;
        Some(Self { filters, rows: alphabet.rows, goodness })
    }
}

impl Matcher {
    /// Squared Mahalanobis distance between two digits: twice the expected log-likelihood ratio of the first
    /// against the second in a cell that shows the first. `None` unless both are digits.
    pub(in crate::recognise) fn distance2_between(&self, one: usize, other: usize) -> Option<f32> {
        self.goodness.distance2_between(one, other)
    }
}

impl Scorer for Matcher {
    /// Computes the log-likelihood ratios of the characters against no character.
    fn score_rows(
        &self,
        indices: &[usize],
        features: &Array2<f32>,
        top: usize,
        mask: Option<&ColumnMask>,
        scores: &mut [f32],
    ) {
        let template = |index: &usize| {
            let Filter { weights, cols, .. } = self.filters.get(*index)?;
            let mask = mask.map(|mask| mask.columns(*index));
            Some(TemplateRow { levels: weights, cols: *cols, row: *index, mask })
        };
        let templates: ArrayVec<TemplateRow<'_>, MAX_CHARACTERS> =
            indices.iter().filter_map(template).take(MAX_CHARACTERS).collect();
        let Some(feature_rows) = FeatureRows::of(features, top, (self.rows, widest(&templates))) else {
            return;
        };
        feature_rows.products(&templates, scores);
        for TemplateRow { cols, row, .. } in templates {
            let scores = scores[row * features.ncols()..].iter_mut().take(feature_rows.columns(cols));
            scores.for_each(|score| *score -= 0.5 * self.filters[row].distance2);
        }
    }

    /// Squared Mahalanobis distance between the character with alphabet index `index` and no character.
    fn distance2(&self, index: usize) -> f32 {
        self.filters.get(index).map_or(0.0, |filter| filter.distance2)
    }

    fn goodness_of_fit(&self, index: usize, scores: &[f32]) -> GoodnessOfFit {
        let weighted_sum = |digit: usize| scores[digit] + 0.5 * self.filters[digit].distance2;
        self.goodness.of(index, weighted_sum)
    }

    fn min_part_score(&self, index: usize, cell: &[f32]) -> f32 {
        self.filters.get(index).map_or(0.0, |filter| filter.parts.min_score(cell))
    }
}

/// Number of columns of the widest of some templates.
fn widest(templates: &[TemplateRow<'_>]) -> usize {
    templates.iter().map(|template| template.cols).max().unwrap_or(0)
}

/// Dot product of a filter's weights and another template, over the columns that both have.
fn cross(filter: &Filter, template: &Array2<f32>) -> f64 {
    let cols = filter.cols.min(template.ncols());
    let rows = filter.weights.chunks_exact(filter.cols).zip(template.rows());
    rows.map(|(weights, row)| (0..cols).map(|x| f64::from(weights[x] * row[x])).sum::<f64>()).sum()
}

/// The matched filter of a template. `template_noise2` is the part of the template's squared distance t' S^-1 t that
/// the noise of the template itself adds. This part is subtracted, since otherwise the scores of a template learned
/// from few images would be too low.
fn filter_of(shape: &Shape, weights: &[f64], template_noise2: f64) -> Filter {
    let with_noise = weights.iter().zip(&shape.template).map(|(w, t)| w * f64::from(*t)).sum::<f64>();
    let template_noise2 = template_noise2.min(MAX_NOISE_SHARE * with_noise);
    let distance2 = with_noise - template_noise2;
    let weights = weights.iter().map(|weight| *weight as f32).collect();
    let parts = TemplateParts::of(&shape.template);
    Filter { weights, cols: shape.template.ncols(), distance2: distance2 as f32, template_noise2, parts }
}

/// Maximum share of a squared distance that is attributed to the noise of the template. Set by judgement.
const MAX_NOISE_SHARE: f64 = 0.5;

/// Normalised correlation of templates with the features at all columns of a row, -1 to 1: sum(t f) /
/// sqrt(sum(t t) sum(f f)); 0 if the template or the cell consists of zeros.
///
/// Each template is given with the index of its row in `found`. Rows are as long as the features are wide;
/// entries of cells that extend beyond the features are not written.
pub fn correlate<'a>(
    templates: impl Iterator<Item = (usize, &'a Array2<f32>)>,
    features: &Array2<f32>,
    top: usize,
    found: &mut [f32],
) {
    let templates: Vec<TemplateRow<'_>> =
        templates.filter_map(|(row, template)| TemplateRow::of(row, template)).collect();
    let rows = templates.first().map_or(0, |template| template.levels.len() / template.cols.max(1));
    let Some(feature_rows) = FeatureRows::of(features, top, (rows, widest(&templates))) else { return };
    feature_rows.products(&templates, found);
    let energies = feature_rows.energies();
    for TemplateRow { levels, cols, row, .. } in templates {
        let tt = dot(levels, levels);
        let products = &mut found[row * features.ncols()..];
        for (product, energies) in products.iter_mut().zip(energies.windows(cols)) {
            let scale = (tt * energies.iter().sum::<f32>()).sqrt();
            *product = if scale > 0.0 { *product / scale } else { 0.0 };
        }
    }
}

/// Normalised correlation of one template at every column at which its cell fits into the features; empty if
/// there is none.
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

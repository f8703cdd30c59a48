//! Built-in faces: decides whether the clip shows a built-in face, and finds how the face appears there.
//!
//! In a single frame, noise and background hide how well a built-in glyph matches. They average out in the
//! mean of all cells that were read as the same character. This mean looks like the glyph, except for the
//! blur of camera and recorder, only if the face is right and the texts were read correctly.

use ndarray::Array2;
use rayon::prelude::*;

use crate::glyphs::Face;
use crate::recognise::decode::Decoder;
use crate::recognise::decode::decoded::Decoded;
use crate::recognise::features::cells::features_at;
use crate::recognise::features::high_pass::HighPass;
use crate::recognise::features::sample::Patch;
use crate::recognise::score::matcher::{Correlator, correlations};
use crate::recognise::templates::alphabet::{Alphabet, high_pass_of, shapes_of};
use crate::recognise::templates::appearance::{Appearance, AppearanceStep, DIRECTIONS};
use crate::recognise::text::grammar::Grammar;
use crate::recognise::text::placement::Placement;

/// Padding around a cell in a [`CharacterMean`], on each side, in working pixels. Set by judgement.
const PADDING_PX: usize = 4;

/// Minimum correlation between the mean cells of the digits and the glyphs of a face, averaged over the
/// digits, at which the face is accepted. Other faces, and misread digits of the right face, correlate less.
/// Set by judgement.
const MIN_CORRELATION: f32 = 0.92;

/// Minimum correlation between the mean cell of a digit and the glyph of a face. Every digit with at least
/// [`FEW_CELLS`] cells must reach it for the face to be accepted. Set by judgement.
const MIN_DIGIT_CORRELATION: f32 = 0.86;
/// Minimum number of cells of a digit for its correlation to be tested by itself. Set by judgement.
const FEW_CELLS: usize = 4;

/// Step sizes, first coarse, then fine, of the search for a face's appearance: its magnification, blur,
/// vertical offset and background. Set by judgement.
const STEPS: [AppearanceStep; 2] = [
    AppearanceStep { magnification: 0.05, blur_px: 0.5, offset_px: 0.5, background: 50.0 },
    AppearanceStep { magnification: 0.02, blur_px: 0.25, offset_px: 0.25, background: 20.0 },
];

/// Grey levels of the background that are tried when a face is tested. Set by judgement.
const BACKGROUNDS: [f32; 6] = [30.0, 70.0, 110.0, 150.0, 190.0, 230.0];

/// The search continues with fine steps for each face whose mean correlation after the coarse steps is at
/// most this far below that of the best face. Set by judgement.
const MAX_CORRELATION_DIFFERENCE: f32 = 0.05;

/// Maximum distance between the rows tried for an appearance and the best row of the appearance before it in
/// the search, in working pixels. Set by judgement.
const MAX_ROW_DISTANCE_PX: usize = 2;

/// Maximum number of iterations of the hill climb for each step size. One iteration tries all neighbouring
/// appearances. Set by judgement.
const MAX_ITERATIONS: usize = 8;

/// Mean of all cells that were read as the same character.
#[derive(Debug, Clone)]
struct CharacterMean {
    character: char,
    /// Mean grey levels of the cell and of the padding around it.
    levels: Array2<f32>,
    cells: usize,
}

/// Means of the cells of the digits that a region's sample shows.
#[derive(Debug, Clone)]
pub(super) struct CharacterMeans {
    means: Vec<CharacterMean>,
    factor: usize,
}

impl CharacterMeans {
    /// Decodes a region's sample, and averages the cells of those texts that fit better than the median.
    pub(super) fn of(
        alphabet: &Alphabet,
        placement: &Placement,
        grammar: &Grammar,
        patches: &[Patch],
    ) -> Self {
        let decoder = Decoder { alphabet, scorer: &Correlator::new(alphabet), grammar, mask: None };
        let read = |patch: &Patch| {
            let levels = patch.levels(alphabet.factor);
            let decoded = decoder.decode(&alphabet.high_pass.apply(&levels), placement)?;
            Some((levels, decoded))
        };
        let mut texts: Vec<(Array2<f32>, Decoded)> = patches.par_iter().filter_map(read).collect();
        texts.sort_by(|a, b| b.1.min_correlation().total_cmp(&a.1.min_correlation()));
        texts.truncate(texts.len().div_ceil(2));
        let mut means = Self { means: Vec::new(), factor: alphabet.factor };
        for (levels, decoded) in &texts {
            means.add(alphabet, placement, levels, decoded);
        }
        means.means.iter_mut().for_each(|mean| mean.levels /= mean.cells as f32);
        means
    }

    fn add(&mut self, alphabet: &Alphabet, placement: &Placement, levels: &Array2<f32>, decoded: &Decoded) {
        let Some(top) = placement.top.checked_sub(PADDING_PX) else { return };
        let size = (alphabet.rows + 2 * PADDING_PX, alphabet.cols + 2 * PADDING_PX);
        for digit in decoded.digits() {
            let Some(cell) = features_at(levels, top, digit.left - PADDING_PX as f32, size) else { continue };
            match self.means.iter_mut().find(|mean| mean.character == digit.character) {
                Some(mean) => {
                    mean.levels += &cell;
                    mean.cells += 1;
                }
                None => {
                    self.means.push(CharacterMean { character: digit.character, levels: cell, cells: 1 });
                }
            }
        }
    }

    /// Whether the sample shows a face with a given appearance, in front of any of the [`BACKGROUNDS`].
    pub(super) fn match_face(&self, face: &Face, appearance: Appearance) -> bool {
        let means = MeanFeatures::of(self, face, appearance);
        let before = |level: &f32| means.fit(face, appearance.with_background(*level), None);
        let fits: Vec<FaceFit> = BACKGROUNDS.par_iter().map(before).collect();
        let best = fits.into_iter().max_by(|a, b| a.overall.total_cmp(&b.overall));
        let Some(FaceFit { overall, each, .. }) = best else { return false };
        let mut often = each.iter().zip(&self.means).filter(|(_, mean)| mean.cells >= FEW_CELLS);
        overall >= MIN_CORRELATION && often.all(|(fit, _)| *fit >= MIN_DIGIT_CORRELATION)
    }

    /// The face and appearance that fit the mean cells best. The search starts from each of the given faces
    /// with its initial appearance. `None` if `faces` is empty.
    pub(super) fn fit_appearance<'a>(
        &self,
        faces: &[(&'a Face, Appearance)],
    ) -> Option<(&'a Face, Appearance)> {
        let [coarse, fine] = STEPS;
        let search = |(face, start): &(&'a Face, Appearance)| {
            let means = MeanFeatures::of(self, face, *start);
            let fit = means.fit(face, *start, None);
            let (appearance, fit) = means.hill_climb(face, (*start, fit), coarse);
            (*face, means, appearance, fit)
        };
        let rough: Vec<_> = faces.par_iter().map(search).collect();
        let best = rough.iter().map(|(.., fit)| fit.overall).fold(-1.0, f32::max);
        let near = rough.into_par_iter().filter(|(.., fit)| fit.overall >= best - MAX_CORRELATION_DIFFERENCE);
        let refined = near.map(|(face, means, appearance, fit)| {
            let (appearance, fit) = means.hill_climb(face, (appearance, fit), fine);
            (face, appearance, fit.overall)
        });
        let refined: Vec<_> = refined.collect();
        let (face, appearance, _) = refined.into_iter().max_by(|a, b| a.2.total_cmp(&b.2))?;
        Some((face, appearance))
    }
}

/// The mean cells as features, for comparison with a face.
struct MeanFeatures<'a> {
    means: &'a CharacterMeans,
    features: Vec<Array2<f32>>,
    high_pass: HighPass,
}

/// How well a face fits the mean cells.
#[derive(Debug, Clone)]
struct FaceFit {
    /// Mean correlation over the characters.
    overall: f32,
    /// Correlation of the mean cell of each character with its glyph, -1 to 1.
    each: Vec<f32>,
    /// Row of the padded mean cells at which the first row of the glyphs fits best.
    top: usize,
}

impl<'a> MeanFeatures<'a> {
    /// Filters the mean cells with the high-pass filter of a face. The filter depends on the magnification in
    /// `appearance`, which need only be approximate.
    fn of(means: &'a CharacterMeans, face: &Face, appearance: Appearance) -> Self {
        let high_pass = high_pass_of(face, appearance, means.factor);
        let features = means.means.iter().map(|mean| high_pass.apply(&mean.levels)).collect();
        Self { means, features, high_pass }
    }

    /// Correlation of every mean cell with the face's glyph of the same character. All glyphs are placed at
    /// the same row of their cells, the one with the highest mean correlation. If `top` is given, only rows
    /// near `top` are tried.
    fn fit(&self, face: &Face, appearance: Appearance, top: Option<usize>) -> FaceFit {
        let means = &self.means.means;
        let glyph_of =
            |mean: &CharacterMean| face.glyphs.iter().find(|glyph| glyph.character == mean.character);
        let size = (face.cell.1, appearance, self.means.factor);
        let shapes = shapes_of(means.iter().filter_map(glyph_of), size, &self.high_pass);
        let cell_rows = shapes.first().map_or(0, |shape| shape.template.nrows());
        let rows = self.features.first().map_or(0, Array2::nrows);
        let last = rows.saturating_sub(cell_rows);
        let tops = top.map_or(0..=last, |top| {
            top.saturating_sub(MAX_ROW_DISTANCE_PX)..=(top + MAX_ROW_DISTANCE_PX).min(last)
        });
        let fit_at = |top: usize| {
            let fit = |(mean, features): (&CharacterMean, &Array2<f32>)| {
                let shape = shapes.iter().find(|shape| shape.character == mean.character)?;
                correlations(&shape.template, features, top).into_iter().reduce(f32::max)
            };
            let each: Vec<f32> =
                means.iter().zip(&self.features).map(|both| fit(both).unwrap_or(-1.0)).collect();
            FaceFit { overall: each.iter().sum::<f32>() / each.len().max(1) as f32, each, top }
        };
        let none = FaceFit { overall: -1.0, each: Vec::new(), top: 0 };
        tops.map(fit_at).max_by(|a, b| a.overall.total_cmp(&b.overall)).unwrap_or(none)
    }

    /// Searches, by hill climbing from a given start, for the [`Appearance`] with which the face has the highest overall
    /// [`FaceFit`]; returns both.
    fn hill_climb(
        &self,
        face: &Face,
        start: (Appearance, FaceFit),
        step: AppearanceStep,
    ) -> (Appearance, FaceFit) {
        let (mut at, mut best) = start;
        for _ in 0..MAX_ITERATIONS {
            let before = at;
            for direction in 0..DIRECTIONS {
                let near = at.neighbours(step)[direction];
                let fit = self.fit(face, near, Some(best.top));
                if fit.overall > best.overall {
                    (best, at) = (fit, near);
                }
            }
            if at == before {
                break;
            }
        }
        (at, best)
    }
}

//! Drawn faces: whether a built-in face is really the one in the clip, and how it looks there.
//!
//! Noise and background hide how well a drawn glyph fits a single frame. The mean of all pictures
//! read as one character shows it: if the face is the right one, the mean looks like the drawing, but
//! for the blur of camera and recorder; if the face is another, or the texts are misread, it does not.

use ndarray::Array2;
use rayon::prelude::*;

use super::alphabet::{Alphabet, Appearance, AppearanceStep, DIRECTIONS, high_pass_of, shapes_of};
use super::calibrate::fit_of;
use super::decode::{Decoded, Decoder, Placement};
use super::feature::HighPass;
use super::grammar::Grammar;
use super::matcher::{Correlator, correlations};
use super::patches::patch_at;
use super::sample::Patch;
use crate::glyphs::Face;

/// Room around a cell in a mean picture, in working pixels.
const ROOM_PX: usize = 4;

/// Mean correlation of the digits' mean pictures with the drawing, from which on the face is believed to
/// be the one in the clip. Other faces reach less, and so do this one's digits if they are misread.
const GENUINE_FIT: f32 = 0.92;

/// The same for every single digit that was seen in a few pictures at least.
const GENUINE_DIGIT_FIT: f32 = 0.86;
const FEW_PICTURES: usize = 4;

/// Changes tried at a time, coarse and fine.
const STEPS: [AppearanceStep; 2] = [
    AppearanceStep { magnification: 0.05, blur_px: 0.5, down_px: 0.5, backdrop: 50.0 },
    AppearanceStep { magnification: 0.02, blur_px: 0.25, down_px: 0.25, backdrop: 20.0 },
];

/// Brightness of the scenery tried behind a face whose appearance is known otherwise.
const BACKDROPS: [f32; 6] = [30.0, 70.0, 110.0, 150.0, 190.0, 230.0];

/// A face that fits so much less than the best one, by coarse steps, is not looked at closely.
const CLOSE_FIT: f32 = 0.05;

/// Rows that the cells may stand off those of an appearance a step away.
const TOP_SLACK: usize = 2;

/// Rounds through all changes made at most with each step.
const ROUNDS: usize = 8;

/// Mean of all pictures read as one character.
#[derive(Debug, Clone)]
struct Mean {
    character: char,
    /// Grey levels, room around the cell included.
    levels: Array2<f32>,
    pictures: usize,
}

/// Means of the characters that a region's sample shows.
#[derive(Debug, Clone)]
pub(super) struct Means {
    means: Vec<Mean>,
    factor: usize,
}

impl Means {
    /// Reads a region's sample with an alphabet and averages the better half of the texts.
    pub(super) fn of(
        alphabet: &Alphabet,
        placement: &Placement,
        grammar: &Grammar,
        patches: &[Patch],
    ) -> Self {
        let decoder = Decoder { alphabet, scorer: &Correlator::new(alphabet), grammar, reach: None };
        let read = |patch: &Patch| {
            let levels = patch.levels(alphabet.factor);
            let decoded = decoder.decode(&alphabet.high_pass.apply(&levels), placement)?;
            Some((levels, decoded))
        };
        let mut texts: Vec<(Array2<f32>, Decoded)> = patches.par_iter().filter_map(read).collect();
        texts.sort_by(|a, b| fit_of(&b.1).total_cmp(&fit_of(&a.1)));
        texts.truncate(texts.len().div_ceil(2));
        let mut means = Self { means: Vec::new(), factor: alphabet.factor };
        for (levels, decoded) in &texts {
            means.add(alphabet, placement, levels, decoded);
        }
        means.means.iter_mut().for_each(|mean| mean.levels /= mean.pictures as f32);
        means
    }

    fn add(&mut self, alphabet: &Alphabet, placement: &Placement, levels: &Array2<f32>, decoded: &Decoded) {
        let Some(top) = placement.top.checked_sub(ROOM_PX) else { return };
        let size = (alphabet.rows + 2 * ROOM_PX, alphabet.cols + 2 * ROOM_PX);
        for place in decoded.places.iter().filter(|place| place.character.is_ascii_digit()) {
            let Some(patch) = patch_at(levels, top, place.left - ROOM_PX as f32, size) else { continue };
            match self.means.iter_mut().find(|mean| mean.character == place.character) {
                Some(mean) => {
                    mean.levels += &patch;
                    mean.pictures += 1;
                }
                None => {
                    self.means.push(Mean { character: place.character, levels: patch, pictures: 1 });
                }
            }
        }
    }

    /// Whether a face, appearing as told but before any scenery, is the one that the sample shows.
    pub(super) fn show(&self, face: &Face, appearance: Appearance) -> bool {
        let seen = Seen::of(self, face, appearance);
        let before = |backdrop: &f32| seen.fit(face, appearance.before(*backdrop), None);
        let fits: Vec<Fit> = BACKDROPS.par_iter().map(before).collect();
        let best = fits.into_iter().max_by(|a, b| a.overall.total_cmp(&b.overall));
        let Some(Fit { overall, each, .. }) = best else { return false };
        let mut often = each.iter().zip(&self.means).filter(|(_, mean)| mean.pictures >= FEW_PICTURES);
        overall >= GENUINE_FIT && often.all(|(fit, _)| *fit >= GENUINE_DIGIT_FIT)
    }

    /// How each of some faces appears if the means are its digits, near the start given with it, and the mean
    /// correlation then: of the face that fits best.
    pub(super) fn appearance<'a>(&self, faces: &[(&'a Face, Appearance)]) -> Option<(&'a Face, Appearance)> {
        let [coarse, fine] = STEPS;
        let search = |(face, start): &(&'a Face, Appearance)| {
            let seen = Seen::of(self, face, *start);
            let fit = seen.fit(face, *start, None);
            let (at, fit) = seen.climbed(face, (*start, fit), coarse);
            (*face, seen, at, fit)
        };
        let roughly: Vec<_> = faces.par_iter().map(search).collect();
        let best = roughly.iter().map(|(.., fit)| fit.overall).fold(-1.0, f32::max);
        let near = roughly.into_par_iter().filter(|(.., fit)| fit.overall >= best - CLOSE_FIT);
        let closely = near.map(|(face, seen, at, fit)| {
            let (at, fit) = seen.climbed(face, (at, fit), fine);
            (face, at, fit.overall)
        });
        let closely: Vec<_> = closely.collect();
        let (face, at, _) = closely.into_iter().max_by(|a, b| a.2.total_cmp(&b.2))?;
        Some((face, at))
    }
}

/// Means as features, to hold a face to.
struct Seen<'a> {
    means: &'a Means,
    features: Vec<Array2<f32>>,
    high_pass: HighPass,
}

/// How well a face fits the means.
#[derive(Debug, Clone)]
struct Fit {
    /// Mean correlation.
    overall: f32,
    /// Correlation of each mean.
    each: Vec<f32>,
    /// Row of the cells' top edge.
    top: usize,
}

impl<'a> Seen<'a> {
    /// High-passed for a face that appears about as told.
    fn of(means: &'a Means, face: &Face, about: Appearance) -> Self {
        let high_pass = high_pass_of(face, about, means.factor);
        let features = means.means.iter().map(|mean| high_pass.apply(&mean.levels)).collect();
        Self { means, features, high_pass }
    }

    /// Correlation of every mean with the face's glyph, all at one row: the best one, near `top` if that is
    /// known.
    fn fit(&self, face: &Face, appearance: Appearance, top: Option<usize>) -> Fit {
        let means = &self.means.means;
        let glyph_of = |mean: &Mean| face.glyphs.iter().find(|glyph| glyph.character == mean.character);
        let size = (face.cell.1, appearance, self.means.factor);
        let shapes = shapes_of(means.iter().filter_map(glyph_of), size, &self.high_pass);
        let cell_rows = shapes.first().map_or(0, |shape| shape.template.nrows());
        let rows = self.features.first().map_or(0, Array2::nrows);
        let last = rows.saturating_sub(cell_rows);
        let tops = top.map_or(0..=last, |top| top.saturating_sub(TOP_SLACK)..=(top + TOP_SLACK).min(last));
        let fit_at = |top: usize| {
            let fit = |(mean, features): (&Mean, &Array2<f32>)| {
                let shape = shapes.iter().find(|shape| shape.character == mean.character)?;
                correlations(&shape.template, features, top).into_iter().reduce(f32::max)
            };
            let each: Vec<f32> =
                means.iter().zip(&self.features).map(|both| fit(both).unwrap_or(-1.0)).collect();
            Fit { overall: each.iter().sum::<f32>() / each.len().max(1) as f32, each, top }
        };
        let none = Fit { overall: -1.0, each: Vec::new(), top: 0 };
        tops.map(fit_at).max_by(|a, b| a.overall.total_cmp(&b.overall)).unwrap_or(none)
    }

    /// The appearance that fits best, a step at a time, and how well.
    fn climbed(&self, face: &Face, start: (Appearance, Fit), step: AppearanceStep) -> (Appearance, Fit) {
        let (mut at, mut best) = start;
        for _ in 0..ROUNDS {
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

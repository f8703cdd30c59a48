//! The static background behind a text: a part of the aircraft in view, or a scene that hardly changes.
//!
//! Noise and moving scenes average out over many frames. A static background does not, and would be learned
//! as a part of the digits in front of it. It is estimated as the mean of the frames, after the texts that
//! were read in them are subtracted, using only pixels that no stroke hides.

use ndarray::{Array2, ArrayView2, Axis};
use pulp::Arch;

/// Minimum number of texts needed to estimate a static background. Set by judgement.
const MIN_TEXTS: usize = 8;

/// Number of texts without any background that are added to the mean, so that it is shrunk towards 0. Set by
/// judgement.
const PRIOR_TEXTS: f32 = 2.0;

/// A stroke hides the background completely where its level exceeds this share of the template's maximum. Set
/// by judgement.
const OPAQUE_SHARE: f32 = 0.6;

/// Number of consecutive texts that are treated as one independent text, since they may be in front of the
/// same scene. Set by judgement.
const TEXTS_PER_SCENE: f32 = 4.0;

/// Minimum share of the energy of the mean background that remains after subtraction of the energy expected
/// from moving scenes, 0 to 1. A background with a larger share is static. Set by judgement.
const MIN_SURPLUS: f32 = 0.5;

/// Minimum and maximum contrast of a region relative to the templates; values outside come from wrong
/// readings. Set by judgement.
pub(crate) const CONTRAST_LIMITS: (f32, f32) = (0.5, 2.0);

/// The static background of a region's text, and the contrast of the text in front of it.
#[derive(Debug, Clone)]
pub(crate) struct Background {
    /// Features of the static background, with the size of the window; `None` if there is none.
    pub(crate) features: Option<Array2<f32>>,
    /// Contrast of the text relative to that of the templates.
    pub(crate) contrast: f32,
}

impl Background {
    /// No static background, and the same contrast as the templates.
    pub(crate) fn none() -> Self {
        Self { features: None, contrast: 1.0 }
    }

    /// Features without the static background, scaled to the contrast of the templates.
    pub(crate) fn subtract_from(&self, features: Array2<f32>) -> Array2<f32> {
        self.subtract(features, self.features.as_ref().map(|background| background.view()))
    }

    /// Some rows of the features without the static background, scaled to the contrast of the templates.
    pub(crate) fn subtract_from_rows(
        &self,
        features: Array2<f32>,
        rows: std::ops::Range<usize>,
    ) -> Array2<f32> {
        let background = self.features.as_ref();
        self.subtract(features, background.map(|background| background.slice_axis(Axis(0), rows.into())))
    }

    fn subtract(&self, mut features: Array2<f32>, background: Option<ArrayView2<'_, f32>>) -> Array2<f32> {
        if background.is_none() && self.contrast == 1.0 {
            return features;
        }
        let share = 1.0 / self.contrast;
        for (row, mut levels) in features.rows_mut().into_iter().enumerate() {
            let Some(levels) = levels.as_slice_mut() else { continue };
            let background = background.as_ref().and_then(|background| background.row(row).to_slice());
            Arch::new().dispatch(|| match background {
                Some(background) => {
                    levels
                        .iter_mut()
                        .zip(background)
                        .for_each(|(level, background)| *level = (*level - background) * share);
                }
                None => levels.iter_mut().for_each(|level| *level *= share),
            });
        }
        features
    }
}

/// A template at its position in a window.
#[derive(Debug, Clone, Copy)]
pub(crate) struct PlacedTemplate<'a> {
    /// Features of the template, rows x columns.
    pub(crate) template: &'a Array2<f32>,
    /// Row of the window at which the template begins.
    pub(crate) top: usize,
    /// Column of the template's left edge in the window, in working pixels.
    pub(crate) left: f32,
}

/// Running sums over the frames of a sample from which the background is estimated.
#[derive(Debug, Clone)]
pub(crate) struct BackgroundEstimate {
    /// Sum of the features without the text, counting only pixels that no stroke hides.
    sum: Array2<f32>,
    /// Sum over the frames of the visible share of the background at each pixel, 0 to 1 for each frame.
    weights: Array2<f32>,
    /// Sum of the squares of the values added to `sum`.
    squares: f32,
    frames: usize,
}

impl BackgroundEstimate {
    /// An estimate from no frames, for a window of `size` (rows, columns).
    pub(crate) fn empty(size: (usize, usize)) -> Self {
        Self { sum: Array2::zeros(size), weights: Array2::zeros(size), squares: 0.0, frames: 0 }
    }

    /// Adds one frame, whose text has `contrast` times the contrast of the templates.
    pub(crate) fn add<'a>(
        &mut self,
        features: &Array2<f32>,
        contrast: f32,
        text: impl Iterator<Item = PlacedTemplate<'a>>,
    ) {
        let (mut rest, mut visible) = (features.clone(), Array2::ones(features.dim()));
        for placed in text {
            subtract_template(placed, contrast, &mut rest, &mut visible);
        }
        visible.mapv_inplace(|share: f32| share.max(0.0));
        rest *= &visible;
        self.squares += rest.iter().map(|level| level * level).sum::<f32>();
        self.sum += &rest;
        self.weights += &visible;
        self.frames += 1;
    }

    /// Adds the frames of another estimate.
    pub(crate) fn merge(&mut self, other: &Self) {
        self.sum += &other.sum;
        self.weights += &other.weights;
        self.squares += other.squares;
        self.frames += other.frames;
    }

    /// Mean features of the background, shrunk towards 0 by [`PRIOR_TEXTS`] texts.
    pub(crate) fn mean(&self) -> Array2<f32> {
        &self.sum / (&self.weights + PRIOR_TEXTS)
    }

    /// Mean features of the background, without the frames of another estimate.
    pub(crate) fn mean_without(&self, excluded: &Self) -> Array2<f32> {
        (&self.sum - &excluded.sum) / (&self.weights - &excluded.weights + PRIOR_TEXTS)
    }

    /// Features of the static background; `None` if the background is not static.
    pub(crate) fn static_background(&self) -> Option<Array2<f32>> {
        if self.frames < MIN_TEXTS {
            return None;
        }
        let (background, frames) = (self.mean(), self.frames as f32);
        let energy = background.iter().map(|level| level * level).sum::<f32>();
        let by_chance = (self.squares / frames - energy).max(0.0) * TEXTS_PER_SCENE / frames;
        (energy - by_chance > MIN_SURPLUS * energy).then_some(background)
    }
}

/// Subtracts a character from the features, and lowers `visible`, the share of the background that is visible at each
/// pixel, where the character's strokes hide the background.
fn subtract_template(
    PlacedTemplate { template, top, left }: PlacedTemplate<'_>,
    contrast: f32,
    features: &mut Array2<f32>,
    visible: &mut Array2<f32>,
) {
    let strongest = template.iter().fold(f32::MIN_POSITIVE, |most, level| most.max(level.abs()));
    let (first, share) = (left.floor().max(0.0) as usize, left - left.floor());
    let rows = features.rows_mut().into_iter().zip(visible.rows_mut()).skip(top);
    for (levels, (mut features, mut visible)) in template.rows().into_iter().zip(rows) {
        let (Some(levels), Some(features), Some(visible)) =
            (levels.to_slice(), features.as_slice_mut(), visible.as_slice_mut())
        else {
            continue;
        };
        for (first, part) in [(first, 1.0 - share), (first + 1, share)] {
            let under = features.iter_mut().zip(visible.iter_mut()).skip(first);
            for (level, (feature, visible)) in levels.iter().zip(under) {
                *feature -= part * contrast * level;
                *visible -= part * (level.abs() / (OPAQUE_SHARE * strongest)).min(1.0);
            }
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    const SIZE: (usize, usize) = (12, 30);

    /// A pseudo-random background; each `number` gives a different one.
    fn background(number: usize) -> Array2<f32> {
        Array2::from_shape_fn(SIZE, |(row, col)| {
            let mixed = (row * 31 + col * 17 + number * 101).wrapping_mul(2_654_435_761) >> 7;
            (mixed % 41) as f32 - 20.0
        })
    }

    /// A digit with one upright stroke, in column `stroke`.
    fn digit(stroke: usize) -> Array2<f32> {
        Array2::from_shape_fn((10, 8), |(_, col)| if col == stroke { 80.0 } else { 0.0 })
    }

    /// The estimate from 24 frames with two changing digits; `background_of_frame` returns the background of
    /// a frame given its index.
    fn estimate(background_of_frame: impl Fn(usize) -> Array2<f32>) -> BackgroundEstimate {
        let digits: Vec<Array2<f32>> = (1..7).map(digit).collect();
        let mut estimate = BackgroundEstimate::empty(SIZE);
        for number in 0..24 {
            let text = [(number % 6, 4.0), ((number / 3) % 6, 14.0)].map(|(digit, left)| PlacedTemplate {
                template: &digits[digit],
                top: 1,
                left,
            });
            let mut features = background_of_frame(number);
            for PlacedTemplate { template, top, left } in text {
                for ((row, col), level) in template.indexed_iter().filter(|(_, level)| **level > 0.0) {
                    features[(top + row, left as usize + col)] = *level;
                }
            }
            estimate.add(&features, 1.0, text.into_iter());
        }
        estimate
    }

    #[test]
    fn a_static_background_is_found_behind_changing_digits() {
        let found = estimate(|_| background(0)).static_background().unwrap();
        let off: f32 = (&found - &background(0)).iter().map(|off| off * off).sum();
        let all: f32 = background(0).iter().map(|level| level * level).sum();
        assert!(off < 0.05 * all, "{off} of {all}");
    }

    #[test]
    fn a_changing_background_is_not_static() {
        assert_eq!(estimate(background).static_background(), None);
    }

    #[test]
    fn the_background_is_subtracted_and_the_contrast_equalised() {
        let found = Background { features: Some(background(0)), contrast: 0.5 };
        let features = background(0) + 40.0;
        assert!(found.subtract_from(features.clone()).iter().all(|level| (level - 80.0).abs() < 1e-3));
        let rows = features.slice_axis(Axis(0), (3..7).into()).to_owned();
        assert!(found.subtract_from_rows(rows, 3..7).iter().all(|level| (level - 80.0).abs() < 1e-3));
    }
}

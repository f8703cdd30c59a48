//! Scenery that stands still behind a text: a part of the aircraft in view, or a view that hardly changes.
//!
//! Noise averages out over many frames, and so does scenery that moves; what stands still does not, and would be
//! taken for a part of the digits that happen to be shown there. What is left of the frames once the texts read
//! in them are taken off, where no stroke hides it, is that scenery.

use ndarray::{Array2, ArrayView2, Axis};
use pulp::Arch;

/// Texts below which nothing is said of the scenery.
const LEAST_TEXTS: usize = 8;

/// Texts with nothing behind them that are reckoned with beside those there are.
const PRIOR_TEXTS: f32 = 2.0;

/// Where a template reaches this share of its strongest level its strokes hide the scenery.
const HIDING_SHARE: f32 = 0.6;

/// Texts next to each other in time may show one view: so many count as one.
const ALIKE_TEXTS: f32 = 4.0;

/// Share of the scenery's energy that must be beyond what scenery that moves leaves in a mean.
const LEAST_SURPLUS: f32 = 0.5;

/// Contrasts outside these limits are put down to readings that are wrong.
pub(crate) const CONTRASTS: (f32, f32) = (0.5, 2.0);

/// What a region's text stands before, and how that changes it.
#[derive(Debug, Clone)]
pub(crate) struct Backdrop {
    /// Features of the scenery that stands still, as large as the window; `None` where none does.
    pub(crate) scenery: Option<Array2<f32>>,
    /// Contrast of the text, over that of the templates.
    pub(crate) contrast: f32,
}

impl Backdrop {
    /// Nothing stands still, and the text is as the templates are.
    pub(crate) fn plain() -> Self {
        Self { scenery: None, contrast: 1.0 }
    }

    /// Features without the scenery, at the contrast of the templates.
    pub(crate) fn bare(&self, features: Array2<f32>) -> Array2<f32> {
        self.bare_beside(features, self.scenery.as_ref().map(|scenery| scenery.view()))
    }

    /// The same of some of the window's rows.
    pub(crate) fn bare_rows(&self, features: Array2<f32>, rows: std::ops::Range<usize>) -> Array2<f32> {
        let scenery = self.scenery.as_ref();
        self.bare_beside(features, scenery.map(|scenery| scenery.slice_axis(Axis(0), rows.into())))
    }

    fn bare_beside(&self, mut features: Array2<f32>, scenery: Option<ArrayView2<'_, f32>>) -> Array2<f32> {
        if scenery.is_none() && self.contrast == 1.0 {
            return features;
        }
        let share = 1.0 / self.contrast;
        for (row, mut levels) in features.rows_mut().into_iter().enumerate() {
            let Some(levels) = levels.as_slice_mut() else { continue };
            let behind = scenery.as_ref().and_then(|scenery| scenery.row(row).to_slice());
            Arch::new().dispatch(|| match behind {
                Some(behind) => {
                    levels
                        .iter_mut()
                        .zip(behind)
                        .for_each(|(level, behind)| *level = (*level - behind) * share);
                }
                None => levels.iter_mut().for_each(|level| *level *= share),
            });
        }
        features
    }
}

/// A character as it stands in a window: its template, and row and column of the template's top left corner.
pub(crate) type Standing<'a> = (&'a Array2<f32>, usize, f32);

/// What is seen behind the texts of some frames, added up.
#[derive(Debug, Clone)]
pub(crate) struct Behind {
    /// Features without those of the text, where no stroke hides them.
    sum: Array2<f32>,
    /// How much of the scenery was seen, 0 to 1 for every frame.
    weights: Array2<f32>,
    /// Sum of the squares of what was added.
    squares: f32,
    frames: usize,
}

impl Behind {
    /// Nothing seen, in a window of so many rows and columns.
    pub(crate) fn nothing(size: (usize, usize)) -> Self {
        Self { sum: Array2::zeros(size), weights: Array2::zeros(size), squares: 0.0, frames: 0 }
    }

    /// Adds what is seen behind the text of a frame, which has `contrast` times that of the templates.
    pub(crate) fn add<'a>(
        &mut self,
        features: &Array2<f32>,
        contrast: f32,
        text: impl Iterator<Item = Standing<'a>>,
    ) {
        let (mut rest, mut clear) = (features.clone(), Array2::ones(features.dim()));
        for standing in text {
            take_off(standing, contrast, &mut rest, &mut clear);
        }
        clear.mapv_inplace(|share: f32| share.max(0.0));
        rest *= &clear;
        self.squares += rest.iter().map(|level| level * level).sum::<f32>();
        self.sum += &rest;
        self.weights += &clear;
        self.frames += 1;
    }

    /// Adds what others saw.
    pub(crate) fn add_all(&mut self, others: &Self) {
        self.sum += &others.sum;
        self.weights += &others.weights;
        self.squares += others.squares;
        self.frames += others.frames;
    }

    /// The features of the scenery, scenery that moves averaged out as far as there are frames.
    pub(crate) fn mean(&self) -> Array2<f32> {
        &self.sum / (&self.weights + PRIOR_TEXTS)
    }

    /// The same without what some of the frames showed.
    pub(crate) fn mean_without(&self, some: &Self) -> Array2<f32> {
        (&self.sum - &some.sum) / (&self.weights - &some.weights + PRIOR_TEXTS)
    }

    /// The features of the scenery; `None` where none stands still.
    pub(crate) fn still(&self) -> Option<Array2<f32>> {
        if self.frames < LEAST_TEXTS {
            return None;
        }
        let (scenery, frames) = (self.mean(), self.frames as f32);
        let energy = scenery.iter().map(|level| level * level).sum::<f32>();
        let by_chance = (self.squares / frames - energy).max(0.0) * ALIKE_TEXTS / frames;
        (energy - by_chance > LEAST_SURPLUS * energy).then_some(scenery)
    }
}

/// Takes a character off the features, and off `clear` where its strokes hide what is behind them.
fn take_off(
    (template, top, left): Standing<'_>,
    contrast: f32,
    features: &mut Array2<f32>,
    clear: &mut Array2<f32>,
) {
    let strongest = template.iter().fold(f32::MIN_POSITIVE, |most, level| most.max(level.abs()));
    let (first, share) = (left.floor().max(0.0) as usize, left - left.floor());
    let rows = features.rows_mut().into_iter().zip(clear.rows_mut()).skip(top);
    for (levels, (mut features, mut clear)) in template.rows().into_iter().zip(rows) {
        let (Some(levels), Some(features), Some(clear)) =
            (levels.to_slice(), features.as_slice_mut(), clear.as_slice_mut())
        else {
            continue;
        };
        for (first, part) in [(first, 1.0 - share), (first + 1, share)] {
            let under = features.iter_mut().zip(clear.iter_mut()).skip(first);
            for (level, (feature, clear)) in levels.iter().zip(under) {
                *feature -= part * contrast * level;
                *clear -= part * (level.abs() / (HIDING_SHARE * strongest)).min(1.0);
            }
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    const SIZE: (usize, usize) = (12, 30);

    /// Scenery that looks arbitrary, one for every number.
    fn scenery(number: usize) -> Array2<f32> {
        Array2::from_shape_fn(SIZE, |(row, col)| {
            let mixed = (row * 31 + col * 17 + number * 101).wrapping_mul(2_654_435_761) >> 7;
            (mixed % 41) as f32 - 20.0
        })
    }

    /// A digit of one upright stroke.
    fn digit(stroke: usize) -> Array2<f32> {
        Array2::from_shape_fn((10, 8), |(_, col)| if col == stroke { 80.0 } else { 0.0 })
    }

    /// What is seen behind frames that show two digits, which change, before the scenery of each frame.
    fn seen(behind_frame: impl Fn(usize) -> Array2<f32>) -> Behind {
        let digits: Vec<Array2<f32>> = (1..7).map(digit).collect();
        let mut behind = Behind::nothing(SIZE);
        for number in 0..24 {
            let text = [(&digits[number % 6], 1, 4.0), (&digits[(number / 3) % 6], 1, 14.0)];
            let mut features = behind_frame(number);
            for (template, top, left) in text {
                for ((row, col), level) in template.indexed_iter().filter(|(_, level)| **level > 0.0) {
                    features[(top + row, left as usize + col)] = *level;
                }
            }
            behind.add(&features, 1.0, text.into_iter());
        }
        behind
    }

    #[test]
    fn scenery_that_stands_still_is_found_behind_digits_that_change() {
        let found = seen(|_| scenery(0)).still().unwrap();
        let off: f32 = (&found - &scenery(0)).iter().map(|off| off * off).sum();
        let all: f32 = scenery(0).iter().map(|level| level * level).sum();
        assert!(off < 0.05 * all, "{off} of {all}");
    }

    #[test]
    fn scenery_that_moves_is_not_taken_for_any() {
        assert_eq!(seen(scenery).still(), None);
    }

    #[test]
    fn features_are_freed_of_scenery_and_brought_to_the_contrast_of_the_templates() {
        let backdrop = Backdrop { scenery: Some(scenery(0)), contrast: 0.5 };
        let features = scenery(0) + 40.0;
        assert!(backdrop.bare(features.clone()).iter().all(|level| (level - 80.0).abs() < 1e-3));
        let rows = features.slice_axis(Axis(0), (3..7).into()).to_owned();
        assert!(backdrop.bare_rows(rows, 3..7).iter().all(|level| (level - 80.0).abs() < 1e-3));
    }
}

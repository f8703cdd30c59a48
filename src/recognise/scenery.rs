//! Scenery that stands still behind a text: a part of the aircraft in view, or a view that hardly changes.
//!
//! Noise averages out over many frames, and so does scenery that moves; what stands still does not, and would be
//! taken for a part of the digits that happen to be shown there. What is left of the frames once the texts read
//! in them are taken off, where no stroke hides it, is that scenery.

use ndarray::{Array2, Axis};

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
    for (row, levels) in (top..).zip(template.axis_iter(Axis(0))) {
        for (col, level) in (first..).zip(levels) {
            for (col, part) in [(col, 1.0 - share), (col + 1, share)] {
                let at = (row, col);
                if let (Some(features), Some(clear)) = (features.get_mut(at), clear.get_mut(at)) {
                    *features -= part * contrast * level;
                    *clear -= part * (level.abs() / (HIDING_SHARE * strongest)).min(1.0);
                }
            }
        }
    }
}

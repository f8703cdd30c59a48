//! Recognises digits that never change: they look like digits that do change elsewhere.

use super::correlation::scale_to_one;
use super::line_strip::LineStrip;
use super::plane::Plane;
use super::text_lines::trimmed;
use crate::geometry::PixelRect;

/// Glyphs of this height in pixels are compared at every column, those of twice this height at every other column, and
/// so on: wide strokes still agree if they are off by a pixel.
const PX_PER_STEP: u32 = 16;
/// Maximum difference between heights of the same type size, as a share of the larger one.
const MAX_HEIGHT_DIFFERENCE: f32 = 0.2;

/// A part of a line whose digits change.
struct DigitSample<'a> {
    strip: &'a LineStrip,
    rect: PixelRect,
}

/// All parts of the lines whose digits change.
pub(super) struct DigitSamples<'a> {
    strength: &'a Plane,
    samples: Vec<DigitSample<'a>>,
}

impl<'a> DigitSamples<'a> {
    /// Samples from rectangles, each with the strip of its line.
    pub(super) fn new(strength: &'a Plane, parts: impl Iterator<Item = (&'a LineStrip, PixelRect)>) -> Self {
        let sample = |(strip, rect)| DigitSample { strip, rect: trimmed(rect, strength) };
        Self { strength, samples: parts.map(sample).collect() }
    }

    /// The strength of the persistent gradients.
    pub(super) fn strength(&self) -> &Plane {
        self.strength
    }

    /// The highest correlation of a glyph with a digit of the same type size; 0 if there is no sample of that size.
    pub(super) fn best_correlation(&self, strip: &LineStrip, glyph: PixelRect) -> f32 {
        let glyph = trimmed(glyph, self.strength);
        let template = mean_patch(strip, glyph);
        let same_size = self.samples.iter().filter(|sample| is_same_size(sample.rect, glyph));
        let best = |sample: &DigitSample<'_>| sample.strip.best_match(&template, windows(sample.rect, glyph));
        same_size.map(best).fold(0.0, f32::max)
    }
}

/// The windows of a glyph's size in a sample, up to two pixels higher or lower.
fn windows(sample: PixelRect, glyph: PixelRect) -> impl Iterator<Item = PixelRect> {
    let step = (glyph.height / PX_PER_STEP).max(1) as usize;
    let columns = (sample.left..=sample.right().saturating_sub(glyph.width)).step_by(step);
    columns.flat_map(move |left| {
        (sample.top.saturating_sub(2)..=sample.top + 2)
            .map(move |top| PixelRect::new(left, top, glyph.width, glyph.height))
    })
}

/// The mean of what all frames show in a glyph's rectangle, scaled to a sum of squares of 1.
fn mean_patch(strip: &LineStrip, glyph: PixelRect) -> Vec<f32> {
    let mut mean = vec![0.0; (glyph.width * glyph.height) as usize];
    for patch in strip.patches(glyph) {
        mean.iter_mut().zip(patch).for_each(|(sum, value)| *sum += value);
    }
    scale_to_one(&mut mean);
    mean
}

fn is_same_size(one: PixelRect, other: PixelRect) -> bool {
    let (low, high) = (one.height.min(other.height) as f32, one.height.max(other.height) as f32);
    high - low <= MAX_HEIGHT_DIFFERENCE * high
}

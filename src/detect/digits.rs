//! The digits seen to change, to know other digits by.

use super::change::{Strip, scale_to_one};
use super::lines::tight;
use super::plane::Plane;
use crate::geometry::PixelRect;

/// From twice this height on, glyphs are compared at every other column only, and so on.
const COARSE_PX: u32 = 16;
/// Heights of lines in one font differ by less than this share.
const SAME_FONT: f32 = 0.2;

/// Places where digits change.
pub(super) struct Digits<'a> {
    strength: &'a Plane,
    places: Vec<(&'a Strip, PixelRect)>,
}

impl<'a> Digits<'a> {
    /// Learns from places, each with the strip that it lies in.
    pub(super) fn in_places(
        strength: &'a Plane,
        places: impl Iterator<Item = (&'a Strip, PixelRect)>,
    ) -> Self {
        Self { strength, places: places.map(|(strip, place)| (strip, tight(place, strength))).collect() }
    }

    /// The ghost that the digits were found in.
    pub(super) fn strength(&self) -> &Plane {
        self.strength
    }

    /// How much a glyph looks like the digit most like it in the same font: correlation, 0 where
    /// there is no other text of this height.
    pub(super) fn likeness(&self, strip: &Strip, glyph: PixelRect) -> f32 {
        let glyph = tight(glyph, self.strength);
        let template = mean_patch(strip, glyph);
        let alike = self.places.iter().filter(|(_, place)| same_font(*place, glyph));
        alike.map(|(strip, place)| strip.best_match(&template, windows(*place, glyph))).fold(0.0, f32::max)
    }
}

/// The windows of a glyph's size within a place, a pixel or two up and down included.
fn windows(place: PixelRect, glyph: PixelRect) -> impl Iterator<Item = PixelRect> {
    // Wide strokes still agree when they are off by a pixel.
    let step = (glyph.height / COARSE_PX).max(1) as usize;
    let columns = (place.left..=place.right().saturating_sub(glyph.width)).step_by(step);
    columns.flat_map(move |left| {
        (place.top.saturating_sub(2)..=place.top + 2)
            .map(move |top| PixelRect::new(left, top, glyph.width, glyph.height))
    })
}

fn mean_patch(strip: &Strip, glyph: PixelRect) -> Vec<f32> {
    let mut mean = vec![0.0; (glyph.width * glyph.height) as usize];
    for patch in strip.patches(glyph) {
        mean.iter_mut().zip(patch).for_each(|(sum, value)| *sum += value);
    }
    scale_to_one(&mut mean);
    mean
}

fn same_font(one: PixelRect, other: PixelRect) -> bool {
    let (low, high) = (one.height.min(other.height) as f32, one.height.max(other.height) as f32);
    high - low <= SAME_FONT * high
}

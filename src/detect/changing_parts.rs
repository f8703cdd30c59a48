//! Finds the areas of the overlay whose text changes, where edges are present in some frames only, and the areas whose
//! text never changes.

use image::{GrayImage, Luma};
use imageproc::region_labelling::{Connectivity, connected_components};

use super::gradients::PersistentGradients;
use crate::geometry::PixelRect;
use crate::stats::nearest_rank;

/// Quantile of the edge strengths above 0 that is used as the strength of the strongest text of the overlay.
const STRONG_QUANTILE: f32 = 0.995;
/// Minimum edge strengths of text, as shares of the strength of the strongest text; each of them is tried. Low ones
/// are needed because each digit is shown in some of the frames only.
const STRENGTH_SHARES: [f32; 4] = [0.08, 0.16, 0.3, 0.5];
/// Maximum presence of the edges of digits that change, as shares of the frames; each of them is tried. The edges of
/// captions reach less than 1 because scenery hides them in some frames.
const MAX_PRESENCES: [f32; 3] = [0.55, 0.7, 0.85];
/// Minimum presence of the edges of text that never changes, as a share of the frames, 0 to 1.
const MIN_CONSTANT_PRESENCE: f32 = 0.5;
/// Minimum intersection of two areas that are the same area found twice, as a share of their union.
const SAME_AREA_SHARE: f32 = 0.9;
/// Minimum width and height of a connected part of a text, in pixels; smaller ones are ignored.
const MIN_PART_PX: (u32, u32) = (3, 5);
/// Maximum number of connected parts that are joined to values; the largest parts are kept. The limit bounds the
/// computing time if the clip has moving patterns.
const MAX_PARTS: usize = 600;
/// Maximum gap between two parts of a value, in heights of the taller part.
const MAX_GAP_HEIGHTS: f32 = 0.35;
/// Minimum overlap of two parts of a value. For parts side by side: their common rows as a share of the smaller
/// height. For parts one above the other: their common columns as a share of the smaller width.
const MIN_SHARED_EXTENT: f32 = 0.6;
/// Maximum height of the rectangle around two parts side by side, as a multiple of the height of the taller part.
const MAX_JOINED_HEIGHT: f32 = 1.3;
/// Maximum height of the rectangle around two parts of one digit, one above the other, as a multiple of the width of
/// the wider part.
const MAX_DIGIT_HEIGHT: f32 = 2.6;
/// Minimum and maximum height of a value that changes, in pixels.
const HEIGHT_PX: (u32, u32) = (7, 240);
/// Minimum and maximum width of the changing part of a value, as multiples of the height of that part.
const WIDTH_HEIGHTS: (f32, f32) = (0.22, 9.0);

/// Areas of text that changes, found with each minimum strength ([`STRENGTH_SHARES`]) combined with each maximum
/// presence ([`MAX_PRESENCES`]). An area is one value, a part of a value, or a value joined with its surroundings.
/// Areas found with different limits may overlap.
pub(super) fn find_changing(gradients: &PersistentGradients) -> Vec<PixelRect> {
    let strongest = strongest_text(gradients);
    let limits = STRENGTH_SHARES
        .iter()
        .flat_map(|share| MAX_PRESENCES.iter().map(move |presence| (share * strongest, *presence)));
    // One after the other, because labelling a mask takes 25 times the memory of a frame.
    let areas = limits.flat_map(|(strength, presence)| {
        areas_within(gradients, strength, |shown| shown > 0.0 && shown < presence, belong_together)
    });
    distinct(areas.collect())
}

/// Finds the areas of text that never changes.
pub(super) fn find_constant(gradients: &PersistentGradients) -> Vec<PixelRect> {
    let strongest = strongest_text(gradients);
    let areas = STRENGTH_SHARES.iter().flat_map(|share| {
        areas_within(gradients, share * strongest, |presence| presence >= MIN_CONSTANT_PRESENCE, in_line)
    });
    distinct(areas.collect())
}

/// Strength of the strongest text of the overlay, in grey levels over two pixels: a high quantile of the strengths
/// above 0.
fn strongest_text(gradients: &PersistentGradients) -> f32 {
    let mut strengths: Vec<f32> =
        gradients.strength.values.iter().copied().filter(|value| *value > 0.0).collect();
    nearest_rank(&mut strengths, STRONG_QUANTILE)
}

/// Removes areas that nearly equal another one ([`SAME_AREA_SHARE`]).
fn distinct(mut areas: Vec<PixelRect>) -> Vec<PixelRect> {
    let mut distinct: Vec<PixelRect> = Vec::new();
    areas.sort_by_key(|area| (area.top, area.left, area.width));
    for area in areas {
        let is_same = |other: &PixelRect| {
            area.overlap_px(*other) as f32 >= SAME_AREA_SHARE * area.union(*other).area_px() as f32
        };
        if !distinct.iter().any(is_same) {
            distinct.push(area);
        }
    }
    distinct
}

/// The areas of pixels whose edges have at least the strength `least` and a presence that satisfies `is_wanted`.
/// Connected parts are joined to one area if `belong_together` is true for them.
fn areas_within(
    gradients: &PersistentGradients,
    least: f32,
    is_wanted: impl Fn(f32) -> bool,
    belong_together: impl Fn(PixelRect, PixelRect) -> bool,
) -> Vec<PixelRect> {
    let belongs = |index: usize| {
        let strength = gradients.strength.values.get(index).copied().unwrap_or(0.0);
        let presence = gradients.presence.values.get(index).copied().unwrap_or(0.0);
        strength > 0.0 && strength >= least && is_wanted(presence)
    };
    let (width, height) = (gradients.strength.width, gradients.strength.height);
    let mask = GrayImage::from_fn(width as u32, height as u32, |x, y| {
        Luma([u8::from(belongs(y as usize * width + x as usize))])
    });
    let mut parts = connected_parts(&mask);
    parts.retain(|(rect, _)| {
        rect.width >= MIN_PART_PX.0 && rect.height >= MIN_PART_PX.1 && rect.height <= HEIGHT_PX.1
    });
    parts.sort_by_key(|(_, pixels)| std::cmp::Reverse(*pixels));
    parts.truncate(MAX_PARTS);
    let mut areas: Vec<PixelRect> = Vec::new();
    for (part, _) in parts {
        let mut joined = part;
        while let Some(at) = areas.iter().position(|area| belong_together(*area, joined)) {
            joined = joined.union(areas.swap_remove(at));
        }
        areas.push(joined);
    }
    areas.retain(|area| {
        let width = area.width as f32 / area.height as f32;
        (HEIGHT_PX.0..=HEIGHT_PX.1).contains(&area.height)
            && (WIDTH_HEIGHTS.0..=WIDTH_HEIGHTS.1).contains(&width)
    });
    areas
}

/// Whether two parts belong to one value: side by side in one line, or above each other in one digit.
fn belong_together(one: PixelRect, other: PixelRect) -> bool {
    in_line(one, other) || in_digit(one, other)
}

/// Whether two parts are side by side in one line.
fn in_line(one: PixelRect, other: PixelRect) -> bool {
    let (lower, higher) = (one.height.min(other.height) as f32, one.height.max(other.height) as f32);
    one.column_gap(other) as f32 <= MAX_GAP_HEIGHTS * higher
        && one.shared_rows(other) as f32 >= MIN_SHARED_EXTENT * lower
        && one.union(other).height as f32 <= MAX_JOINED_HEIGHT * higher
}

/// Whether two parts belong to one digit, one above the other.
fn in_digit(one: PixelRect, other: PixelRect) -> bool {
    let joined = one.union(other);
    let lower = one.height.min(other.height) as f32;
    let (narrower, wider) = (one.width.min(other.width) as f32, one.width.max(other.width) as f32);
    let row_gap = one.top.max(other.top).saturating_sub(one.bottom().min(other.bottom()));
    one.shared_columns(other) as f32 >= MIN_SHARED_EXTENT * narrower
        && joined.height as f32 <= MAX_DIGIT_HEIGHT * wider
        && row_gap as f32 <= 0.25 * joined.height as f32
        && lower <= 0.8 * joined.height as f32
}

/// The bounding boxes of the connected areas of a mask, with their numbers of pixels.
fn connected_parts(mask: &GrayImage) -> Vec<(PixelRect, u32)> {
    let mut parts: Vec<Option<(PixelRect, u32)>> = Vec::new();
    for (x, y, Luma([label])) in
        connected_components(mask, Connectivity::Eight, Luma([0u8])).enumerate_pixels()
    {
        let Some(index) = (*label as usize).checked_sub(1) else { continue };
        if parts.len() <= index {
            parts.resize(index + 1, None);
        }
        let pixel = PixelRect::new(x, y, 1, 1);
        if let Some(part) = parts.get_mut(index) {
            *part = Some(part.map_or((pixel, 1), |(rect, count)| (rect.union(pixel), count + 1)));
        }
    }
    parts.into_iter().flatten().collect()
}

//! Removes the static background behind labelled texts and scales all texts to the same contrast.
//!
//! The background is what stays in place while the text changes. Strokes have less contrast in front of a
//! bright background.

use std::collections::BTreeMap;

use ndarray::Array2;

use crate::learn::cut::character::CharacterCut;
use crate::learn::group::size_group::{RegionExamples, SizeGroup};
use crate::recognise::{Background, BackgroundEstimate, CONTRAST_LIMITS, PlacedTemplate, features_at};

/// Minimum number of training examples of a region for separating static background from moving scenery (set
/// by judgement).
const MIN_EXAMPLES: usize = 4;

/// Number of iterations: the background depends on the glyphs, and the glyphs on the background (set by judgement).
const ITERATIONS: usize = 3;

/// Mean features of each character.
type MeanCells = BTreeMap<char, Array2<f32>>;

/// Removes from each example the background, which is estimated from the *other* examples of its region. Estimated
/// from the example itself, the background would contain the difference between a wrong label and its image. `cuts`
/// are the aligned characters of the group.
pub(crate) fn remove_static_background(group: &mut SizeGroup<'_>, cuts: &[CharacterCut]) {
    let full: Vec<Vec<Array2<f32>>> = group.regions.iter().map(|region| region.features.clone()).collect();
    for _ in 0..ITERATIONS {
        let glyphs = mean_cells(group, cuts);
        for (number, (region, full)) in group.regions.iter_mut().zip(&full).enumerate() {
            if full.len() >= MIN_EXAMPLES {
                let own: Vec<&CharacterCut> = cuts.iter().filter(|cut| cut.region == number).collect();
                remove_from_region(region, full, &own, &glyphs);
            }
        }
    }
}

/// Removes the background from one region; `full` holds its features with the background.
fn remove_from_region(
    region: &mut RegionExamples<'_>,
    full: &[Array2<f32>],
    cuts: &[&CharacterCut],
    glyphs: &MeanCells,
) {
    let Some(size) = full.first().map(Array2::dim) else { return };
    let relative = relative_contrast(&region.features, cuts, glyphs);
    let contrast = (region.background.contrast * relative).clamp(CONTRAST_LIMITS.0, CONTRAST_LIMITS.1);
    let mut all = BackgroundEstimate::empty(size);
    let mut singly = vec![BackgroundEstimate::empty(size); full.len()];
    for (example, (features, alone)) in full.iter().zip(&mut singly).enumerate() {
        let cuts = cuts.iter().filter(|cut| cut.example == example);
        let text = cuts.filter_map(|cut| {
            Some(PlacedTemplate { template: glyphs.get(&cut.character)?, top: cut.top, left: cut.left })
        });
        alone.add(features, contrast, text);
        all.merge(alone);
    }
    region.background = Background { features: Some(all.mean()), contrast };
    let bare =
        |(full, alone): (&Array2<f32>, &BackgroundEstimate)| (full - all.mean_without(alone)) / contrast;
    region.features = full.iter().zip(&singly).map(bare).collect();
}

/// Contrast of the characters of a region relative to their glyphs, fitted by least squares over all pixels: 1 for
/// equal contrast, or if no character can be compared. `features` has an entry for each training example.
fn relative_contrast(features: &[Array2<f32>], cuts: &[&CharacterCut], glyphs: &MeanCells) -> f32 {
    let (mut along, mut squares) = (0.0, 0.0);
    for cut in cuts {
        let cell =
            features.get(cut.example).and_then(|f| features_at(f, cut.top, cut.left, cut.features.dim()));
        if let (Some(cell), Some(glyph)) = (cell, glyphs.get(&cut.character))
            && cell.dim() == glyph.dim()
        {
            along += (&cell * glyph).sum();
            squares += (glyph * glyph).sum();
        }
    }
    if squares > 0.0 { along / squares } else { 1.0 }
}

/// For each character, the mean of its cells.
fn mean_cells(group: &SizeGroup<'_>, cuts: &[CharacterCut]) -> MeanCells {
    let mut sums: BTreeMap<char, (Array2<f32>, f32)> = BTreeMap::new();
    for cut in cuts {
        let Some(features) = cut.features_in(group) else { continue };
        let (sum, count) = sums.entry(cut.character).or_insert_with(|| (Array2::zeros(features.dim()), 0.0));
        if sum.dim() == features.dim() {
            *sum += &features;
            *count += 1.0;
        }
    }
    sums.into_iter().map(|(character, (sum, count))| (character, sum / count)).collect()
}

//! The scenery that stands still behind told texts: it is taken off, and all texts are brought to one contrast,
//! before shapes are learnt or compared. Strokes stand out less before bright scenery.

use std::collections::BTreeMap;

use ndarray::Array2;

use super::align::CharacterCut;
use super::group::Group;
use crate::recognise::{Background, BackgroundEstimate, CONTRAST_LIMITS, PlacedTemplate, patch_at};

/// Told readings of a region below which scenery that stands still is not told from scenery that moves.
const LEAST_TOLD: usize = 4;

/// Rounds: the scenery follows from the shapes, and these from it.
const ROUNDS: usize = 3;

/// Shapes of characters.
type Shapes = BTreeMap<char, Array2<f32>>;

/// Takes off the pictures of every reading the scenery that the region's other readings show, so that a wrong
/// telling cannot explain itself; `cuts` are the characters of the group as they stand.
pub(super) fn take_off(group: &mut Group<'_>, cuts: &[CharacterCut]) {
    let full: Vec<Vec<Array2<f32>>> = group.regions.iter().map(|told| told.features.clone()).collect();
    for _ in 0..ROUNDS {
        let shapes = mean_shapes(group, cuts);
        for (region, (told, full)) in group.regions.iter_mut().zip(&full).enumerate() {
            let Some(size) = full.first().filter(|_| full.len() >= LEAST_TOLD).map(Array2::dim) else {
                continue;
            };
            let own: Vec<&CharacterCut> = cuts.iter().filter(|cut| cut.region == region).collect();
            let relative = contrast(&told.features, &own, &shapes);
            let contrast = (told.backdrop.contrast * relative).clamp(CONTRAST_LIMITS.0, CONTRAST_LIMITS.1);
            let mut all = BackgroundEstimate::empty(size);
            let mut singly = vec![BackgroundEstimate::empty(size); full.len()];
            for (moment, (features, alone)) in full.iter().zip(&mut singly).enumerate() {
                let cuts = own.iter().filter(|cut| cut.moment == moment);
                let text = cuts.filter_map(|cut| {
                    Some(PlacedTemplate {
                        template: shapes.get(&cut.character)?,
                        top: cut.top,
                        left: cut.left,
                    })
                });
                alone.add(features, contrast, text);
                all.merge(alone);
            }
            told.backdrop = Background { features: Some(all.mean()), contrast };
            let bare = |(full, alone): (&Array2<f32>, &BackgroundEstimate)| {
                (full - all.mean_without(alone)) / contrast
            };
            told.features = full.iter().zip(&singly).map(bare).collect();
        }
    }
}

/// Contrast of characters over that of their shapes: least squares over all of them.
fn contrast(features: &[Array2<f32>], cuts: &[&CharacterCut], shapes: &Shapes) -> f32 {
    let (mut along, mut length2) = (0.0, 0.0);
    for cut in cuts {
        let cell = features.get(cut.moment).and_then(|f| patch_at(f, cut.top, cut.left, cut.features.dim()));
        if let (Some(cell), Some(shape)) = (cell, shapes.get(&cut.character))
            && cell.dim() == shape.dim()
        {
            along += (&cell * shape).sum();
            length2 += (shape * shape).sum();
        }
    }
    if length2 > 0.0 { along / length2 } else { 1.0 }
}

/// The mean of every character's cuts.
fn mean_shapes(group: &Group<'_>, cuts: &[CharacterCut]) -> Shapes {
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

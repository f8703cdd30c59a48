//! The scenery that stands still behind told texts, taken off before shapes are learnt or compared.

use std::collections::BTreeMap;

use ndarray::Array2;

use super::Group;
use super::align::CharacterCut;
use crate::recognise::Behind;

/// Told readings of a region below which scenery that stands still is not told from scenery that moves.
const LEAST_TOLD: usize = 4;

/// Rounds: the scenery follows from the shapes, and these from it.
const ROUNDS: usize = 3;

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
            let own = |moment: usize| cuts.iter().filter(move |cut| (cut.region, cut.moment) == (region, moment));
            let mut all = Behind::nothing(size);
            let mut singly = vec![Behind::nothing(size); full.len()];
            for (moment, (features, alone)) in full.iter().zip(&mut singly).enumerate() {
                let text = || own(moment).filter_map(|cut| Some((shapes.get(&cut.character)?, cut.top, cut.left)));
                all.add(features, text());
                alone.add(features, text());
            }
            told.scenery = Some(all.mean());
            told.features = full.iter().zip(&singly).map(|(full, alone)| full - all.mean_without(alone)).collect();
        }
    }
}

/// The mean of every character's cuts.
fn mean_shapes(group: &Group<'_>, cuts: &[CharacterCut]) -> BTreeMap<char, Array2<f32>> {
    let mut sums: BTreeMap<char, (Array2<f32>, f32)> = BTreeMap::new();
    for cut in cuts {
        let Some(features) = cut.features_in(group) else { continue };
        let (sum, count) =
            sums.entry(cut.character).or_insert_with(|| (Array2::zeros(features.dim()), 0.0));
        if sum.dim() == features.dim() {
            *sum += &features;
            *count += 1.0;
        }
    }
    sums.into_iter().map(|(character, (sum, count))| (character, sum / count)).collect()
}

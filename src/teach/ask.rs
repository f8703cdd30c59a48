//! What to tell next: moments that show shapes no told reading had.

use ndarray::Array2;

use crate::recognise::feature::HighPass;
use crate::recognise::{Patch, Recogniser, Sample, Shown, correlation};
use crate::setup::Region;

use super::Ask;

/// Moments asked for at most.
const MOST_ASKED: usize = 6;

/// Moments nearer than this to one already asked for show little new, in seconds.
const LEAST_DISTANCE_S: f64 = 0.8;

/// Pictures of one region that correlate more than this show the same text.
const SAME_TEXT: f32 = 0.9;

/// Width of a digit's cell that the pictures are compared with, in pixels: any usual one will do.
const CELL_PX: f32 = 14.0;

/// What a picture shows: the region, the best guess at the text, the features.
type Shows = (usize, String, Array2<f32>);

/// Picks the sampled moments whose text is least known, apart from each other in time and
/// showing different texts.
pub(super) fn ask_next(regions: &[Region], recogniser: &Recogniser, sample: &Sample) -> Vec<Ask> {
    let mut unknown: Vec<(f32, usize, usize)> = Vec::new();
    for (region, patches) in sample.regions.iter().enumerate() {
        for (number, patch) in patches.iter().enumerate() {
            if let Some(fit) = recogniser.least_fit(region, patch) {
                unknown.push((fit, region, number));
            }
        }
    }
    unknown.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut asked: Vec<Ask> = Vec::new();
    let mut shown: Vec<Shows> = Vec::new();
    for (_, region, number) in unknown {
        let patch = &sample.regions[region][number];
        let channel = &regions[region].channel;
        let near =
            |ask: &Ask| ask.channel == *channel && (ask.time_s - patch.time_s).abs() < LEAST_DISTANCE_S;
        let Shown::Unclear { text, .. } = recogniser.read_patch(region, patch) else { continue };
        let shows = (region, text, features(patch));
        if asked.iter().any(near) || shown.iter().any(|other| same_text(other, &shows)) {
            continue;
        }
        shown.push(shows);
        asked.push(Ask { channel: channel.clone(), time_s: patch.time_s, picture: patch.crop() });
        if asked.len() == MOST_ASKED {
            break;
        }
    }
    asked
}

/// Moments of one channel offered before anything is told, at most.
const FIRST_OF_A_CHANNEL: usize = 6;

/// Moments to tell first, when no shape is known yet: of each region some of the sample that look different
/// from each other, spread over the clip.
#[must_use]
pub fn ask_first(regions: &[Region], sample: &Sample) -> Vec<Ask> {
    let mut asked = Vec::new();
    for (region, patches) in regions.iter().zip(&sample.regions) {
        let mut shown: Vec<Array2<f32>> = Vec::new();
        let step = patches.len().div_ceil(4 * FIRST_OF_A_CHANNEL).max(1);
        for patch in patches.iter().step_by(step) {
            let features = features(patch);
            if shown.len() < FIRST_OF_A_CHANNEL
                && shown.iter().all(|other| correlation(other, &features) <= SAME_TEXT)
            {
                shown.push(features);
                let (channel, time_s) = (region.channel.clone(), patch.time_s);
                asked.push(Ask { channel, time_s, picture: patch.crop() });
            }
        }
    }
    asked
}

fn features(patch: &Patch) -> Array2<f32> {
    HighPass::for_cell_width(CELL_PX).apply(&patch.levels(1))
}

fn same_text((region, text, features): &Shows, (other, other_text, other_features): &Shows) -> bool {
    region == other && (text == other_text || correlation(features, other_features) > SAME_TEXT)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shows(region: usize, text: &str, phase: usize) -> Shows {
        let features = Array2::from_shape_fn((8, 8), |(row, col)| ((row + phase * col) % 3) as f32 - 1.0);
        (region, text.to_owned(), features)
    }

    #[test]
    fn two_pictures_of_one_text_are_not_both_asked_for() {
        assert!(same_text(&shows(0, "1327", 1), &shows(0, "1327", 2)));
        assert!(same_text(&shows(0, "1327", 1), &shows(0, "1321", 1)));
        assert!(!same_text(&shows(0, "1327", 1), &shows(0, "1328", 2)));
        assert!(!same_text(&shows(0, "15", 1), &shows(1, "15", 1)));
    }
}

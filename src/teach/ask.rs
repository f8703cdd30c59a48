//! What to tell next: moments that show shapes no told reading had.

use crate::recognise::{Recogniser, Sample, Shown};
use crate::setup::Region;

use super::Ask;

/// Moments asked for at most.
const MOST_ASKED: usize = 6;

/// Moments nearer than this to one already asked for show little new, in seconds.
const LEAST_DISTANCE_S: f64 = 0.8;

/// Picks the sampled moments whose text is least known, apart from each other in time.
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
    for (_, region, number) in unknown {
        let patch = &sample.regions[region][number];
        let channel = &regions[region].channel;
        let near =
            |ask: &Ask| ask.channel == *channel && (ask.time_s - patch.time_s).abs() < LEAST_DISTANCE_S;
        let readable = matches!(recogniser.read_patch(region, patch), Shown::Text { .. });
        if readable || asked.iter().any(near) {
            continue;
        }
        asked.push(Ask { channel: channel.clone(), time_s: patch.time_s, picture: patch.crop() });
        if asked.len() == MOST_ASKED {
            break;
        }
    }
    asked
}

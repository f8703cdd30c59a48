//! What to label next: moments that show digits no labelled reading had.

use ndarray::Array2;
use rayon::prelude::*;

use crate::recognise::HighPass;
use crate::recognise::{Patch, Recogniser, RegionReading, Sample, correlation};
use crate::setup::Region;

use super::LabelRequest;

/// Moments asked for at most.
const MOST_ASKED: usize = 6;

/// Probable digits not known that a moment must show at least.
const LEAST_GAIN: f32 = 0.15;

/// Moments nearer than this to one already asked for show little new, in seconds.
const LEAST_DISTANCE_S: f64 = 0.8;

/// Pictures of one region that correlate more than this show the same text.
const SAME_TEXT: f32 = 0.9;

/// Width of a digit's cell that the pictures are compared with, in pixels: any usual one will do.
const CELL_PX: f32 = 14.0;

/// What a picture shows: the region, the best guess at the text, the features.
type Shows = (usize, String, Array2<f32>);

/// A sampled moment that may show digits not known.
struct Candidate {
    region: usize,
    number: usize,
    /// Probability by shape alone that it shows each digit, 0 to 9; 0 for those known.
    shows: [f32; 10],
}

/// The sampled moments to label next: first those that by the shapes of their digits show most of those missing, then
/// those whose text is least known; apart from each other in time and showing different texts.
pub(super) fn requests(regions: &[Region], recogniser: &Recogniser, sample: &Sample) -> Vec<LabelRequest> {
    let mut asked = Asked { regions, recogniser, sample, asks: Vec::new(), shown: Vec::new() };
    let candidates = candidates(regions, recogniser, sample);
    let mut wanted = vec![[1.0_f32; 10]; regions.len()];
    while asked.asks.len() < MOST_ASKED {
        let gain = |candidate: &Candidate| -> f32 {
            let wanted = &wanted[candidate.region];
            candidate.shows.iter().zip(wanted).map(|(shows, wanted)| shows * wanted).sum()
        };
        let rated = candidates.iter().map(|candidate| (gain(candidate), candidate));
        let rated = rated.filter(|(gain, candidate)| {
            *gain > LEAST_GAIN && !asked.is_near(candidate.region, candidate.number)
        });
        let Some((_, best)) = rated.max_by(|one, other| one.0.total_cmp(&other.0)) else { break };
        asked.add(best.region, best.number);
        // Regions written in one face share its digits.
        let same_face = (0..regions.len()).filter(|other| recogniser.share_face(best.region, *other));
        for region in same_face {
            wanted[region].iter_mut().zip(&best.shows).for_each(|(wanted, shows)| *wanted *= 1.0 - shows);
        }
    }
    asked.fill_with_least_known();
    asked.asks
}

fn candidates(regions: &[Region], recogniser: &Recogniser, sample: &Sample) -> Vec<Candidate> {
    let of_region = |region: usize| {
        let patches = sample.regions.get(region).map_or(&[][..], Vec::as_slice);
        let candidate = move |(number, patch): (usize, &Patch)| {
            let shows = recogniser.unknown_digit_probabilities(region, patch)?;
            Some(Candidate { region, number, shows })
        };
        patches.par_iter().enumerate().filter_map(candidate).collect::<Vec<_>>()
    };
    (0..regions.len()).flat_map(of_region).collect()
}

/// The moments asked for so far.
struct Asked<'a> {
    regions: &'a [Region],
    recogniser: &'a Recogniser,
    sample: &'a Sample,
    asks: Vec<LabelRequest>,
    shown: Vec<Shows>,
}

impl Asked<'_> {
    fn patch(&self, region: usize, number: usize) -> &Patch {
        &self.sample.regions[region][number]
    }

    fn is_near(&self, region: usize, number: usize) -> bool {
        let (channel, time_s) = (&self.regions[region].channel, self.patch(region, number).time_s);
        self.asks.iter().any(|ask| ask.channel == *channel && (ask.time_s - time_s).abs() < LEAST_DISTANCE_S)
    }

    fn add(&mut self, region: usize, number: usize) {
        let patch = self.patch(region, number);
        let text = match self.recogniser.read_patch(region, patch) {
            RegionReading::Unclear { text, .. } | RegionReading::Text { text, .. } => text,
            RegionReading::Nothing => String::new(),
        };
        let ask = LabelRequest {
            channel: self.regions[region].channel.clone(),
            time_s: patch.time_s,
            image: patch.crop(),
        };
        let shows = (region, text, features(patch));
        self.shown.push(shows);
        self.asks.push(ask);
    }

    fn fill_with_least_known(&mut self) {
        let mut unknown: Vec<(f32, usize, usize)> = Vec::new();
        for (region, patches) in self.sample.regions.iter().enumerate() {
            for (number, patch) in patches.iter().enumerate() {
                if let Some(fit) = self.recogniser.min_correlation(region, patch) {
                    unknown.push((fit, region, number));
                }
            }
        }
        unknown.sort_by(|a, b| a.0.total_cmp(&b.0));
        for (_, region, number) in unknown {
            if self.asks.len() == MOST_ASKED {
                break;
            }
            let patch = self.patch(region, number);
            let RegionReading::Unclear { text, .. } = self.recogniser.read_patch(region, patch) else {
                continue;
            };
            let shows = (region, text, features(patch));
            if !self.is_near(region, number) && !self.shown.iter().any(|other| same_text(other, &shows)) {
                self.add(region, number);
            }
        }
    }
}

/// Moments of one channel offered before anything is labelled, at most.
const FIRST_OF_A_CHANNEL: usize = 6;

/// Moments to label first, when no shape is known yet: of each region some of the sample, each as unlike those before it as
/// can be (the greedy k-centre method of T. F. Gonzalez, Theoretical Computer Science 38, 1985), beginning in the middle
/// of the clip.
#[must_use]
pub fn first_requests(regions: &[Region], sample: &Sample) -> Vec<LabelRequest> {
    let mut asked = Vec::new();
    for (region, patches) in regions.iter().zip(&sample.regions) {
        let shown: Vec<Array2<f32>> = patches.par_iter().map(features).collect();
        for number in unlike(&shown, FIRST_OF_A_CHANNEL) {
            let (channel, patch) = (region.channel.clone(), &patches[number]);
            asked.push(LabelRequest { channel, time_s: patch.time_s, image: patch.crop() });
        }
    }
    asked
}

/// The numbers of some pictures that look unlike each other, in order of time; at most `most`.
fn unlike(pictures: &[Array2<f32>], most: usize) -> Vec<usize> {
    let mut chosen = Vec::new();
    // Correlation of every picture with the one chosen that is most like it.
    let mut likeness = vec![f32::NEG_INFINITY; pictures.len()];
    let mut next = (!pictures.is_empty()).then_some(pictures.len() / 2);
    while let Some(number) = next.filter(|_| chosen.len() < most) {
        chosen.push(number);
        for (likeness, picture) in likeness.iter_mut().zip(pictures) {
            *likeness = likeness.max(correlation(picture, &pictures[number]));
        }
        let left = likeness.iter().enumerate().filter(|(_, likeness)| **likeness <= SAME_TEXT);
        next = left.min_by(|one, other| one.1.total_cmp(other.1)).map(|(number, _)| number);
    }
    chosen.sort_unstable();
    chosen
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
    fn moments_to_label_first_look_unlike_each_other_wherever_in_the_clip_they_are() {
        let picture =
            |phase: usize| Array2::from_shape_fn((8, 8), |(row, col)| ((row + phase * col) % 5) as f32 - 2.0);
        // Long the same, and other texts at the end only.
        let mut pictures = vec![picture(1); 20];
        pictures.extend([picture(2), picture(2), picture(3)]);
        let chosen = unlike(&pictures, 6);
        assert_eq!(chosen.len(), 3, "{chosen:?}");
        assert!(chosen.iter().filter(|number| **number >= 20).count() == 2, "{chosen:?}");
        assert!(unlike(&[], 6).is_empty());
    }

    #[test]
    fn two_pictures_of_one_text_are_not_both_asked_for() {
        assert!(same_text(&shows(0, "1327", 1), &shows(0, "1327", 2)));
        assert!(same_text(&shows(0, "1327", 1), &shows(0, "1321", 1)));
        assert!(!same_text(&shows(0, "1327", 1), &shows(0, "1328", 2)));
        assert!(!same_text(&shows(0, "15", 1), &shows(1, "15", 1)));
    }
}

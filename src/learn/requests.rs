//! Label requests: proposes the frames that are most useful to label next.

use image::GrayImage;
use ndarray::Array2;
use rayon::prelude::*;

use crate::model::channel::Channel;
use crate::recognise::HighPass;
use crate::recognise::{Patch, PatchAssessment, Recogniser, RegionReading, Sample, correlation};
use crate::setup::Region;

/// Maximum number of requests (set by judgement).
const MAX_REQUESTS: usize = 6;

/// Maximum number of requests for one channel as long as nothing is labelled (set by judgement).
const MAX_FIRST_REQUESTS: usize = 6;

/// Minimum expected number of missing digits in a requested frame (set by judgement).
const MIN_EXPECTED_DIGITS: f32 = 0.15;

/// Minimum time between two requests for one channel, in seconds. Frames that are closer show similar texts
/// (set by judgement).
const MIN_DISTANCE_S: f64 = 0.8;

/// Correlation above which two images of a region count as showing the same text (set by judgement).
const SAME_TEXT_CORRELATION: f32 = 0.9;

/// Cell width that the high-pass filter assumes for comparing images, in pixels. Set by judgement: a usual width.
const CELL_PX: f32 = 14.0;

/// A request to label the reading of a channel in one frame.
#[derive(Debug, Clone)]
pub struct LabelRequest {
    /// Channel to label.
    pub channel: Channel,
    /// Time in seconds from the clip's first frame.
    pub time_s: f64,
    /// Image of the channel's region in the frame at that time.
    pub image: GrayImage,
}

impl LabelRequest {
    fn of(channel: &Channel, patch: &Patch) -> Self {
        Self { channel: channel.clone(), time_s: patch.time_s, image: patch.crop() }
    }
}

/// An image of a region in the sample that shows a text, and could be requested.
struct RequestCandidate {
    region: usize,
    /// Index of the patch in the sample of the region.
    patch: usize,
    assessment: PatchAssessment,
}

/// The frames of the sample to label next. First come those that probably show the most digits without a glyph,
/// judged by the shape prior. Then come those whose texts are the least certain, if they do not show the same text as
/// a frame already requested. No two requests for one channel are close in time.
pub(crate) fn next_requests(
    regions: &[Region],
    recogniser: &Recogniser,
    sample: &Sample,
) -> Vec<LabelRequest> {
    let candidates = candidates(regions, recogniser, sample);
    let mut selection = Selection { regions, sample, requests: Vec::new(), requested: Vec::new() };
    selection.add_missing_digits(&candidates, recogniser);
    selection.add_least_certain(&candidates);
    selection.requests
}

fn candidates(regions: &[Region], recogniser: &Recogniser, sample: &Sample) -> Vec<RequestCandidate> {
    let of_region = |region: usize| {
        let patches = sample.regions.get(region).map_or(&[][..], Vec::as_slice);
        let candidate = move |(number, patch): (usize, &Patch)| {
            let assessment = recogniser.assess_patch(region, patch)?;
            Some(RequestCandidate { region, patch: number, assessment })
        };
        patches.par_iter().enumerate().filter_map(candidate).collect::<Vec<_>>()
    };
    (0..regions.len()).flat_map(of_region).collect()
}

/// A requested image: its region, its most probable text and its features.
struct RequestedImage {
    region: usize,
    text: String,
    features: Array2<f32>,
}

impl RequestedImage {
    fn shows_text_of(&self, other: &Self) -> bool {
        self.region == other.region
            && (self.text == other.text
                || correlation(&self.features, &other.features) > SAME_TEXT_CORRELATION)
    }
}

/// The requests selected so far.
struct Selection<'a> {
    regions: &'a [Region],
    sample: &'a Sample,
    requests: Vec<LabelRequest>,
    requested: Vec<RequestedImage>,
}

impl Selection<'_> {
    /// Selects one frame after the other: each time the one with the greatest expected number of digits that have no
    /// glyph and that no frame selected before shows.
    fn add_missing_digits(&mut self, candidates: &[RequestCandidate], recogniser: &Recogniser) {
        // For each region and digit, the probability that no selected frame shows the digit.
        let mut still_missing = vec![[1.0_f32; 10]; self.regions.len()];
        while self.requests.len() < MAX_REQUESTS {
            let expected_digits = |candidate: &RequestCandidate| -> f32 {
                let missing = &still_missing[candidate.region];
                let shown = candidate.assessment.missing_digits.iter();
                shown.zip(missing).map(|(shown, missing)| shown * missing).sum()
            };
            let rated = candidates.iter().map(|candidate| (expected_digits(candidate), candidate));
            let rated = rated
                .filter(|(expected, candidate)| *expected > MIN_EXPECTED_DIGITS && !self.is_near(candidate));
            let Some((_, best)) = rated.max_by(|one, other| one.0.total_cmp(&other.0)) else { break };
            self.add(best, self.requested_image(best));
            // Regions with the same face share its digits.
            let same_face =
                (0..self.regions.len()).filter(|other| recogniser.share_face(best.region, *other));
            for region in same_face {
                let shown = &best.assessment.missing_digits;
                still_missing[region]
                    .iter_mut()
                    .zip(shown)
                    .for_each(|(missing, shown)| *missing *= 1.0 - shown);
            }
        }
    }

    /// Fills the list of requests with frames whose text is not read with certainty. The first is the frame in which
    /// the least similar character of the text correlates least with its glyph.
    fn add_least_certain(&mut self, candidates: &[RequestCandidate]) {
        let mut by_fit: Vec<&RequestCandidate> = candidates.iter().collect();
        by_fit.sort_by(|a, b| a.assessment.min_correlation.total_cmp(&b.assessment.min_correlation));
        for candidate in by_fit {
            if self.requests.len() == MAX_REQUESTS {
                break;
            }
            if !matches!(candidate.assessment.reading, RegionReading::Unclear { .. }) {
                continue;
            }
            let image = self.requested_image(candidate);
            if !self.is_near(candidate) && !self.requested.iter().any(|other| other.shows_text_of(&image)) {
                self.add(candidate, image);
            }
        }
    }

    fn patch(&self, candidate: &RequestCandidate) -> &Patch {
        &self.sample.regions[candidate.region][candidate.patch]
    }

    fn is_near(&self, candidate: &RequestCandidate) -> bool {
        let (channel, time_s) = (&self.regions[candidate.region].channel, self.patch(candidate).time_s);
        let is_near = |request: &LabelRequest| (request.time_s - time_s).abs() < MIN_DISTANCE_S;
        self.requests.iter().any(|request| request.channel == *channel && is_near(request))
    }

    fn requested_image(&self, candidate: &RequestCandidate) -> RequestedImage {
        let text = match &candidate.assessment.reading {
            RegionReading::Unclear { text, .. } | RegionReading::Text { text, .. } => text.clone(),
            RegionReading::Nothing => String::new(),
        };
        RequestedImage { region: candidate.region, text, features: features(self.patch(candidate)) }
    }

    fn add(&mut self, candidate: &RequestCandidate, image: RequestedImage) {
        let request = LabelRequest::of(&self.regions[candidate.region].channel, self.patch(candidate));
        self.requested.push(image);
        self.requests.push(request);
    }
}

/// The frames to label first, when no glyph is known. In each region they differ from each other as much as
/// possible; the first is in the middle of the clip (the greedy k-centre method of T. F. Gonzalez,
/// Theoretical Computer Science 38, 1985).
#[must_use]
pub fn first_requests(regions: &[Region], sample: &Sample) -> Vec<LabelRequest> {
    let mut requests = Vec::new();
    for (region, patches) in regions.iter().zip(&sample.regions) {
        let images: Vec<Array2<f32>> = patches.par_iter().map(features).collect();
        for number in most_different(&images, MAX_FIRST_REQUESTS) {
            requests.push(LabelRequest::of(&region.channel, &patches[number]));
        }
    }
    requests
}

/// Indices of at most `max_count` images in ascending order; no two of these images show the same text. The middle
/// image is always selected.
fn most_different(images: &[Array2<f32>], max_count: usize) -> Vec<usize> {
    let mut chosen = Vec::new();
    // For every image, its correlation with the most similar chosen image.
    let mut similarity = vec![f32::NEG_INFINITY; images.len()];
    let mut next = (!images.is_empty()).then_some(images.len() / 2);
    while let Some(number) = next.filter(|_| chosen.len() < max_count) {
        chosen.push(number);
        for (similarity, image) in similarity.iter_mut().zip(images) {
            *similarity = similarity.max(correlation(image, &images[number]));
        }
        let left = similarity.iter().enumerate();
        let left = left.filter(|(_, similarity)| **similarity <= SAME_TEXT_CORRELATION);
        next = left.min_by(|one, other| one.1.total_cmp(other.1)).map(|(number, _)| number);
    }
    chosen.sort_unstable();
    chosen
}

fn features(patch: &Patch) -> Array2<f32> {
    HighPass::for_cell_width(CELL_PX).apply(&patch.levels(1))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn requested(region: usize, text: &str, phase: usize) -> RequestedImage {
        let features = Array2::from_shape_fn((8, 8), |(row, col)| ((row + phase * col) % 3) as f32 - 1.0);
        RequestedImage { region, text: text.to_owned(), features }
    }

    #[test]
    fn first_requests_differ_from_each_other_wherever_in_the_clip_they_are() {
        let image =
            |phase: usize| Array2::from_shape_fn((8, 8), |(row, col)| ((row + phase * col) % 5) as f32 - 2.0);
        // One text for a long time, and other texts only at the end.
        let mut images = vec![image(1); 20];
        images.extend([image(2), image(2), image(3)]);
        let chosen = most_different(&images, 6);
        assert_eq!(chosen.len(), 3, "{chosen:?}");
        assert!(chosen.iter().filter(|number| **number >= 20).count() == 2, "{chosen:?}");
        assert!(most_different(&[], 6).is_empty());
    }

    #[test]
    fn two_images_of_one_text_are_not_both_requested() {
        assert!(requested(0, "1327", 1).shows_text_of(&requested(0, "1327", 2)));
        assert!(requested(0, "1327", 1).shows_text_of(&requested(0, "1321", 1)));
        assert!(!requested(0, "1327", 1).shows_text_of(&requested(0, "1328", 2)));
        assert!(!requested(0, "15", 1).shows_text_of(&requested(1, "15", 1)));
    }
}

//! Crop sampler: keeps image crops of some readings. Its memory does not grow with the length of the
//! recording.

use crate::model::channel::Channel;
use crate::series::{Crop, Crops};

/// Maximum number of crops of the speed readout that are kept. Set by judgement.
const MAX_SPEED_CROPS: usize = 2048;

/// Minimum time between two crops of the speed readout, in seconds. It doubles each time [`MAX_SPEED_CROPS`] is
/// exceeded. Set by judgement.
const MIN_INTERVAL_S: f64 = 0.25;

/// Number of crops that are kept for each channel because their readings are the least certain. Set by
/// judgement.
const LEAST_CERTAIN: usize = 6;

/// Minimum time between two of the least certain readings whose crops are kept, in seconds: neighbouring frames show
/// the same text. Set by judgement.
const MIN_UNCERTAIN_INTERVAL_S: f64 = 1.0;

/// Samples crops of one channel.
pub(super) struct CropSampler {
    /// Whether crops are also kept at regular intervals.
    is_regular: bool,
    interval_s: f64,
    regular: Vec<Crop>,
    /// Crops of the least certain readings, the least certain first.
    least_confident: Vec<Crop>,
}

impl CropSampler {
    /// A sampler for a channel. Only for the speed are crops also kept at regular intervals.
    pub fn new(channel: &Channel) -> Self {
        let is_regular = *channel == Channel::Speed;
        Self { is_regular, interval_s: MIN_INTERVAL_S, regular: Vec::new(), least_confident: Vec::new() }
    }

    /// Offers the crop of a trusted reading, which is kept if it is needed.
    pub fn offer(&mut self, crop: Crop) {
        if self.is_among_least_certain(&crop) {
            let near = |kept: &Crop| (kept.time_s - crop.time_s).abs() < MIN_UNCERTAIN_INTERVAL_S;
            self.least_confident.retain(|kept| !near(kept));
            self.least_confident.push(crop.clone());
            self.least_confident.sort_by(|one, other| one.confidence.total_cmp(&other.confidence));
            self.least_confident.truncate(LEAST_CERTAIN);
        }
        let is_due = self.regular.last().is_none_or(|last| crop.time_s - last.time_s >= self.interval_s);
        if self.is_regular && is_due {
            self.regular.push(crop);
            if self.regular.len() > MAX_SPEED_CROPS {
                self.interval_s *= 2.0;
                let mut number = 0;
                self.regular.retain(|_| {
                    number += 1;
                    number % 2 == 1
                });
            }
        }
    }

    /// Whether a crop is to be kept as one of the least certain. If a crop from nearly the same time is kept, the new
    /// one must have a lower confidence; otherwise fewer than [`LEAST_CERTAIN`] crops must be kept, or one of them must
    /// have a higher confidence than the new one.
    fn is_among_least_certain(&self, crop: &Crop) -> bool {
        let near = |kept: &&Crop| (kept.time_s - crop.time_s).abs() < MIN_UNCERTAIN_INTERVAL_S;
        let full = self.least_confident.len() >= LEAST_CERTAIN;
        match self.least_confident.iter().find(near) {
            Some(kept) => crop.confidence < kept.confidence,
            None => {
                !full || self.least_confident.last().is_some_and(|last| crop.confidence < last.confidence)
            }
        }
    }
}

/// The crops of all channels.
pub(super) fn all_crops(samplers: Vec<CropSampler>) -> Crops {
    let mut crops = Crops::default();
    for sampler in samplers {
        crops.speed.extend(sampler.regular);
        crops.least_confident.extend(sampler.least_confident);
    }
    crops.least_confident.sort_by(|one, other| one.confidence.total_cmp(&other.confidence));
    crops
}

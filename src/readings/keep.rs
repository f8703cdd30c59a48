//! Keeping crops of some readings while a recording goes by, in a memory that does not grow with its length.

use crate::model::channel::Channel;
use crate::series::{Crop, Crops};

/// Most crops of the speed that are kept.
const MOST_OF_SPEED: usize = 2048;

/// Least time between two of them, in seconds.
const LEAST_APART_S: f64 = 0.25;

/// Least sure readings kept of a channel.
const LEAST_SURE: usize = 6;

/// Least time between two of them, in seconds: neighbouring frames show the same.
const DOUBTS_APART_S: f64 = 1.0;

/// Keeps crops of one channel.
pub(super) struct Keeper {
    spread: bool,
    apart_s: f64,
    kept: Vec<Crop>,
    /// The least sure first.
    least_sure: Vec<Crop>,
}

impl Keeper {
    pub fn of(channel: &Channel) -> Self {
        let spread = *channel == Channel::Speed;
        Self { spread, apart_s: LEAST_APART_S, kept: Vec::new(), least_sure: Vec::new() }
    }

    /// Keeps a reading that is believed, if it is wanted.
    pub fn offer(&mut self, crop: Crop) {
        if self.is_doubtful(&crop) {
            let near = |kept: &Crop| (kept.time_s - crop.time_s).abs() < DOUBTS_APART_S;
            self.least_sure.retain(|kept| !near(kept));
            self.least_sure.push(crop.clone());
            self.least_sure.sort_by(|one, other| one.confidence.total_cmp(&other.confidence));
            self.least_sure.truncate(LEAST_SURE);
        }
        let wanted = self.kept.last().is_none_or(|last| crop.time_s - last.time_s >= self.apart_s);
        if self.spread && wanted {
            self.kept.push(crop);
            if self.kept.len() > MOST_OF_SPEED {
                self.apart_s *= 2.0;
                let mut number = 0;
                self.kept.retain(|_| {
                    number += 1;
                    number % 2 == 1
                });
            }
        }
    }

    /// Whether a reading is among the least sure: less sure than those near it, and than one of those kept.
    fn is_doubtful(&self, crop: &Crop) -> bool {
        let near = |kept: &&Crop| (kept.time_s - crop.time_s).abs() < DOUBTS_APART_S;
        let full = self.least_sure.len() >= LEAST_SURE;
        match self.least_sure.iter().find(near) {
            Some(kept) => crop.confidence < kept.confidence,
            None => !full || self.least_sure.last().is_some_and(|last| crop.confidence < last.confidence),
        }
    }
}

/// What all channels' keepers have kept.
pub(super) fn all_kept(keepers: Vec<Keeper>) -> Crops {
    let mut crops = Crops::default();
    for keeper in keepers {
        crops.speed.extend(keeper.kept);
        crops.least_sure.extend(keeper.least_sure);
    }
    crops.least_sure.sort_by(|one, other| one.confidence.total_cmp(&other.confidence));
    crops
}

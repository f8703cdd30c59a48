//! Labels that the pilot types; fetches their images again after a box has changed.

use serde::{Deserialize, Serialize};

use pairspeed::footage::{Clip, FootageError, frames_near};
use pairspeed::learn::{LabelRequest, StoredLabel};
use pairspeed::model::channel::Channel;
use pairspeed::setup::Region;

/// Maximum difference between two times that belong to the same frame, in seconds; far shorter than a frame (set by
/// judgement).
const SAME_FRAME_S: f64 = 1e-3;

/// Typed labels that have not yet been used to learn the digits, as stored between sessions.
#[derive(Debug, Clone, Serialize, Deserialize, Default)]
pub(super) struct Typed {
    #[serde(rename = "label", alias = "told")]
    pub labels: Vec<StoredLabel>,
}

/// Whether a label is that of the channel `channel` at the time `time_s`, in seconds.
pub(super) fn is_at(label: &StoredLabel, channel: &Channel, time_s: f64) -> bool {
    label.channel == *channel && (label.time_s - time_s).abs() < SAME_FRAME_S
}

/// Label requests, with their images, for labels that were typed before, except those that `requests` already contains.
/// Labels whose channel has no region are left out.
///
/// # Errors
/// If the clip cannot be read.
pub(super) fn requests_of(
    clip: &mut Clip,
    regions: &[Region],
    typed: &[StoredLabel],
    requests: &[LabelRequest],
) -> Result<Vec<LabelRequest>, FootageError> {
    let is_new =
        |label: &&StoredLabel| requests.iter().all(|request| !is_at(label, &request.channel, request.time_s));
    let region_of = |label: &StoredLabel| regions.iter().find(|region| region.channel == label.channel);
    let with_region: Vec<(&StoredLabel, &Region)> =
        typed.iter().filter(is_new).filter_map(|label| Some((label, region_of(label)?))).collect();
    let times_s: Vec<f64> = with_region.iter().map(|(label, _)| label.time_s).collect();
    let frames = frames_near(clip, &times_s)?;
    let request = |(label, region): (&StoredLabel, &Region)| {
        let frame = frames.iter().find(|frame| frame.requested_s == label.time_s)?;
        let image = region.rect.crop(&frame.image);
        Some(LabelRequest { channel: label.channel.clone(), time_s: label.time_s, image })
    };
    Ok(with_region.into_iter().filter_map(request).collect())
}

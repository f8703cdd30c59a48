//! Labels that the pilot types: their pictures after a box has changed, and regions that are adapted to them.

use serde::{Deserialize, Serialize};

use pairspeed::footage::{Clip, FootageError, frames_near};
use pairspeed::learn::{LabelFile, LabelRequest, StoredLabel};
use pairspeed::model::channel::Channel;
use pairspeed::setup::{MAX_DIGITS, Region};

/// Two times closer than this, in seconds, are those of one frame.
const SAME_FRAME_S: f64 = 1e-3;

/// Typed labels that the digits were not learned from yet, as they are kept between sessions.
#[derive(Debug, Clone, Serialize, Deserialize, Default)]
pub(super) struct Typed {
    #[serde(rename = "told")]
    pub labels: Vec<StoredLabel>,
}

/// Whether a label is that of a channel at a time.
pub(super) fn is_at(label: &StoredLabel, channel: &Channel, time_s: f64) -> bool {
    label.channel == *channel && (label.time_s - time_s).abs() < SAME_FRAME_S
}

/// Requests with the pictures of labels that were typed before, except those that `requests` already has. A label whose
/// channel has no region has no picture.
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

/// The regions with numbers of digits that allow the labels: the widest label decides how many digits there are, and the last
/// label how many follow the point.
pub(super) fn adapted_to(regions: &[Region], labels: &LabelFile) -> Vec<Region> {
    let digits = |text: &str| text.chars().filter(char::is_ascii_digit).count();
    let adapted = |region: &Region| {
        let mut region = region.clone();
        let texts: Vec<&str> = labels
            .labels
            .iter()
            .filter(|label| label.channel == region.channel && !label.text.contains(':'))
            .map(|label| label.text.as_str())
            .collect();
        let Some(last) = texts.last() else { return region };
        let after = last.split_once('.').map_or(0, |(_, after)| digits(after));
        let widest = texts.iter().map(|text| digits(text)).max().unwrap_or(0);
        let in_setup = |count: usize| u8::try_from(count).unwrap_or(MAX_DIGITS).min(MAX_DIGITS);
        region.decimals = in_setup(after).min(MAX_DIGITS - 1);
        region.digits = region.digits.map(|digits| digits.max(in_setup(widest)).max(region.decimals + 1));
        region
    };
    regions.iter().map(adapted).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use pairspeed::geometry::PixelRect;
    use pairspeed::learn::LabelledReading;

    fn adapted(digits: Option<u8>, decimals: u8, texts: &[&str]) -> (Option<u8>, u8) {
        let rect = PixelRect { left: 0, top: 0, width: 40, height: 20 };
        let region = Region { digits, decimals, ..Region::new(Channel::Altitude, rect, None) };
        let mut labels = LabelFile::default();
        for (number, text) in texts.iter().enumerate() {
            let label = LabelledReading {
                channel: Channel::Altitude,
                time_s: number as f64,
                text: (*text).to_owned(),
            };
            labels.add("flight.avi", &label);
        }
        adapted_to(&[region], &labels).first().map_or((None, 0), |region| (region.digits, region.decimals))
    }

    #[test]
    fn the_number_of_digits_follows_from_the_labels() {
        assert_eq!(adapted(Some(3), 0, &["84", "1166"]), (Some(4), 0));
        assert_eq!(adapted(Some(3), 0, &["24.26"]), (Some(4), 2));
        assert_eq!(adapted(Some(3), 1, &["239"]), (Some(3), 0));
        assert_eq!(adapted(Some(5), 0, &["-7"]), (Some(5), 0));
        assert_eq!(adapted(None, 0, &["1166"]), (None, 0));
        assert_eq!(adapted(Some(3), 1, &[]), (Some(3), 1));
    }
}

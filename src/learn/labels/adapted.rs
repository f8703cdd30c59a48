//! Adapts regions to the labels.

use super::file::LabelFile;
use crate::setup::{MAX_DIGITS, Region};

/// The regions with numbers of digits and decimals that allow the labels. For each region, the maximum number of
/// digits, if the setup states one, is raised to that of the longest label. The number of decimals becomes that of
/// the last label. Labels with a colon change nothing.
#[must_use]
pub fn adapted_to(regions: &[Region], labels: &LabelFile) -> Vec<Region> {
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
    use crate::geometry::PixelRect;
    use crate::learn::labels::reading::LabelledReading;
    use crate::model::channel::Channel;

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

//! Readings of a single frame, with the reasons for blanks.

use image::GrayImage;

use crate::recognise::{Recogniser, RegionReading};
use crate::series::Blank;
use crate::setup::Region;

/// The reading of a region in a single frame.
#[derive(Debug, Clone, PartialEq)]
pub struct FrameReading {
    /// The reading of the region, judged by this frame alone.
    pub shown: RegionReading,
    /// Why the reading is blank, judged by this frame alone; [`Blank::No`] if it is not.
    pub blank: Blank,
    /// Digits without a glyph in the region's face, in ascending order.
    pub unknown_digits: String,
}

/// Reads one frame: all regions that the recogniser was calibrated for.
#[must_use]
pub fn read_frame(recogniser: &Recogniser, regions: &[Region], frame: &GrayImage) -> Vec<FrameReading> {
    let unread = recogniser.unread_channels();
    let reading = |(region, shown): (&Region, RegionReading)| {
        let blank = match unread.contains(&&region.channel) {
            true => Blank::GlyphsUnknown,
            false => blank_of(&shown, region),
        };
        FrameReading { shown, blank, unknown_digits: recogniser.unknown_digits(&region.channel) }
    };
    regions.iter().zip(recogniser.read_frame(frame)).map(reading).collect()
}

fn blank_of(shown: &RegionReading, region: &Region) -> Blank {
    match shown {
        RegionReading::Nothing => Blank::Empty,
        RegionReading::Unclear { digit_unknown: true, .. } => Blank::DigitUnknown,
        RegionReading::Unclear { .. } => Blank::Unclear,
        RegionReading::Text { value, .. } => {
            let range = region.plausible_range();
            let allowed = range.is_none_or(|(low, high)| (low..=high).contains(value));
            if allowed { Blank::No } else { Blank::OutOfRange }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::PixelRect;
    use crate::model::channel::Channel;
    use crate::model::units::Unit;

    #[test]
    fn a_blank_has_its_reason() {
        let place = PixelRect { left: 0, top: 0, width: 60, height: 20 };
        let mut region = Region::new(Channel::Speed, place, Some(Unit::KilometresPerHour));
        let text = |value: f64| RegionReading::Text { text: value.to_string(), value, confidence: 0.99 };
        let unclear =
            |digit_unknown| RegionReading::Unclear { text: "63".into(), confidence: 0.0, digit_unknown };
        assert_eq!(blank_of(&RegionReading::Nothing, &region), Blank::Empty);
        assert_eq!(blank_of(&unclear(false), &region), Blank::Unclear);
        assert_eq!(blank_of(&unclear(true), &region), Blank::DigitUnknown);
        assert_eq!(blank_of(&text(449.0), &region), Blank::No);
        assert_eq!(blank_of(&text(451.0), &region), Blank::OutOfRange);
        region.range = Some((0.0, 99.0));
        assert_eq!(blank_of(&text(100.0), &region), Blank::OutOfRange);
    }
}

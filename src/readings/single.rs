//! One frame by itself: what each region shows, and why a reading would leave it blank.

use image::GrayImage;

use crate::recognise::{Recogniser, RegionReading};
use crate::series::Blank;
use crate::setup::Region;

/// What a region shows in one frame.
#[derive(Debug, Clone, PartialEq)]
pub struct FrameReading {
    /// What is seen there.
    pub shown: RegionReading,
    /// Why it is left blank, as far as one frame tells; [`Blank::No`] where it is not.
    pub blank: Blank,
    /// Digits missing from the glyphs that it is read with, in ascending order.
    pub unknown_digits: String,
}

/// Reads these regions, which the recogniser was calibrated for, in one frame.
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
    fn what_one_frame_shows_tells_why_it_is_blank() {
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

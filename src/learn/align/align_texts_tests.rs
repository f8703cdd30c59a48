#![allow(clippy::unwrap_used)]

use image::{GrayImage, Luma};

use super::*;
use crate::geometry::PixelRect;
use crate::learn::examples::example::TrainingExample;
use crate::learn::group::size_group::MeasuredRegion;
use crate::learn::group::stroke_rows::StrokeRows;
use crate::learn::labels::reading::LabelledReading;
use crate::learn::layout::text_layout::{Advances, LayoutLine};
use crate::model::channel::Channel;
use crate::recognise::Anchor;
use crate::recognise::MARGIN_PX;
use crate::recognise::Patch;
use crate::setup::Region;

const PITCH_PX: u32 = 12;
const HEIGHT_PX: u32 = 20;

/// An image of a text, drawn from its top left corner. Each digit has a left edge, a top and a bottom line,
/// and a bar at a height that differs from digit to digit.
fn image(text: &str, corner: (u32, u32)) -> GrayImage {
    let mut image = GrayImage::from_pixel(100, 100, Luma([60]));
    for (position, digit) in (0..).zip(text.chars().filter_map(|digit| digit.to_digit(10))) {
        for (x, y) in (0..8).flat_map(|x| (0..HEIGHT_PX).map(move |y| (x, y))) {
            let is_outline = x < 2 || !(2..HEIGHT_PX - 2).contains(&y);
            if is_outline || y.abs_diff(4 + digit) < 2 {
                image.put_pixel(corner.0 + position * PITCH_PX + x, corner.1 + y, Luma([220]));
            }
        }
    }
    image
}

fn example(region: &Region, text: &str, top: u32) -> TrainingExample {
    let left = region.rect.left + 4;
    let centre = Patch::of(&image(text, (left, top)), region.rect, 1.0);
    let label = LabelledReading { channel: region.channel.clone(), time_s: 1.0, text: text.to_owned() };
    TrainingExample { label, centre, before: Vec::new(), after: Vec::new() }
}

#[test]
fn regions_that_share_no_digit_with_the_others_are_moved_to_their_height() {
    let place = PixelRect { left: 30, top: 30, width: 32, height: 28 };
    let regions = [Channel::Speed, Channel::Altitude].map(|channel| Region::new(channel, place, None));
    let examples =
        [example(&regions[0], "80", 34), example(&regions[0], "08", 34), example(&regions[1], "12", 34)];
    // The second region's text is assumed to be three rows above its real position.
    let rows = |top_px: f32| StrokeRows { top_px, height_px: HEIGHT_PX as f32 };
    let member = |index: usize, top_px| MeasuredRegion {
        setup_index: index,
        region: &regions[index],
        rows: rows(top_px),
    };
    let group = SizeGroup::of(&[member(0, 4.0), member(1, 1.0)], &examples);
    let line = LayoutLine { anchor: Anchor::Left, position: MARGIN_PX as f32 + 3.0 };
    let pitch = PITCH_PX as f32;
    let advances = Advances { pitch, one: pitch, point: pitch };
    let layout = TextLayout { advances, lines: vec![line; 2], cost: 0.0 };
    let cuts = aligned_cuts(&group, &layout);
    let top_of = |region: usize| cuts.iter().find(|cut| cut.region == region).unwrap().top;
    assert_eq!(top_of(0), top_of(1));
}

#![allow(clippy::unwrap_used)]

use image::{GrayImage, Luma};

use super::super::group::group_of;
use super::super::heights::InkRows;
use super::super::layout::{Advances, Line};
use super::*;
use crate::geometry::PixelRect;
use crate::model::channel::Channel;
use crate::recognise::Anchor;
use crate::recognise::MARGIN_PX;
use crate::setup::Region;

const PITCH_PX: u32 = 12;
const HEIGHT_PX: u32 = 20;

/// A picture of a text whose digits are frames with a bar across, each at its own height, drawn from a corner on.
fn picture(text: &str, corner: (u32, u32)) -> GrayImage {
    let mut picture = GrayImage::from_pixel(100, 100, Luma([60]));
    for (place, digit) in (0..).zip(text.chars().filter_map(|digit| digit.to_digit(10))) {
        for (x, y) in (0..8).flat_map(|x| (0..HEIGHT_PX).map(move |y| (x, y))) {
            let is_frame = x < 2 || !(2..HEIGHT_PX - 2).contains(&y);
            if is_frame || y.abs_diff(4 + digit) < 2 {
                picture.put_pixel(corner.0 + place * PITCH_PX + x, corner.1 + y, Luma([220]));
            }
        }
    }
    picture
}

fn moment(region: &Region, text: &str, top: u32) -> TrainingExample {
    let left = region.place.left + 4;
    let centre = Patch::of(&picture(text, (left, top)), region.place, 1.0);
    let told = LabelledReading { channel: region.channel.clone(), time_s: 1.0, text: text.to_owned() };
    TrainingExample { label: told, centre, before: Vec::new(), after: Vec::new() }
}

#[test]
fn regions_that_share_no_digit_with_the_others_are_brought_to_their_height() {
    let place = PixelRect { left: 30, top: 30, width: 32, height: 28 };
    let regions = [Channel::Speed, Channel::Altitude].map(|channel| Region::new(channel, place, None));
    let moments =
        [moment(&regions[0], "80", 34), moment(&regions[0], "08", 34), moment(&regions[1], "12", 34)];
    // The rows of the second region's text are thought to be three higher than they are.
    let rows = |top_px: f32| InkRows { top_px, height_px: HEIGHT_PX as f32 };
    let members = [(0, &regions[0], rows(4.0)), (1, &regions[1], rows(1.0))];
    let group = group_of(&members, &moments);
    let line = Line { anchor: Anchor::Left, position: MARGIN_PX as f32 + 3.0 };
    let pitch = PITCH_PX as f32;
    let advances = Advances { pitch, one: pitch, point: pitch };
    let layout = Layout { advances, lines: vec![line; 2], cost: 0.0 };
    let cuts = aligned_cuts(&group, &layout);
    let top_of = |region: usize| cuts.iter().find(|cut| cut.region == region).unwrap().top;
    assert_eq!(top_of(0), top_of(1));
}

//! Proposals for small drawn clips: letters of the font8x8 crate over moving noise.
#![allow(clippy::unwrap_used)]

use font8x8::{BASIC_FONTS, UnicodeFonts as _};
use image::{GrayImage, Luma};
use imageproc::drawing::{draw_filled_rect_mut, draw_polygon_mut};
use imageproc::filter::box_filter;
use imageproc::noise::gaussian_noise_mut;
use imageproc::point::Point;
use imageproc::rect::Rect;

use super::*;
use crate::model::channel::Channel;

/// The style of letters.
#[derive(Clone, Copy)]
enum LetterStyle {
    WhiteOutlined,
    White,
    DarkOnLight,
}

/// Settings of a drawn clip.
#[derive(Clone, Copy)]
struct DrawnClip {
    size: (u32, u32),
    /// Pixels per dot of a letter.
    scale: u32,
    style: LetterStyle,
    /// Mean grey level of the scenery.
    ground: f32,
    /// Standard deviation of the noise in grey levels.
    noise: f64,
    airframe: bool,
}

const PLAIN: DrawnClip = DrawnClip {
    size: (320, 240),
    scale: 2,
    style: LetterStyle::WhiteOutlined,
    ground: 90.0,
    noise: 4.0,
    airframe: false,
};
const FRAMES: u32 = 36;

/// A text of the overlay: its upper left corner in pixels, and its text in each frame.
type Field = (u32, u32, fn(u32) -> String);

fn speed(frame: u32) -> String {
    format!("{:>3}", 52 + frame * 37 % 71)
}

fn voltage(frame: u32) -> String {
    format!("{:.1}", 24.9 - f64::from(frame) * 0.09)
}

fn satellites(frame: u32) -> String {
    format!("{}", 14 + frame / 8)
}

fn unit(_: u32) -> String {
    "km/h".to_owned()
}

fn label(_: u32) -> String {
    "SALT FLAT".to_owned()
}

impl DrawnClip {
    fn letter_px(self) -> u32 {
        8 * self.scale
    }

    /// Three readouts, one of them followed by a unit, and a caption.
    fn fields(self) -> [Field; 5] {
        let (width, height) = self.size;
        let x = width / 16;
        [
            (x, height / 8, speed),
            (x + 4 * self.letter_px(), height / 8, unit),
            (width - 6 * self.letter_px(), height / 2, voltage),
            (x, height * 3 / 4, satellites),
            (width / 2, height / 4, label),
        ]
    }

    /// The boxes around the digits of the three readouts.
    fn readouts(self) -> [(PixelRect, &'static str); 3] {
        let [speed, _, voltage, satellites, _] = self.fields();
        let boxed = |(x, y, _): Field, letters| PixelRect {
            left: x,
            top: y,
            width: letters * self.letter_px(),
            height: self.letter_px(),
        };
        [(boxed(speed, 3), "speed"), (boxed(voltage, 4), "voltage"), (boxed(satellites, 2), "satellites")]
    }

    fn frames(self) -> Vec<GrayImage> {
        (0..FRAMES).map(|frame| self.frame(frame)).collect()
    }

    fn frame(self, number: u32) -> GrayImage {
        let mut frame = self.scenery(number);
        if self.airframe {
            draw_airframe(&mut frame);
        }
        for (x, y, text) in self.fields() {
            for (index, letter) in (0..).zip(text(number).chars()) {
                self.draw_letter(&mut frame, letter, x + index * self.letter_px(), y);
            }
        }
        gaussian_noise_mut(&mut frame, 0.0, self.noise, u64::from(number));
        frame
    }

    /// Random patches of ground, different in every frame.
    fn scenery(self, number: u32) -> GrayImage {
        let mut ground = GrayImage::from_pixel(self.size.0, self.size.1, Luma([self.ground as u8]));
        gaussian_noise_mut(&mut ground, 0.0, 90.0, 1000 + u64::from(number));
        box_filter(&ground, 2, 2)
    }

    fn draw_letter(self, picture: &mut GrayImage, letter: char, x: u32, y: u32) {
        let (ink, edge) = match self.style {
            LetterStyle::WhiteOutlined => (250, Some(5)),
            LetterStyle::White => (250, None),
            LetterStyle::DarkOnLight => (10, Some(235)),
        };
        for (level, wider) in edge.map(|edge| (edge, 1)).into_iter().chain([(ink, 0)]) {
            for (row, dots) in (0..).zip(BASIC_FONTS.get(letter).unwrap()) {
                for column in (0..8).filter(|column| dots >> column & 1 == 1) {
                    let (left, top) = (x + column * self.scale, y + row * self.scale);
                    let dot = Rect::at(left as i32 - wider, top as i32 - wider)
                        .of_size(self.scale + 2 * wider as u32, self.scale + 2 * wider as u32);
                    draw_filled_rect_mut(picture, dot, Luma([level]));
                }
            }
        }
    }
}

/// A nose with a stripe and a strut, at the same position in every frame.
fn draw_airframe(picture: &mut GrayImage) {
    let (width, height) = (picture.width() as i32, picture.height() as i32);
    let nose = [(40, 100), (47, 78), (53, 78), (60, 100)];
    let stripe = [(48, 100), (49, 80), (51, 80), (52, 100)];
    let strut = [(70, 90), (100, 70), (100, 72), (70, 92)];
    for (corners, level) in [(nose, 215), (stripe, 40), (strut, 20)] {
        let corners = corners.map(|(x, y)| Point::new(x * width / 100, y * height / 100 - 1));
        draw_polygon_mut(picture, &corners, Luma([level]));
    }
}

/// Checks that each readout has one proposal that covers its digits and little else, and that there are no others.
#[track_caller]
fn assert_found(clip: DrawnClip) {
    let proposals = propose(&clip.frames());
    for (rect, name) in clip.readouts() {
        // The last column and row of dots of a letter are empty, and the first digit may be blank.
        let dot = clip.scale;
        let text = PixelRect { width: rect.width - 2 * dot, height: rect.height - dot, ..rect };
        let best = proposals.iter().max_by_key(|proposal| proposal.rect.overlap_px(text)).unwrap();
        assert!(
            best.rect.overlap_px(text) * 100 >= text.area_px() * 93,
            "{name} {rect:?} is cut: {proposals:#?}"
        );
        let room = 2 * u64::from(clip.letter_px() / 2 + 6);
        let (wide, high) = (u64::from(best.rect.width), u64::from(best.rect.height));
        assert!(wide <= u64::from(rect.width) + room, "{name} is too wide: {proposals:#?}");
        assert!(high <= u64::from(rect.height) + 12, "{name} is too high: {proposals:#?}");
    }
    let changing = proposals.iter().filter(|proposal| proposal.score > CONSTANT_SCORE).count();
    assert_eq!(changing, 3, "{proposals:#?}");
}

#[test]
fn outlined_white_text_is_found_over_moving_ground() {
    assert_found(PLAIN);
}

#[test]
fn large_text_is_found() {
    assert_found(DrawnClip { size: (480, 320), scale: 3, ..PLAIN });
}

#[test]
fn text_in_a_frame_that_is_searched_at_half_its_size_is_found() {
    assert_found(DrawnClip { size: (MAX_SIDE_PX + 53, 300), scale: 4, ..PLAIN });
}

#[test]
fn text_over_a_bright_ground_is_found() {
    assert_found(DrawnClip { ground: 170.0, ..PLAIN });
}

#[test]
fn plain_white_text_is_found() {
    assert_found(DrawnClip { style: LetterStyle::White, ..PLAIN });
}

#[test]
fn dark_text_with_a_light_edge_is_found() {
    assert_found(DrawnClip { style: LetterStyle::DarkOnLight, ..PLAIN });
}

#[test]
fn text_in_the_noise_of_a_weak_signal_is_found() {
    assert_found(DrawnClip { noise: 16.0, ..PLAIN });
}

#[test]
fn large_text_over_dark_ground_in_noise_is_found() {
    assert_found(DrawnClip { size: (640, 480), scale: 4, ground: 45.0, noise: 16.0, ..PLAIN });
}

#[test]
fn the_airframe_in_view_is_not_proposed() {
    assert_found(DrawnClip { airframe: true, ..PLAIN });
}

#[test]
fn the_overlay_is_found_though_some_frames_lack_it() {
    let mut frames = PLAIN.frames();
    for frame in frames.iter_mut().skip(3).step_by(9) {
        *frame = GrayImage::from_pixel(PLAIN.size.0, PLAIN.size.1, Luma([30]));
    }
    let found = propose(&frames);
    for (rect, name) in PLAIN.readouts() {
        assert!(found.iter().any(|found| found.rect.overlap_px(rect) > 0), "{name}: {found:#?}");
    }
    assert!(found.iter().filter(|found| found.score > CONSTANT_SCORE).count() == 3, "{found:#?}");
}

#[test]
fn a_clip_without_overlay_has_no_readouts() {
    let frames: Vec<GrayImage> = (0..FRAMES).map(|number| PLAIN.scenery(number)).collect();
    assert_eq!(propose(&frames), []);
}

#[test]
fn an_airframe_alone_has_no_readouts() {
    let still = |number| {
        let mut picture = PLAIN.scenery(number);
        draw_airframe(&mut picture);
        picture
    };
    let frames: Vec<GrayImage> = (0..FRAMES).map(still).collect();
    assert_eq!(propose(&frames), []);
}

#[test]
fn too_few_or_too_small_frames_have_no_readouts_and_other_sizes_are_ignored() {
    assert_eq!(propose(&[]), []);
    assert_eq!(propose(&PLAIN.frames()[..MIN_FRAMES - 1]), []);
    for size in [(0, 0), (1, 1), (3, 500), (31, 31), (32, 32)] {
        assert_eq!(propose(&vec![GrayImage::new(size.0, size.1); 10]), []);
    }
    let mut frames = PLAIN.frames();
    let expected = propose(&frames);
    frames.push(GrayImage::new(64, 48));
    assert_eq!(propose(&frames), expected);
}

#[test]
fn frames_that_never_change_have_no_changing_readouts() {
    for seed in 0..4 {
        let mut still = GrayImage::from_pixel(200, 150, Luma([120]));
        gaussian_noise_mut(&mut still, 0.0, 60.0, seed);
        let proposals = propose(&vec![box_filter(&still, 1, 1); 12]);
        assert!(proposals.iter().all(|proposal| proposal.score <= CONSTANT_SCORE), "{proposals:#?}");
    }
}

#[test]
fn proposals_do_not_overlap_and_lie_inside_the_frame() {
    for number in 0..4 {
        let clip = DrawnClip { size: (200 + 37 * number, 150), noise: 8.0, ..PLAIN };
        let proposals = propose(&clip.frames());
        for (index, one) in proposals.iter().enumerate() {
            assert!(one.rect.right() <= clip.size.0 && one.rect.bottom() <= 150, "{one:?}");
            for other in &proposals[..index] {
                assert_eq!(one.rect.overlap_px(other.rect), 0, "{one:?} overlaps {other:?}");
            }
        }
    }
}

#[test]
fn a_saved_proposal_is_a_valid_setup() {
    let regions = propose(&PLAIN.frames()).into_iter().enumerate().map(|(number, proposal)| {
        let channel = Channel::Other(format!("channel-{number}"));
        crate::setup::Region::new(channel, proposal.rect, None)
    });
    let camera = crate::setup::Camera { name: "camera".to_owned(), frame: PLAIN.size, glyphs: None };
    crate::setup::Setup { camera, aircraft: None, regions: regions.collect() }.validate().unwrap();
}

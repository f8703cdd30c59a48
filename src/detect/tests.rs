//! Proposals on small drawn clips: letters of the font8x8 crate over noise that moves.
#![allow(clippy::unwrap_used)]

use font8x8::{BASIC_FONTS, UnicodeFonts as _};
use image::{GrayImage, Luma};
use imageproc::drawing::{draw_filled_rect_mut, draw_polygon_mut};
use imageproc::filter::box_filter;
use imageproc::noise::gaussian_noise_mut;
use imageproc::point::Point;
use imageproc::rect::Rect;

use super::*;

/// How letters stand out.
#[derive(Clone, Copy)]
enum Look {
    WhiteOutlined,
    White,
    DarkOnLight,
}

/// A clip to be drawn.
#[derive(Clone, Copy)]
struct Scene {
    size: (u32, u32),
    scale: u32,
    look: Look,
    /// Mean brightness of the scenery.
    ground: f32,
    noise: f64,
    airframe: bool,
}

const PLAIN: Scene = Scene {
    size: (320, 240),
    scale: 2,
    look: Look::WhiteOutlined,
    ground: 90.0,
    noise: 4.0,
    airframe: false,
};
const FRAMES: u32 = 36;

/// Where text stands and what it shows in a frame.
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

impl Scene {
    fn letter_px(self) -> u32 {
        8 * self.scale
    }

    /// Three readouts, one with its unit behind, and a label.
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
        let mut picture = self.scenery(number);
        if self.airframe {
            draw_airframe(&mut picture);
        }
        for (x, y, text) in self.fields() {
            for (place, letter) in (0..).zip(text(number).chars()) {
                self.draw_letter(&mut picture, letter, x + place * self.letter_px(), y);
            }
        }
        gaussian_noise_mut(&mut picture, 0.0, self.noise, u64::from(number));
        picture
    }

    /// Patches of ground, other ones in every frame.
    fn scenery(self, number: u32) -> GrayImage {
        let mut ground = GrayImage::from_pixel(self.size.0, self.size.1, Luma([self.ground as u8]));
        gaussian_noise_mut(&mut ground, 0.0, 90.0, 1000 + u64::from(number));
        box_filter(&ground, 2, 2)
    }

    fn draw_letter(self, picture: &mut GrayImage, letter: char, x: u32, y: u32) {
        let (ink, edge) = match self.look {
            Look::WhiteOutlined => (250, Some(5)),
            Look::White => (250, None),
            Look::DarkOnLight => (10, Some(235)),
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

/// A nose with a stripe and a strut, at the same place in every frame.
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

/// Each readout has one proposal that covers its ink and little else; nothing else is proposed.
#[track_caller]
fn assert_found(scene: Scene) {
    let proposals = propose(&scene.frames());
    for (place, name) in scene.readouts() {
        // The letters leave their last column and row of dots free, the first place may be blank.
        let dot = scene.scale;
        let ink = PixelRect { width: place.width - 2 * dot, height: place.height - dot, ..place };
        let best = proposals.iter().max_by_key(|proposal| proposal.place.overlap_px(ink)).unwrap();
        assert!(
            best.place.overlap_px(ink) * 100 >= ink.area_px() * 93,
            "{name} {place:?} is cut: {proposals:#?}"
        );
        let room = 2 * u64::from(scene.letter_px() / 2 + 6);
        let (wide, high) = (u64::from(best.place.width), u64::from(best.place.height));
        assert!(wide <= u64::from(place.width) + room, "{name} is too wide: {proposals:#?}");
        assert!(high <= u64::from(place.height) + 12, "{name} is too high: {proposals:#?}");
    }
    let changing = proposals.iter().filter(|proposal| proposal.certainty > CONSTANT_CERTAINTY).count();
    assert_eq!(changing, 3, "{proposals:#?}");
}

#[test]
fn outlined_white_text_is_found_over_moving_ground() {
    assert_found(PLAIN);
}

#[test]
fn large_text_is_found() {
    assert_found(Scene { size: (480, 320), scale: 3, ..PLAIN });
}

#[test]
fn text_over_a_bright_ground_is_found() {
    assert_found(Scene { ground: 170.0, ..PLAIN });
}

#[test]
fn plain_white_text_is_found() {
    assert_found(Scene { look: Look::White, ..PLAIN });
}

#[test]
fn dark_text_with_a_light_edge_is_found() {
    assert_found(Scene { look: Look::DarkOnLight, ..PLAIN });
}

#[test]
fn text_in_the_noise_of_a_weak_signal_is_found() {
    assert_found(Scene { noise: 16.0, ..PLAIN });
}

#[test]
fn large_text_over_dark_ground_in_noise_is_found() {
    assert_found(Scene { size: (640, 480), scale: 4, ground: 45.0, noise: 16.0, ..PLAIN });
}

#[test]
fn the_airframe_in_view_is_not_taken_for_text() {
    assert_found(Scene { airframe: true, ..PLAIN });
}

#[test]
fn frames_without_overlay_do_not_hide_it() {
    let mut frames = PLAIN.frames();
    for frame in frames.iter_mut().skip(3).step_by(9) {
        *frame = GrayImage::from_pixel(PLAIN.size.0, PLAIN.size.1, Luma([30]));
    }
    let found = propose(&frames);
    for (place, name) in PLAIN.readouts() {
        assert!(found.iter().any(|found| found.place.overlap_px(place) > 0), "{name}: {found:#?}");
    }
    assert!(found.iter().filter(|found| found.certainty > CONSTANT_CERTAINTY).count() == 3, "{found:#?}");
}

#[test]
fn the_names_are_guessed_from_length_point_unit_and_change() {
    let proposals = propose(&PLAIN.frames());
    for (place, name) in PLAIN.readouts() {
        let best = proposals.iter().max_by_key(|proposal| proposal.place.overlap_px(place)).unwrap();
        assert_eq!(best.channel.name(), name, "{proposals:#?}");
    }
}

#[test]
fn a_clip_without_overlay_has_no_readouts() {
    let frames: Vec<GrayImage> = (0..FRAMES).map(|number| PLAIN.scenery(number)).collect();
    assert_eq!(propose(&frames), []);
}

#[test]
fn an_airframe_alone_is_no_readout() {
    let still = |number| {
        let mut picture = PLAIN.scenery(number);
        draw_airframe(&mut picture);
        picture
    };
    let frames: Vec<GrayImage> = (0..FRAMES).map(still).collect();
    assert_eq!(propose(&frames), []);
}

#[test]
fn frames_too_few_too_small_or_of_other_sizes_do_no_harm() {
    assert_eq!(propose(&[]), []);
    assert_eq!(propose(&PLAIN.frames()[..FEWEST_FRAMES - 1]), []);
    for size in [(0, 0), (1, 1), (3, 500), (31, 31), (32, 32)] {
        assert_eq!(propose(&vec![GrayImage::new(size.0, size.1); 10]), []);
    }
    let mut frames = PLAIN.frames();
    let expected = propose(&frames);
    frames.push(GrayImage::new(64, 48));
    assert_eq!(propose(&frames), expected);
}

#[test]
fn a_picture_that_never_moves_has_no_changing_readouts() {
    for seed in 0..4 {
        let mut still = GrayImage::from_pixel(200, 150, Luma([120]));
        gaussian_noise_mut(&mut still, 0.0, 60.0, seed);
        let proposals = propose(&vec![box_filter(&still, 1, 1); 12]);
        assert!(proposals.iter().all(|proposal| proposal.certainty <= CONSTANT_CERTAINTY), "{proposals:#?}");
    }
}

#[test]
fn proposals_keep_off_each_other_and_inside_the_frame() {
    for number in 0..4 {
        let scene = Scene { size: (200 + 37 * number, 150), noise: 8.0, ..PLAIN };
        let proposals = propose(&scene.frames());
        for (index, one) in proposals.iter().enumerate() {
            assert!(one.place.right() <= scene.size.0 && one.place.bottom() <= 150, "{one:?}");
            for other in &proposals[..index] {
                assert_eq!(one.place.overlap_px(other.place), 0, "{one:?} overlaps {other:?}");
            }
        }
    }
}

#[test]
fn a_saved_proposal_is_a_valid_setup() {
    let regions = propose(&PLAIN.frames())
        .into_iter()
        .map(|proposal| crate::setup::Region::new(proposal.channel, proposal.place, None));
    let camera = crate::setup::Camera { name: "camera".to_owned(), frame: PLAIN.size, glyphs: None };
    crate::setup::Setup { camera, aircraft: None, regions: regions.collect() }.validate().unwrap();
}

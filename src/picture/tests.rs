#![allow(clippy::unwrap_used)]
use image::{GrayImage, Luma};

use crate::files::Existing;

use super::*;

fn label(rect: [u32; 4], title: &str, detail: &str) -> Label {
    Label { rect: rect.into(), title: title.to_owned(), detail: detail.to_owned() }
}

fn frame(width: u32, height: u32) -> GrayImage {
    GrayImage::from_fn(width, height, |x, y| Luma([((x + 2 * y) % 200) as u8 + 20]))
}

/// Whether the pixels in a rectangle are unchanged from the frame.
fn is_untouched(picture: &RgbImage, frame: &GrayImage, rect: PixelRect) -> bool {
    let columns = rect.left..rect.right();
    columns.flat_map(|x| (rect.top..rect.bottom()).map(move |y| (x, y))).all(|(x, y)| {
        let Luma([grey]) = *frame.get_pixel(x, y);
        picture.get_pixel(x, y).0 == [grey; 3]
    })
}

/// Nine readouts in corners, at edges and in close rows: more crowded than real overlays.
fn crowded() -> Vec<Label> {
    let rects = [
        [2, 2, 60, 26],
        [570, 2, 68, 26],
        [0, 452, 80, 28],
        [560, 454, 80, 26],
        [280, 0, 70, 24],
        [20, 200, 60, 26],
        [20, 232, 60, 26],
        [20, 264, 60, 26],
        [300, 450, 64, 30],
    ];
    let titles =
        ["speed", "satellites", "voltage", "throttle", "heading", "current", "altitude", "rpm", "channel-9"];
    rects.into_iter().zip(titles).map(|(rect, title)| label(rect, title, "1234.5 (98 %)")).collect()
}

#[test]
fn no_digit_is_covered_on_a_crowded_overlay() {
    let frame = frame(640, 480);
    let picture = annotate(&frame, &crowded());
    for label in crowded() {
        assert!(is_untouched(&picture, &frame, label.rect), "{} is covered", label.title);
    }
}

#[test]
fn plates_do_not_cover_each_other_and_lie_inside_the_frame() {
    let labels = crowded();
    let labels: Vec<&Label> = labels.iter().collect();
    let plates = place_plates(&labels, (640, 480), 2);
    for (index, plate) in plates.iter().enumerate() {
        assert!(plate.rect.right() <= 640 && plate.rect.bottom() <= 480, "{plate:?}");
        for other in &plates[..index] {
            let disjoint = plate.rect.right() <= other.rect.left
                || other.rect.right() <= plate.rect.left
                || plate.rect.bottom() <= other.rect.top
                || other.rect.bottom() <= plate.rect.top;
            assert!(disjoint, "{plate:?} covers {other:?}");
        }
    }
}

#[test]
fn each_box_has_an_outline_of_another_colour() {
    let labels = crowded();
    let picture = annotate(&frame(640, 480), &labels[4..8]);
    let corners: Vec<_> = labels[4..8]
        .iter()
        .map(|label| *picture.get_pixel(label.rect.right(), label.rect.top + 12))
        .collect();
    assert_eq!(corners, COLOURS[..4].to_vec());
}

#[test]
fn the_name_is_drawn_in_letters() {
    let picture = annotate(&GrayImage::new(320, 200), &[label([100, 100, 60, 20], "speed", "")]);
    let coloured = picture.pixels().filter(|pixel| **pixel == COLOURS[0]).count();
    let outline = 2 * (62 + 20 + 64 + 22) + 4;
    // The letters s, p, e, e, d have 20 to 40 dots each.
    assert!((outline + 100..outline + 200).contains(&coloured), "{coloured}");
}

#[test]
fn frames_of_any_size_and_boxes_anywhere_are_drawn() {
    let labels = [
        label([0, 0, u32::MAX, u32::MAX], "all", "äöü Ω 漢"),
        label([u32::MAX, 5, 10, 10], "outside", ""),
        label([5, 5, 0, 10], "empty", ""),
        label([1, 1, 1, 1], &"long ".repeat(1000), &"text ".repeat(1000)),
    ];
    for size in [(0, 0), (1, 1), (7, 3), (64, 48), (640, 480)] {
        assert_eq!(annotate(&frame(size.0, size.1), &labels).dimensions(), size);
    }
}

#[test]
fn a_saved_picture_is_read_back_the_same_and_replaced_only_if_asked() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("frame.png");
    let picture = annotate(&frame(64, 48), &[]);
    save_png(&picture, &path, Existing::Keep).unwrap();
    assert_eq!(image::open(&path).unwrap().into_rgb8(), picture);
    let message = save_png(&picture, &path, Existing::Keep).unwrap_err().to_string();
    assert!(
        message.ends_with("frame.png: it exists already; name another file, or move it away"),
        "{message}"
    );
    let message = save_png(&picture, &folder.path().join("no/frame.png"), Existing::Replace).unwrap_err();
    assert!(message.to_string().contains("there is no such folder; choose another path"), "{message}");
}

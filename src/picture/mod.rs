//! Pictures for the pilot to check: a still of the clip with the regions drawn and named on it.

mod layout;
mod letters;

#[cfg(test)]
mod tests;

use std::io::Cursor;
use std::path::{Path, PathBuf};

use image::{DynamicImage, GrayImage, ImageFormat, Rgb, RgbImage};
use imageproc::drawing::{draw_filled_rect_mut, draw_hollow_rect_mut};
use imageproc::rect::Rect;
use thiserror::Error;

use crate::files::{Existing, write_whole};
use crate::geometry::PixelRect;
use layout::{Plate, place_plates};
pub(crate) use letters::draw_line;

/// A region to be drawn.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Label {
    /// The box, in pixels of the picture.
    pub place: PixelRect,
    /// Its name, such as the channel.
    pub title: String,
    /// What is read there or known of it; may be empty.
    pub detail: String,
}

/// A picture that could not be saved.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum PictureError {
    /// The file exists and is not to be replaced.
    #[error("{} exists already: name another file, or move it away", path.display())]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// The picture cannot be written as PNG.
    #[error("cannot write the picture {}: {source}; name another place for it, or mend that one", path.display())]
    Unwritable {
        /// The file.
        path: PathBuf,
        /// The reason.
        source: image::ImageError,
    },
}

/// Colours that people with any common kind of colour blindness tell apart: the palette of
/// M. Okabe and K. Ito, "Color Universal Design" (2008), without its black and its blue, which
/// are hard to see on the dark plates. Order: orange, sky blue, yellow, vermillion, bluish green,
/// reddish purple.
const COLOURS: [Rgb<u8>; 6] = [
    Rgb([230, 159, 0]),
    Rgb([86, 180, 233]),
    Rgb([240, 228, 66]),
    Rgb([213, 94, 0]),
    Rgb([0, 158, 115]),
    Rgb([204, 121, 167]),
];
const PLATE_COLOUR: Rgb<u8> = Rgb([0, 0, 0]);
/// The line around a box: coloured, with a dark line on its outer side for bright backgrounds.
const OUTLINE_PX: u32 = 3;

/// Draws each region's outline and a plate with its name on a still, in colour.
///
/// Outlines lie outside the boxes and plates beside them, so that no digit is covered as long as
/// there is room elsewhere. Boxes that leave the picture are cut at its border.
#[must_use]
pub fn annotate(still: &GrayImage, labels: &[Label]) -> RgbImage {
    let mut picture = DynamicImage::ImageLuma8(still.clone()).into_rgb8();
    let inside: Vec<(Label, Rgb<u8>)> = labels
        .iter()
        .zip(COLOURS.iter().cycle())
        .filter_map(|(label, colour)| {
            let place = cut_to(label.place, still.dimensions())?;
            Some((Label { place, ..label.clone() }, *colour))
        })
        .collect();
    for (label, colour) in &inside {
        draw_outline(&mut picture, label.place, *colour);
    }
    let scale = letters::scale_for(still.height());
    let labels: Vec<&Label> = inside.iter().map(|(label, _)| label).collect();
    for (plate, (_, colour)) in place_plates(&labels, still.dimensions(), scale).iter().zip(&inside) {
        draw_plate(&mut picture, plate, *colour, scale);
    }
    picture
}

/// Saves a picture as PNG, whole or not at all.
///
/// # Errors
/// [`PictureError`] names the file and the reason.
pub fn save_png(picture: &RgbImage, path: &Path, existing: Existing) -> Result<(), PictureError> {
    let unwritable = |source| PictureError::Unwritable { path: path.to_owned(), source };
    let mut bytes = Cursor::new(Vec::new());
    picture.write_to(&mut bytes, ImageFormat::Png).map_err(unwritable)?;
    write_whole(path, bytes.get_ref(), existing).map_err(|error| match error.kind() {
        std::io::ErrorKind::AlreadyExists if existing == Existing::Keep => {
            PictureError::Exists { path: path.to_owned() }
        }
        _ => unwritable(error.into()),
    })
}

/// The part of a box inside a picture; `None` where nothing is left.
fn cut_to(place: PixelRect, (width, height): (u32, u32)) -> Option<PixelRect> {
    let right = place.right().min(width);
    let bottom = place.bottom().min(height);
    let (across, down) = (right.checked_sub(place.left)?, bottom.checked_sub(place.top)?);
    (across > 0 && down > 0).then_some(PixelRect { width: across, height: down, ..place })
}

fn draw_outline(picture: &mut RgbImage, place: PixelRect, colour: Rgb<u8>) {
    for (distance, colour) in [(1, colour), (2, colour), (OUTLINE_PX, PLATE_COLOUR)] {
        draw_hollow_rect_mut(picture, around(place, distance), colour);
    }
}

/// The rectangle `distance` pixels outside a box that lies in a picture.
fn around(place: PixelRect, distance: u32) -> Rect {
    let out = i64::from(distance);
    let start = |from: u32| i32::try_from(i64::from(from) - out).unwrap_or(i32::MAX);
    Rect::at(start(place.left), start(place.top))
        .of_size(place.width + 2 * distance, place.height + 2 * distance)
}

fn draw_plate(picture: &mut RgbImage, plate: &Plate, colour: Rgb<u8>, scale: u32) {
    draw_filled_rect_mut(picture, around(plate.place, 0), PLATE_COLOUR);
    for (row, line) in (0..).zip(&plate.lines) {
        let top = plate.place.top + layout::MARGIN_PX + row * layout::line_height(scale);
        letters::draw_line(picture, line, (plate.place.left + layout::MARGIN_PX, top), scale, colour);
    }
}

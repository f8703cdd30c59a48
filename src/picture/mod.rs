//! Pictures for the pilot to check: a frame of the clip on which the regions are drawn with their names.

mod layout;
mod letters;

#[cfg(test)]
mod tests;

use std::path::{Path, PathBuf};

use image::{DynamicImage, GrayImage, Rgb, RgbImage};
use imageproc::drawing::{draw_filled_rect_mut, draw_hollow_rect_mut};
use imageproc::rect::Rect;
use thiserror::Error;

use crate::files::{OutputKind, PNG_SOFTWARE, WriteRefusal, WriteRules, write_kind};
use crate::geometry::PixelRect;
use layout::{Plate, place_plates};
pub(crate) use letters::draw_line;

/// A region to draw on a picture.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Label {
    /// The box of the region, in pixels of the frame.
    pub rect: PixelRect,
    /// Name of the region, such as the channel.
    pub title: String,
    /// The reading or a property of the region; may be empty.
    pub detail: String,
}

/// Why a picture could not be saved.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum PictureError {
    /// The picture must not be written to this path.
    #[error("the picture cannot be written to {}: {refusal}; name another file, or move it away", path.display())]
    Refused {
        /// Path of the picture file.
        path: PathBuf,
        /// Why the file may not be written to.
        refusal: WriteRefusal,
    },
    /// The picture cannot be encoded as PNG.
    #[error("cannot make the picture {}: {source}; this is a fault of the program, please report it", path.display())]
    Unencodable {
        /// Path of the picture file.
        path: PathBuf,
        /// Error of the image encoder.
        source: png::EncodingError,
    },
    /// The picture cannot be written.
    #[error("cannot write the picture {}: {source}; choose another path, or fix this one", path.display())]
    Unwritable {
        /// Path of the picture file.
        path: PathBuf,
        /// Error of the operating system.
        source: std::io::Error,
    },
}

/// Colours that can be distinguished with any common kind of colour blindness: orange, sky blue, yellow, vermillion,
/// bluish green, reddish purple. Source: M. Okabe and K. Ito, "Color Universal Design" (2008). Black and blue of that
/// palette are left out, because they are hard to see on dark plates.
const COLOURS: [Rgb<u8>; 6] = [
    Rgb([230, 159, 0]),
    Rgb([86, 180, 233]),
    Rgb([240, 228, 66]),
    Rgb([213, 94, 0]),
    Rgb([0, 158, 115]),
    Rgb([204, 121, 167]),
];
/// Background of the labels.
const PLATE_COLOUR: Rgb<u8> = Rgb([0, 0, 0]);
/// Width of the line around a box, in pixels: two pixels are coloured, and an outer one is dark so that the
/// line stands out from bright backgrounds.
const OUTLINE_PX: u32 = 3;

/// Draws each region's outline and a label with its name on a frame, in colour.
///
/// Outlines lie outside the boxes and labels beside them, so that digits are covered only if there is no room
/// elsewhere. Boxes that extend beyond the frame are cut at its edge.
#[must_use]
pub fn annotate(frame: &GrayImage, labels: &[Label]) -> RgbImage {
    let mut picture = DynamicImage::ImageLuma8(frame.clone()).into_rgb8();
    let inside: Vec<(Label, Rgb<u8>)> = labels
        .iter()
        .zip(COLOURS.iter().cycle())
        .filter_map(|(label, colour)| {
            let rect = non_empty(label.rect.clipped_to(frame.dimensions()))?;
            Some((Label { rect, ..label.clone() }, *colour))
        })
        .collect();
    for (label, colour) in &inside {
        draw_outline(&mut picture, label.rect, *colour);
    }
    let scale = letters::scale_for(frame.height());
    let labels: Vec<&Label> = inside.iter().map(|(label, _)| label).collect();
    for (plate, (_, colour)) in place_plates(&labels, frame.dimensions(), scale).iter().zip(&inside) {
        draw_plate(&mut picture, plate, *colour, scale);
    }
    picture
}

/// Checks that a picture may be written to a path. Call it before anything that takes long.
///
/// # Errors
/// [`PictureError::Refused`] names the file and the reason.
pub fn check_path(path: &Path, rules: &WriteRules) -> Result<(), PictureError> {
    let refused = |refusal| PictureError::Refused { path: path.to_owned(), refusal };
    rules.check(path, OutputKind::Picture).map_err(refused)
}

/// Saves a picture as PNG. The file is written as a whole or not at all.
///
/// # Errors
/// [`PictureError`] names the file and the reason.
pub fn save_png(picture: &RgbImage, path: &Path, rules: impl Into<WriteRules>) -> Result<(), PictureError> {
    let rules = rules.into();
    check_path(path, &rules)?;
    let bytes =
        png_of(picture).map_err(|source| PictureError::Unencodable { path: path.to_owned(), source })?;
    write_kind(path, &bytes, OutputKind::Picture, &rules)
        .map_err(|source| PictureError::Unwritable { path: path.to_owned(), source })
}

/// The bytes of a PNG that names the program as its software.
fn png_of(picture: &RgbImage) -> Result<Vec<u8>, png::EncodingError> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, picture.width(), picture.height());
    encoder.set_color(png::ColorType::Rgb);
    let (keyword, program) = PNG_SOFTWARE;
    encoder.add_text_chunk(keyword.to_owned(), program.to_owned())?;
    let mut writer = encoder.write_header()?;
    writer.write_image_data(picture.as_raw())?;
    writer.finish()?;
    Ok(bytes)
}

/// The rectangle, if it has any pixels.
fn non_empty(rect: PixelRect) -> Option<PixelRect> {
    (rect.area_px() > 0).then_some(rect)
}

fn draw_outline(picture: &mut RgbImage, rect: PixelRect, colour: Rgb<u8>) {
    for (distance, colour) in [(1, colour), (2, colour), (OUTLINE_PX, PLATE_COLOUR)] {
        draw_hollow_rect_mut(picture, around(rect, distance), colour);
    }
}

/// The rectangle that is larger than another one by `distance` pixels on each side. Unlike a [`PixelRect`] it
/// may begin left of the image or above it.
fn around(rect: PixelRect, distance: u32) -> Rect {
    let start = |from: u32| i32::try_from(i64::from(from) - i64::from(distance)).unwrap_or(i32::MAX);
    Rect::at(start(rect.left), start(rect.top)).of_size(rect.width + 2 * distance, rect.height + 2 * distance)
}

fn draw_plate(picture: &mut RgbImage, plate: &Plate, colour: Rgb<u8>, scale: u32) {
    draw_filled_rect_mut(picture, around(plate.rect, 0), PLATE_COLOUR);
    for (row, line) in (0..).zip(&plate.lines) {
        let top = plate.rect.top + layout::MARGIN_PX + row * layout::line_height(scale);
        letters::draw_line(picture, line, (plate.rect.left + layout::MARGIN_PX, top), scale, colour);
    }
}

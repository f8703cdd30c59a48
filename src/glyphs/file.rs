//! Glyph set files: `glyphs.toml` and one PNG for each face, in one folder.
//!
//! ```toml
//! name = "block"
//! any_size = true            # glyphs may appear in any size; learned ones only in their stored size
//!
//! [[face]]
//! picture = "block.png"      # luma + alpha, one row of equal cells, left to right
//! cell = [12, 18]            # width, height of a cell in pixels
//! channels = []              # channels shown in this face; empty: any
//!
//! [[face.glyph]]
//! character = "0"
//! column = 0                 # cell number from the left
//! advance = 12.0             # pixels from the left edge of this glyph to that of the next
//! ```

use std::fs;
use std::io::Cursor;
use std::path::{Path, PathBuf};

use image::{GrayAlphaImage, ImageFormat, LumaA};
use ndarray::Array2;
use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::{CHARACTERS, Face, Glyph, GlyphSet};
use crate::advice::{Advice, Advised};
use crate::files::{Existing, read_error_in_words, write_whole};
use crate::model::channel::Channel;
use crate::toml_words::in_one_line;

/// File name of the description in the folder of a glyph set.
const DESCRIPTION: &str = "glyphs.toml";

/// Maximum width and height of a cell, in pixels. It limits the memory that a file can take; set by
/// judgement, several times the size of the largest overlay digits.
const MAX_CELL_PX: usize = 512;

/// Why the files of a glyph set cannot be read or written.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum GlyphFileError {
    /// The glyph folder that a setup names does not exist.
    #[error(
        "the glyph folder {} that the setup names does not exist: fix `glyphs` in {}, label the digits, \
         or remove the key to use the built-in digits",
        folder.display(),
        setup.display()
    )]
    NoFolder {
        /// Path of the glyph folder.
        folder: PathBuf,
        /// Path of the setup file.
        setup: PathBuf,
    },
    /// A file of a glyph set cannot be read.
    #[error("cannot read the glyph set file {path}: {reason}; teach the set again, or fix the path `glyphs` under [camera] in the setup file", path = .path.display())]
    Unreadable {
        /// Path of the file, a description or an image.
        path: PathBuf,
        /// Reason of the failure, in words.
        reason: String,
    },
    /// The content of a file of a glyph set is not valid.
    #[error("the glyph set file {path} is not usable: {reason}", path = .path.display())]
    Malformed {
        /// Path of the file, a description or an image.
        path: PathBuf,
        /// What is wrong with the content, and what would be valid.
        reason: String,
    },
    /// A file of a glyph set cannot be written.
    #[error("cannot write the glyph set file {path}: {reason}", path = .path.display())]
    Unwritable {
        /// Path of the file, a description or an image.
        path: PathBuf,
        /// Reason of the failure, in words.
        reason: String,
    },
}

impl Advised for GlyphFileError {
    fn advice(&self) -> Option<Advice> {
        matches!(self, Self::NoFolder { .. }).then_some(Advice::TeachDigits)
    }
}

#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Description {
    name: String,
    #[serde(default)]
    any_size: bool,
    #[serde(rename = "face", default)]
    faces: Vec<FaceDescription>,
}

#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct FaceDescription {
    picture: String,
    cell: (usize, usize),
    #[serde(default)]
    channels: Vec<Channel>,
    #[serde(rename = "glyph", default)]
    glyphs: Vec<GlyphDescription>,
}

#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct GlyphDescription {
    character: char,
    column: usize,
    advance: f32,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pictures: Option<u32>,
}

impl GlyphSet {
    /// Loads the glyph set in a folder.
    ///
    /// # Errors
    ///
    /// [`GlyphFileError`] names the file and what is wrong with it.
    pub fn load(folder: &Path) -> Result<Self, GlyphFileError> {
        let path = folder.join(DESCRIPTION);
        let text = fs::read_to_string(&path).map_err(|error| unreadable(path.clone(), error))?;
        Self::from_parts(&path, &text, &|picture| {
            let path = folder.join(picture);
            fs::read(&path).map_err(|error| unreadable(path, error))
        })
    }

    /// Builds a glyph set from the text of its description. `picture_bytes` returns the content of an image
    /// file, and `path` is the description's path for messages.
    pub(super) fn from_parts(
        path: &Path,
        text: &str,
        picture_bytes: &dyn Fn(&str) -> Result<Vec<u8>, GlyphFileError>,
    ) -> Result<Self, GlyphFileError> {
        let malformed = |reason: String| GlyphFileError::Malformed { path: path.to_owned(), reason };
        let description: Description =
            toml::from_str(text).map_err(|error| malformed(in_one_line(text, &error)))?;
        let mut faces = Vec::new();
        for face in &description.faces {
            let bytes = picture_bytes(&face.picture)?;
            faces.push(face_from(face, &bytes).map_err(malformed)?);
        }
        if faces.is_empty() {
            return Err(malformed("it has no [[face]]: teach the set again".to_owned()));
        }
        Ok(Self { name: description.name, faces, any_size: description.any_size })
    }

    /// Saves the glyph set into a folder, which is created if it does not exist. The description is written
    /// last, so that a folder with a description has all images.
    ///
    /// # Errors
    ///
    /// [`GlyphFileError::Unwritable`] names the file and the reason.
    pub fn save(&self, folder: &Path) -> Result<(), GlyphFileError> {
        fs::create_dir_all(folder).map_err(|error| unwritable(folder, &error))?;
        let mut faces = Vec::new();
        for face in &self.faces {
            let picture = format!("{}.png", face.name);
            let mut bytes = Vec::new();
            sheet_of(face)
                .write_to(&mut Cursor::new(&mut bytes), ImageFormat::Png)
                .map_err(|error| unwritable(&folder.join(&picture), &error))?;
            replace_file(&folder.join(&picture), &bytes)?;
            faces.push(describe(face, picture));
        }
        let description = Description { name: self.name.clone(), any_size: self.any_size, faces };
        let path = folder.join(DESCRIPTION);
        let text = toml::to_string_pretty(&description).map_err(|error| unwritable(&path, &error))?;
        replace_file(&path, text.as_bytes())
    }
}

fn unreadable(path: PathBuf, error: std::io::Error) -> GlyphFileError {
    GlyphFileError::Unreadable { path, reason: read_error_in_words(error).to_string() }
}

fn unwritable(path: &Path, error: &dyn std::fmt::Display) -> GlyphFileError {
    GlyphFileError::Unwritable { path: path.to_owned(), reason: error.to_string() }
}

fn replace_file(path: &Path, bytes: &[u8]) -> Result<(), GlyphFileError> {
    write_whole(path, bytes, Existing::Replace).map_err(|error| unwritable(path, &error))
}

fn face_from(face: &FaceDescription, png: &[u8]) -> Result<Face, String> {
    let (width, height) = face.cell;
    if width == 0 || height == 0 || width > MAX_CELL_PX || height > MAX_CELL_PX {
        return Err(format!("cell = [{width}, {height}]: both must be 1 to {MAX_CELL_PX} pixels"));
    }
    let sheet = image::load_from_memory_with_format(png, ImageFormat::Png)
        .map_err(|error| format!("picture {}: {error}", face.picture))?
        .into_luma_alpha8();
    let glyphs = face.glyphs.iter().map(|glyph| glyph_from(face, glyph, &sheet)).collect::<Result<_, _>>()?;
    let name = face.picture.trim_end_matches(".png").to_owned();
    Ok(Face { name, channels: face.channels.clone(), cell: face.cell, glyphs })
}

fn glyph_from(
    face: &FaceDescription,
    glyph: &GlyphDescription,
    sheet: &GrayAlphaImage,
) -> Result<Glyph, String> {
    let (width, height) = face.cell;
    if !CHARACTERS.contains(glyph.character) {
        return Err(format!("character '{}' is not one of {CHARACTERS}", glyph.character));
    }
    if !(glyph.advance > 0.0 && glyph.advance <= 2.0 * width as f32) {
        return Err(format!(
            "advance = {} of character '{}' must be above 0 and at most two cell widths",
            glyph.advance, glyph.character
        ));
    }
    let columns = sheet.width() as usize / width;
    if glyph.column >= columns || (sheet.height() as usize) < height {
        return Err(format!(
            "picture {} is {}x{} pixels: it has no cell {} for character '{}'",
            face.picture,
            sheet.width(),
            sheet.height(),
            glyph.column,
            glyph.character
        ));
    }
    let pixel =
        |(row, col): (usize, usize)| *sheet.get_pixel((glyph.column * width + col) as u32, row as u32);
    Ok(Glyph {
        character: glyph.character,
        levels: Array2::from_shape_fn((height, width), |at| f32::from(pixel(at).0[0])),
        opacity: Array2::from_shape_fn((height, width), |at| f32::from(pixel(at).0[1]) / 255.0),
        advance: glyph.advance,
        pictures: glyph.pictures,
    })
}

/// The image of a face: its cells in one row.
fn sheet_of(face: &Face) -> GrayAlphaImage {
    let (width, height) = face.cell;
    GrayAlphaImage::from_fn((face.glyphs.len() * width) as u32, height as u32, |x, y| {
        let glyph = &face.glyphs[x as usize / width];
        let at = [y as usize, x as usize % width];
        LumaA([glyph.levels[at].round() as u8, (255.0 * glyph.opacity[at]).round() as u8])
    })
}

fn describe(face: &Face, picture: String) -> FaceDescription {
    let glyphs = face
        .glyphs
        .iter()
        .enumerate()
        .map(|(column, glyph)| GlyphDescription {
            character: glyph.character,
            column,
            advance: glyph.advance,
            pictures: glyph.pictures,
        })
        .collect();
    FaceDescription { picture, cell: face.cell, channels: face.channels.clone(), glyphs }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn small_set() -> GlyphSet {
        let glyph = |character: char, level: f32| Glyph {
            character,
            levels: Array2::from_elem((4, 3), level),
            opacity: Array2::ones((4, 3)),
            advance: 3.5,
            pictures: Some(3),
        };
        let face = Face {
            name: "speed".to_owned(),
            channels: vec![Channel::Speed],
            cell: (3, 4),
            glyphs: vec![glyph('0', 20.0), glyph('7', 240.0)],
        };
        GlyphSet { name: "cam".to_owned(), faces: vec![face], any_size: false }
    }

    #[test]
    fn a_saved_set_is_read_back_the_same() {
        let folder = tempfile::tempdir().unwrap();
        small_set().save(folder.path()).unwrap();
        assert_eq!(GlyphSet::load(folder.path()).unwrap(), small_set());
    }

    #[test]
    fn a_missing_set_is_named_with_the_fix() {
        let message = GlyphSet::load(Path::new("nowhere")).unwrap_err().to_string();
        assert!(message.contains("nowhere") && message.contains("glyphs"), "{message}");
    }

    #[test]
    fn an_invalid_description_is_reported_in_one_line_with_its_number() {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join(DESCRIPTION), "name = \"cam\"\njunk = = 3").unwrap();
        let message = GlyphSet::load(folder.path()).unwrap_err().to_string();
        assert!(message.contains("line 2") && !message.contains('|') && !message.contains('\n'), "{message}");
    }

    #[test]
    fn a_column_outside_the_picture_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        small_set().save(folder.path()).unwrap();
        let path = folder.path().join(DESCRIPTION);
        let text = fs::read_to_string(&path).unwrap().replace("column = 1", "column = 9");
        fs::write(&path, text).unwrap();
        let message = GlyphSet::load(folder.path()).unwrap_err().to_string();
        assert!(message.contains("no cell 9"), "{message}");
    }
}

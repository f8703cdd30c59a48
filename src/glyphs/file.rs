//! Glyph set files: `glyphs.toml` and one PNG for each face, in one folder.
//!
//! ```toml
//! name = "block"
//! any_size = true            # glyphs may appear in any size; learned ones only in their stored size
//!
//! [[face]]
//! picture = "block.png"      # luma + alpha, one row of cells of the same size
//! cell = [12, 18]            # width, height of a cell in pixels
//! channels = []              # channels shown in this face; empty: any
//!
//! [[face.glyph]]
//! character = "0"
//! column = 0                 # number of the cell from the left, from 0
//! advance = 12.0             # pixels from the left edge of this glyph to that of the next
//! ```

use std::fs;
use std::io::Cursor;
use std::path::{Component, Path, PathBuf};

use image::{GrayAlphaImage, ImageFormat, ImageReader, LumaA};
use ndarray::Array2;
use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::{CHARACTERS, Face, Glyph, GlyphSet};
use crate::advice::{Advice, Advised};
use crate::files::{
    Existing, FileBatch, FileBatchError, MAX_PICTURE_BYTES, MAX_TEXT_BYTES, OutputKind, WriteRules, files_in,
    read_bytes, read_text,
};
use crate::model::channel::Channel;
use crate::toml_words::in_one_line;

/// File name of the description in the folder of a glyph set.
const DESCRIPTION: &str = "glyphs.toml";
/// File names of the labelled readings in the folder of a glyph set: the present name, and the name in folders that
/// earlier versions wrote. The first file that exists is read; only the present name is written.
pub const LABEL_FILES: [&str; 2] = ["labels.toml", "told.toml"];

/// Maximum number of faces of a glyph set. Learned sets have one for each typeface and size; set by judgement.
const MAX_FACES: usize = 64;
/// Maximum number of pixels of one image of glyphs, and of all glyphs of a set together. 13 characters in cells of
/// the maximum size have 3.4 million. The limit keeps the memory for a set below about 64 MB, even if its files are
/// small.
const MAX_SET_PX: usize = 1 << 22;

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
    #[error("cannot read the glyph set file {path}: {reason}; teach the digits again, or correct the folder `glyphs` under [camera] in the setup file", path = .path.display())]
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
    /// The folder for a glyph set holds other files.
    #[error(
        "the folder {} holds files, but no glyph set; write the name of a new folder as `glyphs` under [camera] in the setup file",
        folder.display()
    )]
    OtherFolder {
        /// Path of the folder.
        folder: PathBuf,
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
    #[serde(default, alias = "pictures", skip_serializing_if = "Option::is_none")]
    image_count: Option<u32>,
}

impl Description {
    /// Checks the number and the size of the faces, and that their images are in the folder of the set.
    fn check_size(&self) -> Result<(), String> {
        if self.faces.len() > MAX_FACES {
            return Err(format!(
                "it has {} tables [[face]]; delete some, so that at most {MAX_FACES} are left",
                self.faces.len()
            ));
        }
        if let Some(face) = self.faces.iter().find(|face| !is_file_name(&face.picture)) {
            return Err(format!(
                "picture = {:?} must be a file name without a path; the file must be in the folder of this set",
                face.picture
            ));
        }
        let area = |face: &FaceDescription| face.cell.0.saturating_mul(face.cell.1);
        let pixels = self.faces.iter().map(|face| area(face).saturating_mul(face.glyphs.len()));
        if pixels.fold(0, usize::saturating_add) > MAX_SET_PX {
            return Err(format!(
                "its glyphs have more than {MAX_SET_PX} pixels in all; delete glyphs or whole tables [[face]]"
            ));
        }
        Ok(())
    }
}

/// Whether a text is the name of a file, without a folder.
fn is_file_name(text: &str) -> bool {
    let mut parts = Path::new(text).components();
    matches!((parts.next(), parts.next()), (Some(Component::Normal(name)), None) if name == text)
}

impl GlyphSet {
    /// Loads the glyph set in a folder.
    ///
    /// # Errors
    ///
    /// [`GlyphFileError`] names the file and what is wrong with it.
    pub fn load(folder: &Path) -> Result<Self, GlyphFileError> {
        let path = folder.join(DESCRIPTION);
        let text = read_text(&path, MAX_TEXT_BYTES).map_err(|error| unreadable(path.clone(), &error))?;
        Self::from_parts(&path, &text, &|picture| {
            let path = folder.join(picture);
            read_bytes(&path, MAX_PICTURE_BYTES).map_err(|error| unreadable(path, &error))
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
        description.check_size().map_err(malformed)?;
        let mut faces = Vec::new();
        for face in &description.faces {
            let bytes = picture_bytes(&face.picture)?;
            faces.push(face_from(face, &bytes).map_err(malformed)?);
        }
        if faces.is_empty() {
            return Err(malformed("it has no table [[face]]; teach the digits again".to_owned()));
        }
        Ok(Self { name: description.name, faces, any_size: description.any_size })
    }

    /// Checks that the files in a folder are those of a glyph set, if it holds any.
    ///
    /// # Errors
    ///
    /// [`GlyphFileError::OtherFolder`] if they are not.
    pub fn check_folder(folder: &Path) -> Result<(), GlyphFileError> {
        let has_labels = LABEL_FILES.iter().any(|name| folder.join(name).is_file());
        let is_set = || has_labels || own_pictures(folder).is_some();
        if files_in(folder).is_empty() || is_set() {
            return Ok(());
        }
        Err(GlyphFileError::OtherFolder { folder: folder.to_owned() })
    }

    /// Saves the glyph set into a folder, which is created if it does not exist: all files or none. With
    /// [`Existing::ReplaceOwn`] only the files of the set that the folder holds are replaced.
    ///
    /// # Errors
    ///
    /// [`GlyphFileError::Unwritable`] names the file and the reason; [`GlyphFileError::OtherFolder`] as in
    /// [`GlyphSet::check_folder`].
    pub fn save(&self, folder: &Path, rules: impl Into<WriteRules>) -> Result<(), GlyphFileError> {
        let rules = rules.into();
        Self::check_folder(folder)?;
        let own = own_pictures(folder).unwrap_or_default();
        fs::create_dir_all(folder).map_err(|error| unwritable(folder, &error))?;
        let mut files = FileBatch::create(folder).map_err(|error| not_written(&error))?;
        let mut faces = Vec::new();
        for face in &self.faces {
            let picture = format!("{}.png", face.name);
            let path = folder.join(&picture);
            let existing = if own.contains(&picture) { Existing::Replace } else { rules.existing() };
            let allowed = rules.with_existing(existing).check(&path, OutputKind::Document);
            allowed.map_err(|refusal| unwritable(&path, &format!("{refusal}; move it away")))?;
            let mut bytes = Vec::new();
            sheet_of(face)
                .write_to(&mut Cursor::new(&mut bytes), ImageFormat::Png)
                .map_err(|error| unwritable(&path, &error))?;
            files.add(&picture, &bytes).map_err(|error| not_written(&error))?;
            faces.push(describe(face, picture));
        }
        let description = Description { name: self.name.clone(), any_size: self.any_size, faces };
        let text = toml::to_string_pretty(&description)
            .map_err(|error| unwritable(&folder.join(DESCRIPTION), &error))?;
        files.add(DESCRIPTION, text.as_bytes()).map_err(|error| not_written(&error))?;
        let written = files.commit(rules.with_existing(Existing::Replace));
        written.map(drop).map_err(|error| not_written(&error))
    }
}

/// Names of the images of the glyph set in a folder; `None` if it has no valid description.
fn own_pictures(folder: &Path) -> Option<Vec<String>> {
    let text = read_text(&folder.join(DESCRIPTION), MAX_TEXT_BYTES).ok()?;
    let description: Description = toml::from_str(&text).ok()?;
    Some(description.faces.into_iter().map(|face| face.picture).collect())
}

fn unreadable(path: PathBuf, error: &std::io::Error) -> GlyphFileError {
    GlyphFileError::Unreadable { path, reason: error.to_string() }
}

fn unwritable(path: &Path, error: &dyn std::fmt::Display) -> GlyphFileError {
    GlyphFileError::Unwritable { path: path.to_owned(), reason: error.to_string() }
}

fn not_written(error: &FileBatchError) -> GlyphFileError {
    unwritable(&error.path, &error.source)
}

/// Decodes the image of a face, after checking its size.
fn sheet_from(picture: &str, png: &[u8]) -> Result<GrayAlphaImage, String> {
    let reader = || ImageReader::with_format(Cursor::new(png), ImageFormat::Png);
    let broken = |_| {
        format!(
            "picture {picture} is damaged or not a PNG file; teach the digits again, or replace the picture"
        )
    };
    let (width, height) = reader().into_dimensions().map_err(broken)?;
    if u64::from(width) * u64::from(height) > MAX_SET_PX as u64 {
        return Err(format!(
            "picture {picture} is {width}x{height} pixels; give a picture of at most {MAX_SET_PX} pixels in all"
        ));
    }
    Ok(reader().decode().map_err(broken)?.into_luma_alpha8())
}

fn face_from(face: &FaceDescription, png: &[u8]) -> Result<Face, String> {
    let (width, height) = face.cell;
    if width == 0 || height == 0 || width > MAX_CELL_PX || height > MAX_CELL_PX {
        return Err(format!(
            "cell = [{width}, {height}]: write a width and a height of 1 to {MAX_CELL_PX} pixels"
        ));
    }
    let sheet = sheet_from(&face.picture, png)?;
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
        return Err(format!("character '{}' is not one of {CHARACTERS}; delete this glyph", glyph.character));
    }
    if !(glyph.advance > 0.0 && glyph.advance <= 2.0 * width as f32) {
        return Err(format!(
            "advance = {} of character '{}': write a number of pixels above 0 and at most {}, twice the width of the cell",
            glyph.advance,
            glyph.character,
            2 * width
        ));
    }
    let columns = sheet.width() as usize / width;
    if glyph.column >= columns || (sheet.height() as usize) < height {
        return Err(format!(
            "picture {} is {}x{} pixels, too small for the cell of the character '{}', number {} from the left; correct column = {}, or replace the picture",
            face.picture,
            sheet.width(),
            sheet.height(),
            glyph.character,
            glyph.column.saturating_add(1),
            glyph.column
        ));
    }
    let pixel =
        |(row, col): (usize, usize)| *sheet.get_pixel((glyph.column * width + col) as u32, row as u32);
    Ok(Glyph {
        character: glyph.character,
        levels: Array2::from_shape_fn((height, width), |at| f32::from(pixel(at).0[0])),
        opacity: Array2::from_shape_fn((height, width), |at| f32::from(pixel(at).0[1]) / 255.0),
        advance: glyph.advance,
        image_count: glyph.image_count,
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
            image_count: glyph.image_count,
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
            image_count: Some(3),
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
        small_set().save(folder.path(), Existing::ReplaceOwn).unwrap();
        assert_eq!(GlyphSet::load(folder.path()).unwrap(), small_set());
    }

    #[test]
    fn the_number_of_images_is_read_under_its_earlier_name_too() {
        let folder = tempfile::tempdir().unwrap();
        small_set().save(folder.path(), Existing::ReplaceOwn).unwrap();
        let path = folder.path().join(DESCRIPTION);
        let text = fs::read_to_string(&path).unwrap();
        assert!(text.contains("image_count = 3"), "{text}");
        fs::write(&path, text.replace("image_count", "pictures")).unwrap();
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
        small_set().save(folder.path(), Existing::ReplaceOwn).unwrap();
        let path = folder.path().join(DESCRIPTION);
        let text = fs::read_to_string(&path).unwrap().replace("column = 1", "column = 9");
        fs::write(&path, text).unwrap();
        let message = GlyphSet::load(folder.path()).unwrap_err().to_string();
        assert!(message.contains("correct column = 9"), "{message}");
    }
    /// The message for a saved set after a change to its description or image.
    fn message_after(change: impl Fn(&Path)) -> String {
        let folder = tempfile::tempdir().unwrap();
        small_set().save(folder.path(), Existing::ReplaceOwn).unwrap();
        change(folder.path());
        GlyphSet::load(folder.path()).unwrap_err().to_string()
    }

    #[test]
    fn an_image_is_looked_at_before_it_takes_memory() {
        let mut png = Vec::new();
        let mut encoder = png::Encoder::new(&mut png, 60_000, 60_000);
        encoder.set_color(png::ColorType::GrayscaleAlpha);
        encoder.write_header().unwrap().write_chunk(png::chunk::IDAT, &[]).unwrap();
        let message = message_after(|folder| fs::write(folder.join("speed.png"), &png).unwrap());
        assert!(
            message.contains("60000x60000 pixels; give a picture of at most 4194304 pixels"),
            "{message}"
        );
    }

    #[test]
    fn a_damaged_image_is_reported_in_plain_words() {
        let message = message_after(|folder| {
            let bytes = fs::read(folder.join("speed.png")).unwrap();
            fs::write(folder.join("speed.png"), &bytes[..bytes.len() - 20]).unwrap();
        });
        assert!(
            message.ends_with(
                "speed.png is damaged or not a PNG file; teach the digits again, or replace the picture"
            ),
            "{message}"
        );
    }

    #[test]
    fn a_set_with_large_cells_for_many_glyphs_is_refused() {
        let message = message_after(|folder| {
            let glyphs = "[[face.glyph]]\ncharacter = \"0\"\ncolumn = 0\nadvance = 9.0\n".repeat(20);
            let text =
                format!("name = \"x\"\n[[face]]\npicture = \"speed.png\"\ncell = [512, 512]\n{glyphs}");
            fs::write(folder.join(DESCRIPTION), text).unwrap();
        });
        assert!(message.contains("delete glyphs or whole tables [[face]]"), "{message}");
    }

    #[test]
    fn an_image_outside_the_folder_of_the_set_is_not_opened() {
        for picture in ["../speed.png", "/etc/passwd", "sub/speed.png", "", "..", "./speed.png"] {
            let message = message_after(|folder| {
                let text = fs::read_to_string(folder.join(DESCRIPTION)).unwrap();
                fs::write(folder.join(DESCRIPTION), text.replace("\"speed.png\"", &format!("{picture:?}")))
                    .unwrap();
            });
            assert!(message.contains("must be in the folder of this set"), "{picture}: {message}");
        }
    }

    #[test]
    fn files_that_do_not_belong_to_a_glyph_set_are_not_replaced() {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("speed.png"), "a photo").unwrap();
        let error = small_set().save(folder.path(), Existing::ReplaceOwn).unwrap_err();
        assert!(matches!(error, GlyphFileError::OtherFolder { .. }), "{error}");
        fs::write(folder.path().join(LABEL_FILES[0]), "").unwrap();
        let message = small_set().save(folder.path(), Existing::ReplaceOwn).unwrap_err().to_string();
        assert!(message.contains("speed.png") && message.contains("not made by this program"), "{message}");
        assert_eq!(fs::read(folder.path().join("speed.png")).unwrap(), b"a photo");
        small_set().save(folder.path(), Existing::Replace).unwrap();
        small_set().save(folder.path(), Existing::ReplaceOwn).unwrap();
        assert_eq!(GlyphSet::load(folder.path()).unwrap(), small_set());
    }
}

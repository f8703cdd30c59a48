//! Writes each drawn glyph set to a folder named after the set: the description `glyphs.toml`, and an image with one
//! cell per glyph.

use std::path::{Path, PathBuf};

use image::{LumaA, imageops};
use serde::Serialize;

use crate::drawing::{DrawnSet, Glyph};
use crate::error::Error;
use crate::files;

#[derive(Serialize)]
struct SetFile {
    name: &'static str,
    face: Vec<FaceEntry>,
}

#[derive(Serialize)]
struct FaceEntry {
    picture: String,
    cell: [u32; 2],
    channels: Vec<String>,
    glyph: Vec<GlyphEntry>,
}

#[derive(Serialize)]
struct GlyphEntry {
    character: char,
    column: usize,
    advance: f32,
}

/// Magnification of a template relative to the set's cell (set by judgement). Overlays show glyphs larger than their
/// cells, and enlarging a template later would blur it.
const MAGNIFICATION: u32 = 3;

/// An image with brightness and opacity, eight bits each.
type CellPicture = image::ImageBuffer<LumaA<u8>, Vec<u8>>;

/// Writes every drawn glyph set to a folder in `dir`, and returns these folders.
///
/// # Errors
///
/// [`Error::Write`] names the file or folder that could not be written.
pub fn write_templates(dir: &Path) -> Result<Vec<PathBuf>, Error> {
    DrawnSet::ALL.into_iter().map(|set| write_set(set, &dir.join(set.name()))).collect()
}

fn write_set(set: DrawnSet, folder: &Path) -> Result<PathBuf, Error> {
    files::make_folder(folder)?;
    let picture = format!("{}.png", set.name());
    let file = SetFile { name: set.name(), face: vec![face_entry(set, &picture)] };
    files::write_png(&folder.join(&picture), &cells_picture(set))?;
    files::write_toml(&folder.join("glyphs.toml"), &file)?;
    Ok(folder.to_path_buf())
}

fn face_entry(set: DrawnSet, picture: &str) -> FaceEntry {
    let glyph = DrawnSet::CHARACTERS
        .into_iter()
        .enumerate()
        .map(|(column, character)| GlyphEntry {
            character,
            column,
            advance: MAGNIFICATION as f32 * set.advance(character),
        })
        .collect();
    FaceEntry { picture: picture.to_owned(), cell: template_cell(set), channels: Vec::new(), glyph }
}

fn template_cell(set: DrawnSet) -> [u32; 2] {
    set.cell().map(|side| MAGNIFICATION * side)
}

/// The cells of a set in one row.
fn cells_picture(set: DrawnSet) -> CellPicture {
    let [width, height] = template_cell(set);
    let mut picture = CellPicture::new(width * DrawnSet::CHARACTERS.len() as u32, height);
    let glyphs = DrawnSet::CHARACTERS.into_iter().filter_map(|c| set.glyph(c, MAGNIFICATION as f32, 1.0));
    for (column, glyph) in glyphs.enumerate() {
        imageops::replace(&mut picture, &cell_picture(&glyph), i64::from(width) * column as i64, 0);
    }
    picture
}

fn cell_picture(glyph: &Glyph) -> CellPicture {
    CellPicture::from_fn(glyph.width as u32, glyph.height as u32, |x, y| {
        let index = y as usize * glyph.width + x as usize;
        LumaA([glyph.luma[index], glyph.cover[index]].map(|level| (level * 255.0).round() as u8))
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn a_template_image_has_one_cell_for_each_character() {
        let folder = tempfile::tempdir().unwrap();
        let written = write_templates(folder.path()).unwrap();
        assert_eq!(written.len(), DrawnSet::ALL.len());
        let picture = image::open(folder.path().join("block/block.png")).unwrap();
        assert_eq!((picture.width(), picture.height()), (36 * 13, 54));
        assert!(picture.color().has_alpha());
        let text = std::fs::read_to_string(folder.path().join("block/glyphs.toml")).unwrap();
        let parsed: toml::Table = text.parse().unwrap();
        assert_eq!(parsed["face"][0]["cell"].to_string(), "[36, 54]");
        assert_eq!(parsed["face"][0]["glyph"][10]["character"].as_str(), Some("."));
    }

    #[test]
    fn the_template_folders_of_the_project_equal_those_that_the_generator_draws() {
        let folder = tempfile::tempdir().unwrap();
        let kept = Path::new(env!("CARGO_MANIFEST_DIR")).join("../templates");
        for drawn in write_templates(folder.path()).unwrap() {
            let set = drawn.file_name().unwrap().to_str().unwrap().to_owned();
            let text = |folder: &Path| std::fs::read_to_string(folder.join("glyphs.toml")).unwrap();
            assert_eq!(text(&drawn), text(&kept.join(&set)), "glyphs.toml of {set}");
            let pixels =
                |folder: &Path| image::open(folder.join(format!("{set}.png"))).unwrap().into_luma_alpha8();
            assert!(
                pixels(&drawn) == pixels(&kept.join(&set)),
                "{set}.png is not as drawn; renew it: cargo run -p clip-generator -- templates templates"
            );
        }
    }
}

//! The glyph sets that belong to a setup.

use super::file::LoadedSetup;
use crate::glyphs::{GlyphFileError, GlyphSet, builtin_sets};

/// The glyph set of a setup: the one that the setup names, otherwise the one learned beside the setup file,
/// otherwise the built-in sets.
///
/// # Errors
///
/// [`GlyphFileError`] if a file of the set cannot be read, or if the folder that the setup names is missing.
pub fn glyph_sets(setup: &LoadedSetup) -> Result<Vec<GlyphSet>, GlyphFileError> {
    let folder = setup.glyph_folder();
    match &setup.setup.camera.glyphs {
        _ if folder.exists() => Ok(vec![GlyphSet::load(&folder)?]),
        Some(_) => Err(GlyphFileError::NoFolder { folder, setup: setup.path.clone() }),
        None => builtin_sets(),
    }
}

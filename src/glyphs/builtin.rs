//! The built-in glyph sets, compiled in from `templates/`.

use std::path::Path;

use super::{GlyphFileError, GlyphSet};

/// Description (TOML) and image (PNG) of each built-in glyph set.
const SETS: [(&str, &[u8]); 3] = [
    (include_str!("../../templates/block/glyphs.toml"), include_bytes!("../../templates/block/block.png")),
    (include_str!("../../templates/slim/glyphs.toml"), include_bytes!("../../templates/slim/slim.png")),
    (include_str!("../../templates/round/glyphs.toml"), include_bytes!("../../templates/round/round.png")),
];

/// The built-in sets: common overlay digits, drawn for this project.
///
/// # Errors
///
/// [`GlyphFileError`] if a built-in file cannot be used; a test checks that all can.
pub fn builtin_sets() -> Result<Vec<GlyphSet>, GlyphFileError> {
    SETS.iter()
        .map(|(description, picture)| {
            let set = GlyphSet::from_parts(Path::new("templates"), description, &|_| Ok(picture.to_vec()))?;
            Ok(GlyphSet { any_size: true, ..set })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn every_built_in_set_has_all_digits_the_point_and_the_minus_sign() {
        let sets = builtin_sets().unwrap();
        assert_eq!(sets.len(), SETS.len());
        for set in sets {
            for face in &set.faces {
                assert!(face.missing_digits().is_empty(), "{}: {:?}", set.name, face.missing_digits());
                assert!(face.glyph('.').is_some() && face.glyph('-').is_some(), "{}", set.name);
            }
        }
    }
}

//! The built-in sets, compiled in from `templates/`.

use std::path::Path;

use super::{GlyphFileError, GlyphSet};

/// Name, description and picture of every built-in set.
const SETS: [(&str, &str, &[u8]); 0] = [];

/// The built-in sets: common blocky overlay digits, of our own drawing.
///
/// # Errors
/// None as shipped; a test loads them all.
pub fn builtin_sets() -> Result<Vec<GlyphSet>, GlyphFileError> {
    SETS.iter()
        .map(|(name, description, picture)| {
            let set = GlyphSet::from_parts(Path::new(name), description, &|_| Ok(picture.to_vec()))?;
            Ok(GlyphSet { any_size: true, ..set })
        })
        .collect()
}

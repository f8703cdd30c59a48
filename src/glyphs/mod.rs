//! Glyph sets: the shapes of an overlay's characters.
//!
//! A set has one or more faces, because an overlay may use several type sizes; a face has one image for each
//! character. Sets are learned from the pilot's footage ([`learn`](crate::learn)) or come with the program
//! ([`builtin_sets`]). Both are plain image and text files ([`GlyphSet::load`]).

mod builtin;
mod file;

use ndarray::Array2;

use crate::model::channel::Channel;

pub use builtin::builtin_sets;
pub use file::{GlyphFileError, LABEL_FILES};

/// The characters that a glyph set may contain, in the order in which they are stored.
pub const CHARACTERS: &str = "0123456789.-:";

/// The image of one character.
#[derive(Debug, Clone, PartialEq)]
pub struct Glyph {
    /// The character.
    pub character: char,
    /// Grey levels, 0 to 255, as rows x columns of the face's cell.
    pub levels: Array2<f32>,
    /// Opacity, 0 to 1, as rows x columns of the face's cell; 1 everywhere in learned sets.
    pub opacity: Array2<f32>,
    /// Distance from the left edge of this glyph to that of the next one in a text, in pixels of the cell.
    pub advance: f32,
    /// Number of images that `levels` is the mean of; `None` for drawn glyphs, which have no noise.
    pub image_count: Option<u32>,
}

/// The glyphs of one typeface and size.
#[derive(Debug, Clone, PartialEq)]
pub struct Face {
    /// Name of the image file, without its extension.
    pub name: String,
    /// The channels shown in this face; empty if any channel may be.
    pub channels: Vec<Channel>,
    /// Width and height of the cell of every glyph, in pixels.
    pub cell: (usize, usize),
    /// The glyphs, in the order of the cells in the image.
    pub glyphs: Vec<Glyph>,
}

impl Face {
    /// The glyph of a character, if the face has it.
    #[must_use]
    pub fn glyph(&self, character: char) -> Option<&Glyph> {
        self.glyphs.iter().find(|glyph| glyph.character == character)
    }

    /// Height of the opaque part of the digits, in pixels of the cell: the strokes with their outlines in built-in
    /// sets, the whole cell in learned sets. `None` if the face has no digits.
    #[must_use]
    pub fn digit_height(&self) -> Option<f32> {
        let is_opaque =
            |glyph: &Glyph, row: usize| glyph.opacity.row(row).iter().any(|opacity| *opacity > 0.5);
        let digits: Vec<&Glyph> =
            self.glyphs.iter().filter(|glyph| glyph.character.is_ascii_digit()).collect();
        let rows: Vec<usize> =
            (0..self.cell.1).filter(|row| digits.iter().any(|glyph| is_opaque(glyph, *row))).collect();
        Some((rows.last()? - rows.first()? + 1) as f32)
    }

    /// The digits that the face lacks.
    #[must_use]
    pub fn missing_digits(&self) -> Vec<char> {
        ('0'..='9').filter(|digit| self.glyph(*digit).is_none()).collect()
    }
}

/// The faces of one overlay.
#[derive(Debug, Clone, PartialEq)]
pub struct GlyphSet {
    /// Name of the set, for messages.
    pub name: String,
    /// The faces of the set.
    pub faces: Vec<Face>,
    /// Whether glyphs may appear in any size in the frames (built-in sets), or only in their stored size
    /// (learned sets).
    pub any_size: bool,
}

impl GlyphSet {
    /// The digits that some face lacks, in ascending order.
    #[must_use]
    pub fn missing_digits(&self) -> Vec<char> {
        let mut missing: Vec<char> = self.faces.iter().flat_map(Face::missing_digits).collect();
        missing.sort_unstable();
        missing.dedup();
        missing
    }

    /// The face of a channel: the first face that lists the channel, otherwise the first face for any
    /// channel. `None` if no face is for this channel.
    #[must_use]
    pub fn face_for(&self, channel: &Channel) -> Option<&Face> {
        let named = self.faces.iter().find(|face| face.channels.contains(channel));
        named.or_else(|| self.faces.iter().find(|face| face.channels.is_empty()))
    }
}

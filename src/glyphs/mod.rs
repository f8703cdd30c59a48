//! Glyph sets: the shapes of an overlay's characters.
//!
//! A set has one or more faces (an overlay may use two sizes of type); a face has one picture a
//! character. Sets are taught from the pilot's own footage ([`crate::learn`]) or come with the program
//! ([`builtin_sets`]); both are plain files a person can look at ([`GlyphSet::load`]).

mod builtin;
mod file;

use ndarray::Array2;

use crate::model::channel::Channel;

pub use builtin::builtin_sets;
pub use file::GlyphFileError;

/// The characters a glyph set may hold, in the order they are stored.
pub const CHARACTERS: &str = "0123456789.-:";

/// One character's shape.
#[derive(Debug, Clone, PartialEq)]
pub struct Glyph {
    /// The character.
    pub character: char,
    /// Grey levels 0 to 255, rows x columns of the face's cell.
    pub levels: Array2<f32>,
    /// Opacity 0 to 1, same shape; 1 throughout in taught sets.
    pub opacity: Array2<f32>,
    /// Distance from this glyph's left edge to the next one's, in pixels of the cell.
    pub advance: f32,
    /// Pictures that the levels are the mean of; `None` where they are drawn, and so without noise.
    pub pictures: Option<u32>,
}

/// The shapes of one size of type.
#[derive(Debug, Clone, PartialEq)]
pub struct Face {
    /// Name of the picture file without its ending.
    pub name: String,
    /// The channels written in this face; empty: any.
    pub channels: Vec<Channel>,
    /// Width and height of every glyph's cell in pixels.
    pub cell: (usize, usize),
    /// The glyphs known.
    pub glyphs: Vec<Glyph>,
}

impl Face {
    /// The glyph of a character, if it is known.
    #[must_use]
    pub fn glyph(&self, character: char) -> Option<&Glyph> {
        self.glyphs.iter().find(|glyph| glyph.character == character)
    }

    /// Height of the digits' strokes and outlines in pixels of the cell; `None` without digits.
    #[must_use]
    pub fn ink_height(&self) -> Option<f32> {
        let inked = |glyph: &Glyph, row: usize| glyph.opacity.row(row).iter().any(|opacity| *opacity > 0.5);
        let digits: Vec<&Glyph> =
            self.glyphs.iter().filter(|glyph| glyph.character.is_ascii_digit()).collect();
        let rows: Vec<usize> =
            (0..self.cell.1).filter(|row| digits.iter().any(|glyph| inked(glyph, *row))).collect();
        Some((rows.last()? - rows.first()? + 1) as f32)
    }

    /// Digits whose shape is not known.
    #[must_use]
    pub fn missing_digits(&self) -> Vec<char> {
        ('0'..='9').filter(|digit| self.glyph(*digit).is_none()).collect()
    }
}

/// A set of glyphs, as used by one overlay.
#[derive(Debug, Clone, PartialEq)]
pub struct GlyphSet {
    /// Name for messages.
    pub name: String,
    /// The faces.
    pub faces: Vec<Face>,
    /// Whether the glyphs may appear at any size on the frame (built-in sets), or just as large as
    /// they are stored (taught sets).
    pub any_size: bool,
}

impl GlyphSet {
    /// The face a channel is written in: the one that names it, else one for any channel.
    #[must_use]
    pub fn face_for(&self, channel: &Channel) -> Option<&Face> {
        let named = self.faces.iter().find(|face| face.channels.contains(channel));
        named.or_else(|| self.faces.iter().find(|face| face.channels.is_empty()))
    }
}

//! The glyphs of one font at one size, drawn once.

use std::collections::HashMap;
use std::path::Path;

use ab_glyph::{Font, FontVec, PxScale, ScaleFont};

use crate::drawing::{DrawnSet, Glyph, Icon};
use crate::error::Error;
use crate::scenario::TextEdge;

/// A font and its size.
#[derive(Debug, Clone, PartialEq)]
pub struct FaceChoice {
    /// The name of a drawn set (`block`, `slim`, `round`), or the path of a TTF or OTF file.
    pub font: String,
    /// Height of the cell of a drawn set, or font size of a font file, in pixels.
    pub height_px: f32,
    /// Factor by which the letters are widened.
    pub stretch: f32,
    /// Edge around the letters of a font file.
    pub edge: TextEdge,
    /// Width of the outline around the letters of a font file, or length of their shadow, in pixels; `None`
    /// if it is derived from the size.
    pub edge_px: Option<f32>,
}

/// A font's glyphs at one size.
#[derive(Debug)]
pub struct Face {
    glyphs: HashMap<char, Glyph>,
    icons: HashMap<Icon, Glyph>,
    height_px: f32,
}

/// All characters of values, units and prefixes.
const LETTERS: &str = "0123456789.-:VAGHSTWmkhnprsft/%°";

impl Face {
    /// Draws all glyphs of a font.
    ///
    /// # Errors
    /// [`Error::Font`] if the font is neither a drawn set nor a usable file.
    pub fn load(choice: &FaceChoice) -> Result<Self, Error> {
        match DrawnSet::from_name(&choice.font) {
            Some(set) => Ok(Self::drawn(set, choice)),
            None => Self::from_font_file(choice),
        }
    }

    fn drawn(set: DrawnSet, choice: &FaceChoice) -> Self {
        let scale = choice.height_px / set.cell()[1] as f32;
        let glyph = |letter| set.glyph(letter, scale, choice.stretch).map(|glyph| (letter, glyph));
        let icon = |icon| (icon, set.icon(icon, scale, choice.stretch));
        Self {
            glyphs: LETTERS.chars().filter_map(glyph).collect(),
            icons: Icon::ALL.map(icon).into(),
            height_px: choice.height_px,
        }
    }

    fn from_font_file(choice: &FaceChoice) -> Result<Self, Error> {
        let path = Path::new(&choice.font);
        let fail = |reason: String| Error::Font { path: path.to_path_buf(), reason };
        let bytes = std::fs::read(path).map_err(|cause| fail(cause.to_string()))?;
        let font = FontVec::try_from_vec(bytes).map_err(|cause| fail(cause.to_string()))?;
        let scale = PxScale { x: choice.height_px * choice.stretch, y: choice.height_px };
        let reach = choice.edge_px.unwrap_or_else(|| edge_reach(choice.edge, choice.height_px));
        let glyph = |letter| (letter, font_glyph(&font, letter, scale, (choice.edge, reach)));
        let icon_scale = choice.height_px / DrawnSet::Round.cell()[1] as f32;
        let icon = |icon| (icon, DrawnSet::Round.icon(icon, icon_scale, choice.stretch));
        Ok(Self {
            glyphs: LETTERS.chars().map(glyph).collect(),
            icons: Icon::ALL.map(icon).into(),
            height_px: choice.height_px,
        })
    }

    /// The glyph of a character; `None` for a character that overlays do not use.
    #[must_use]
    pub fn glyph(&self, character: char) -> Option<&Glyph> {
        self.glyphs.get(&character)
    }

    pub(super) fn icon(&self, icon: Icon) -> Option<&Glyph> {
        self.icons.get(&icon)
    }

    /// Height of a line in pixels.
    #[must_use]
    pub fn height_px(&self) -> f32 {
        self.height_px
    }

    /// Width of a text in pixels; unknown characters count as 0.
    #[must_use]
    pub fn width_px(&self, text: &str) -> f32 {
        text.chars().filter_map(|character| self.glyph(character)).map(|glyph| glyph.advance).sum()
    }
}

/// Draws one letter of a font file.
fn font_glyph(font: &FontVec, letter: char, scale: PxScale, (edge, reach): (TextEdge, f32)) -> Glyph {
    let scaled = font.as_scaled(scale);
    let id = font.glyph_id(letter);
    let advance = scaled.h_advance(id);
    let placed = id.with_scale_and_position(scale, ab_glyph::point(0.0, scaled.ascent()));
    let Some(outline) = font.outline_glyph(placed) else {
        return Glyph::empty(1, 1, advance);
    };
    let bounds = outline.px_bounds();
    let margin = reach.ceil() as usize + 1;
    let width = bounds.width().ceil() as usize + 2 * margin;
    let height = bounds.height().ceil() as usize + 2 * margin;
    let mut white = vec![0.0; width * height];
    outline.draw(|x, y, cover| {
        let index = (y as usize + margin) * width + x as usize + margin;
        if let Some(pixel) = white.get_mut(index) {
            *pixel = cover.min(1.0);
        }
    });
    let mut glyph = Glyph::empty(width, height, advance);
    (glyph.left, glyph.top) = (bounds.min.x - margin as f32, bounds.min.y - margin as f32);
    for row in 0..height {
        for column in 0..width {
            let dark = darkness(&white, width, [column, row], edge, reach);
            let light = white[row * width + column];
            match edge {
                TextEdge::Hollow => {
                    let inside = inner_cover(&white, width, [column, row], reach);
                    let around = (1.0 - light) * dark;
                    glyph.set_layers(column, row, light - inside, around / (1.0 - light + inside).max(1e-3));
                }
                _ => glyph.set_layers(column, row, light, dark),
            }
        }
    }
    glyph
}

fn edge_reach(edge: TextEdge, size_px: f32) -> f32 {
    match edge {
        TextEdge::Plain => 0.0,
        TextEdge::Outline | TextEdge::Hollow => (size_px * 0.06).max(1.0),
        TextEdge::Shadow => (size_px * 0.09).max(1.2),
    }
}

/// Opacity of the inside of a hollow letter at a pixel, 0 to 1: the minimum of `white`, the opacity of the filled
/// letter, within `reach` pixels.
fn inner_cover(white: &[f32], width: usize, [column, row]: [usize; 2], reach: f32) -> f32 {
    let radius = reach.ceil() as i64;
    let offsets = || -radius..=radius;
    let near = offsets().flat_map(|down| offsets().map(move |right| (down, right)));
    let within = near.filter(|(down, right)| (*down as f32).hypot(*right as f32) <= reach);
    let cover = within.map(|(down, right)| {
        let (x, y) = (column as i64 + right, row as i64 + down);
        let index = (x >= 0 && y >= 0 && (x as usize) < width).then(|| y as usize * width + x as usize);
        index.and_then(|index| white.get(index)).copied().unwrap_or(0.0)
    });
    cover.fold(1.0, f32::min)
}

/// Opacity of the dark outline or shadow at a pixel, 0 to 1: the maximum of `white`, the opacity of the letter, within
/// `reach` pixels. It decreases with distance.
fn darkness(white: &[f32], width: usize, pixel: [usize; 2], edge: TextEdge, reach: f32) -> f32 {
    if edge == TextEdge::Plain {
        return 0.0;
    }
    let shadow = edge == TextEdge::Shadow;
    let (shift, strength) = if shadow { (reach * 0.6, 0.7) } else { (0.0, 1.0) };
    let [x, y] = pixel.map(|place| place as f32 - shift);
    let radius = reach.ceil() as i64 + 1;
    let mut most = 0.0_f32;
    for row in -radius..=radius {
        for column in -radius..=radius {
            let (near_x, near_y) = (x.round() as i64 + column, y.round() as i64 + row);
            if near_x < 0 || near_y < 0 || near_x as usize >= width {
                continue;
            }
            let Some(cover) = white.get(near_y as usize * width + near_x as usize) else { continue };
            let distance = (near_x as f32 - x).hypot(near_y as f32 - y);
            let fade = (reach + 0.5 - distance).clamp(0.0, 1.0);
            most = most.max(cover * fade);
        }
    }
    most * strength
}

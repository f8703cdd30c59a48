//! Glyph sets drawn for this project: digits and signs, and the letters and icons next to them.

mod block;
mod decoration;
mod round;
mod slim;
mod strokes;

pub use decoration::Icon;
pub use strokes::{Piece, StrokeStyle};

use strokes::pixel_length;

/// The image of a drawn glyph: brightness and opacity of each pixel, row by row from the upper left.
#[derive(Debug, Clone, PartialEq)]
pub struct Glyph {
    /// Width in pixels.
    pub width: usize,
    /// Height in pixels.
    pub height: usize,
    /// Distance from the pen's position to the left edge of the image, in pixels.
    pub left: f32,
    /// Distance from the top of the line to the top edge of the image, in pixels.
    pub top: f32,
    /// Distance from the pen's position to that of the next glyph, in pixels.
    pub advance: f32,
    /// Brightness, 0 (black) to 1 (white); without meaning where `cover` is 0.
    pub luma: Vec<f32>,
    /// Opacity over the image behind, 0 to 1.
    pub cover: Vec<f32>,
}

impl Glyph {
    /// A fully transparent glyph.
    #[must_use]
    pub fn empty(width: usize, height: usize, advance: f32) -> Self {
        let pixels = width * height;
        Self {
            width,
            height,
            left: 0.0,
            top: 0.0,
            advance,
            luma: vec![0.0; pixels],
            cover: vec![0.0; pixels],
        }
    }

    /// Brightness times opacity, and opacity, of the pixel at a position; 0 outside the glyph.
    #[must_use]
    pub fn at(&self, column: i64, row: i64) -> (f32, f32) {
        let inside =
            column >= 0 && row >= 0 && (column as usize) < self.width && (row as usize) < self.height;
        if !inside {
            return (0.0, 0.0);
        }
        let index = row as usize * self.width + column as usize;
        (self.luma[index] * self.cover[index], self.cover[index])
    }

    /// Sets a pixel to white over black; `white` and `dark` are the opacities of the two, 0 to 1.
    pub fn set_layers(&mut self, column: usize, row: usize, white: f32, dark: f32) {
        let cover = white + (1.0 - white) * dark;
        let index = row * self.width + column;
        self.cover[index] = cover;
        self.luma[index] = if cover > 0.0 { white / cover } else { 0.0 };
    }

    /// The glyph at another size; each new pixel is the mean of the area that it covers.
    #[must_use]
    fn resized(&self, scale_x: f32, scale_y: f32) -> Self {
        let width = pixel_length(self.width as f32 * scale_x);
        let height = pixel_length(self.height as f32 * scale_y);
        let mut glyph = Self::empty(width, height, self.advance * scale_x);
        for row in 0..height {
            let rows = spans(row, scale_y);
            for column in 0..width {
                let columns = spans(column, scale_x);
                let (mut light, mut cover) = (0.0, 0.0);
                for &(y, share_y) in &rows {
                    for &(x, share_x) in &columns {
                        let (pixel_light, pixel_cover) = self.at(x, y);
                        light += pixel_light * share_x * share_y;
                        cover += pixel_cover * share_x * share_y;
                    }
                }
                let index = row * width + column;
                glyph.cover[index] = cover;
                glyph.luma[index] = if cover > 0.0 { light / cover } else { 0.0 };
            }
        }
        glyph
    }
}

/// The pixels of the original image, along one axis, that a pixel of the resized image covers: index of each, and its
/// share of the covered length (all shares add up to 1).
fn spans(pixel: usize, scale: f32) -> Vec<(i64, f32)> {
    let (start, end) = (pixel as f32 / scale, (pixel as f32 + 1.0) / scale);
    (start.floor() as i64..=end.floor() as i64)
        .map(|source| {
            let overlap = end.min(source as f32 + 1.0) - start.max(source as f32);
            (source, overlap.max(0.0) * scale)
        })
        .filter(|&(_, share)| share > 0.0)
        .collect()
}

/// A glyph set drawn for this project.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum DrawnSet {
    /// Thick strokes on whole pixels, cell of 12 by 18 pixels.
    Block,
    /// Thin angular strokes with a soft halo, cell of 10 by 18 pixels.
    Slim,
    /// Round strokes with an outline, cell of 16 by 24 pixels.
    Round,
}

impl DrawnSet {
    /// All sets.
    pub const ALL: [Self; 3] = [Self::Block, Self::Slim, Self::Round];

    /// The characters of values, in the order of the template images.
    pub const CHARACTERS: [char; 13] = ['0', '1', '2', '3', '4', '5', '6', '7', '8', '9', '.', '-', ':'];

    /// The set's name, as used in scenarios and folder names.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Block => "block",
            Self::Slim => "slim",
            Self::Round => "round",
        }
    }

    /// The set with a name; `None` if there is none.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|set| set.name() == name)
    }

    /// Width and height of the cell in pixels, at scale 1.
    #[must_use]
    pub const fn cell(self) -> [u32; 2] {
        self.style().cell
    }

    /// Distance from one glyph to the next in pixels, at scale 1.
    #[must_use]
    pub fn advance(self, character: char) -> f32 {
        let [wide, narrow] = match self {
            Self::Block => [12.0, 12.0],
            Self::Slim => slim::ADVANCES,
            Self::Round => round::ADVANCES,
        };
        if matches!(character, '.' | ':') { narrow } else { wide }
    }

    /// The glyph of a character at `scale` times the cell's size, widened by the factor `stretch`; `None` if
    /// the set has no such character.
    #[must_use]
    pub fn glyph(self, character: char, scale: f32, stretch: f32) -> Option<Glyph> {
        let advance = self.advance(character);
        let own = match self {
            Self::Block => {
                if let Some(rows) = block::art(character) {
                    return Some(typed(rows, advance).resized(scale * stretch, scale));
                }
                None
            }
            Self::Slim => slim::skeleton(character),
            Self::Round => round::skeleton(character),
        };
        let pieces = own.or_else(|| decoration::letter(character))?;
        Some(self.drawn(pieces, advance, scale, stretch))
    }

    /// An icon in the style of the set, at `scale` times the cell's size and widened by the factor `stretch`.
    #[must_use]
    pub fn icon(self, icon: Icon, scale: f32, stretch: f32) -> Glyph {
        self.drawn(icon.skeleton(), self.style().cell[0] as f32, scale, stretch)
    }

    fn drawn(self, pieces: &[Piece], advance: f32, scale: f32, stretch: f32) -> Glyph {
        match self {
            Self::Block => self.style().draw(pieces, advance, 1.0, 1.0).resized(scale * stretch, scale),
            Self::Slim | Self::Round => self.style().draw(pieces, advance, scale, stretch),
        }
    }

    const fn style(self) -> StrokeStyle {
        match self {
            Self::Block => block::STYLE,
            Self::Slim => slim::STYLE,
            Self::Round => round::STYLE,
        }
    }
}

/// The glyph for a typed drawing of the `block` set in its cell, with an outline around it.
fn typed(rows: &[&str; 12], advance: f32) -> Glyph {
    let [width, height] = block::STYLE.cell.map(|length| length as usize);
    let [left, top] = block::ART_ORIGIN;
    let white = |column: usize, row: usize| {
        let (Some(column), Some(row)) = (column.checked_sub(left), row.checked_sub(top)) else {
            return false;
        };
        rows.get(row).and_then(|line| line.as_bytes().get(column)) == Some(&b'#')
    };
    let mut glyph = Glyph::empty(width, height, advance);
    for row in 0..height {
        for column in 0..width {
            let near = (row.saturating_sub(1)..=row + 1)
                .any(|y| (column.saturating_sub(1)..=column + 1).any(|x| white(x, y)));
            let fill = |yes: bool| if yes { 1.0 } else { 0.0 };
            glyph.set_layers(column, row, fill(white(column, row)), fill(near));
        }
    }
    glyph
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn every_set_draws_every_character_within_its_cell() {
        for set in DrawnSet::ALL {
            for character in DrawnSet::CHARACTERS {
                let glyph = set.glyph(character, 1.0, 1.0).unwrap();
                assert_eq!([glyph.width as u32, glyph.height as u32], set.cell());
                let white: f32 = glyph.luma.iter().zip(&glyph.cover).map(|(l, c)| l * c).sum();
                assert!(white > 3.0, "{} {character} is nearly empty: {white}", set.name());
            }
        }
    }

    #[test]
    fn the_digits_of_a_set_differ_from_one_another() {
        for set in DrawnSet::ALL {
            let drawn = DrawnSet::CHARACTERS.map(|c| set.glyph(c, 1.0, 1.0).unwrap());
            for (index, first) in drawn.iter().enumerate() {
                for second in &drawn[index + 1..] {
                    let apart: f32 = first.luma.iter().zip(&second.luma).map(|(a, b)| (a - b).abs()).sum();
                    assert!(apart > 6.0, "two glyphs of {} are {apart} pixels apart", set.name());
                }
            }
        }
    }

    #[test]
    fn resizing_keeps_the_amount_of_white() {
        let white = |glyph: &Glyph| -> f32 { glyph.luma.iter().zip(&glyph.cover).map(|(l, c)| l * c).sum() };
        let once = white(&DrawnSet::Block.glyph('8', 1.0, 1.0).unwrap());
        let larger = white(&DrawnSet::Block.glyph('8', 1.75, 1.0).unwrap());
        assert!((larger / once - 1.75 * 1.75).abs() < 0.02, "{larger} {once}");
    }
}

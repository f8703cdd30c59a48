//! An alphabet: a face's glyphs as features at a region's working resolution.

use image::imageops::{FilterType, resize};
use image::{ImageBuffer, Luma};
use ndarray::{Array2, s};

use super::feature::{HighPass, blurred_across};
use crate::glyphs::{Face, Glyph};

/// Grey level put behind transparent glyphs: about mid-grey.
const BACKDROP_LEVEL: f32 = 110.0;

/// Glyphs up to this height, in frame pixels, are worked on as they are; larger ones are averaged
/// down to between half of it and all of it.
const WORKING_HEIGHT_PX: usize = 40;

/// One character as features.
#[derive(Debug, Clone)]
pub struct Shape {
    /// The character.
    pub character: char,
    /// Features of the glyph, alphabet rows x own columns.
    pub template: Array2<f32>,
    /// Distance to the next glyph's left edge, in working pixels.
    pub advance: f32,
    /// Pictures that the template is the mean of; `None` where it is drawn.
    pub pictures: Option<u32>,
}

/// Bands that a cell is divided into to test its parts: rows, columns. Blocks are two bands high and
/// wide and overlap by one.
const BANDS: (usize, usize) = (6, 4);

/// Share of the strongest block's energy that makes a block one with strokes.
const STROKE_SHARE: f32 = 0.45;

impl Shape {
    /// How much of its strokes is there, part by part: for every block of the cell that holds strokes
    /// of the template t, sum(t f) / sum(t t) over the block, which is 1 for the glyph itself; the
    /// least of them. A digit that lacks one stroke of another passes every test of the whole
    /// cell, but not this one.
    ///
    /// `patch` holds features in the template's shape.
    #[must_use]
    pub fn least_stroke(&self, patch: &Array2<f32>) -> f32 {
        let (rows, cols) = self.template.dim();
        let mut blocks = Vec::new();
        for band_y in 0..BANDS.0 - 1 {
            for band_x in 0..BANDS.1 - 1 {
                let (top, bottom) = (band_y * rows / BANDS.0, (band_y + 2) * rows / BANDS.0);
                let (left, right) = (band_x * cols / BANDS.1, (band_x + 2) * cols / BANDS.1);
                let t = self.template.slice(s![top..bottom, left..right]);
                let f = patch.slice(s![top..bottom, left..right]);
                let energy: f32 = t.iter().map(|v| v * v).sum();
                let product: f32 = t.iter().zip(f.iter()).map(|(v, w)| v * w).sum();
                blocks.push((energy, product));
            }
        }
        let strongest = blocks.iter().map(|(energy, _)| *energy).fold(f32::MIN_POSITIVE, f32::max);
        let strokes = blocks.iter().filter(|(energy, _)| *energy > STROKE_SHARE * strongest);
        strokes.map(|(energy, product)| product / energy).fold(f32::INFINITY, f32::min)
    }
}

/// A face at a working resolution.
#[derive(Debug, Clone)]
pub struct Alphabet {
    /// The characters.
    pub shapes: Vec<Shape>,
    /// Rows of every template.
    pub rows: usize,
    /// Columns of the widest template.
    pub cols: usize,
    /// The high-pass that made the features and must be applied to frames.
    pub high_pass: HighPass,
    /// Frame pixels averaged into one working pixel, each way.
    pub factor: usize,
}

/// How a face appears on the frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Appearance {
    /// Magnification of the face's cells (x, y).
    pub scale: (f32, f32),
    /// Standard deviation of the blur along the lines, in working pixels.
    pub blur_px: f32,
}

impl Appearance {
    /// Appearances a step away: narrower, wider, lower, higher, sharper and more blurred.
    #[must_use]
    pub fn neighbours(self, magnification_step: f32, blur_step_px: f32, most_blur_px: f32) -> [Self; 6] {
        let (less, more) = (1.0 - magnification_step, 1.0 + magnification_step);
        let scaled = |x: f32, y: f32| Self { scale: (self.scale.0 * x, self.scale.1 * y), ..self };
        let blurred = |by: f32| Self { blur_px: (self.blur_px + by).clamp(0.0, most_blur_px), ..self };
        [
            scaled(less, 1.0),
            scaled(more, 1.0),
            scaled(1.0, less),
            scaled(1.0, more),
            blurred(-blur_step_px),
            blurred(blur_step_px),
        ]
    }
}

/// How many frame pixels go into one working pixel for glyphs of this height in frame pixels.
#[must_use]
pub fn working_factor(glyph_height_px: f32) -> usize {
    (glyph_height_px / WORKING_HEIGHT_PX as f32).ceil().max(1.0) as usize
}

impl Alphabet {
    /// Prepares a face that appears on the frame magnified by `scale` (x, y): 1 for taught faces.
    #[must_use]
    pub fn new(face: &Face, scale: (f32, f32)) -> Self {
        let factor = working_factor(face.cell.1 as f32 * scale.1);
        Self::with_appearance(face, Appearance { scale, blur_px: 0.0 }, factor)
    }

    /// Prepares a face that appears on the frame as told.
    #[must_use]
    pub fn with_appearance(face: &Face, appearance: Appearance, factor: usize) -> Self {
        let Appearance { scale, blur_px } = appearance;
        let zoom = (scale.0 / factor as f32, scale.1 / factor as f32);
        let rows = ((face.cell.1 as f32 * zoom.1).round() as usize).max(3);
        let widest = face.glyphs.iter().map(|glyph| glyph.advance).fold(1.0, f32::max) * zoom.0;
        let high_pass = HighPass::for_cell_width(widest);
        let shapes: Vec<Shape> =
            face.glyphs.iter().map(|glyph| shape_of(glyph, zoom, (rows, blur_px), &high_pass)).collect();
        let cols = shapes.iter().map(|shape| shape.template.ncols()).max().unwrap_or(1);
        Self { shapes, rows, cols, high_pass, factor }
    }

    /// Scales the templates to the contrast of features that hold text: built-in glyphs are drawn at
    /// full contrast, overlays are fainter.
    pub fn match_contrast(&mut self, features: &[Array2<f32>]) {
        let seen = strong_level(features.iter());
        let drawn = strong_level(self.shapes.iter().map(|shape| &shape.template));
        if drawn > 0.0 && seen > 0.0 {
            let gain = seen / drawn;
            self.shapes.iter_mut().for_each(|shape| shape.template *= gain);
        }
    }

    /// Multiplies the distances between characters by `ratio`.
    pub fn scale_advances(&mut self, ratio: f32) {
        self.shapes.iter_mut().for_each(|shape| shape.advance *= ratio);
    }

    /// Whether the face was drawn, not taught.
    #[must_use]
    pub fn is_drawn(&self) -> bool {
        self.shapes.iter().all(|shape| shape.pictures.is_none())
    }

    /// The index of a character's shape.
    #[must_use]
    pub fn index_of(&self, character: char) -> Option<usize> {
        self.shapes.iter().position(|shape| shape.character == character)
    }

    /// The widest advance of the digits, in working pixels: the pitch of fixed-pitch type.
    #[must_use]
    pub fn pitch(&self) -> f32 {
        let digits = self.shapes.iter().filter(|shape| shape.character.is_ascii_digit());
        digits.map(|shape| shape.advance).fold(1.0, f32::max)
    }
}

/// Level of the strongest strokes: the upper twentieth of the features' sizes.
fn strong_level<'a>(features: impl Iterator<Item = &'a Array2<f32>>) -> f32 {
    let mut sizes: Vec<f32> = features.flat_map(|one| one.iter().map(|level| level.abs())).collect();
    sizes.sort_by(f32::total_cmp);
    sizes.get(sizes.len() * 19 / 20).copied().unwrap_or(0.0)
}

/// Puts the glyph on the backdrop, scales it, and takes features with room around it.
fn shape_of(glyph: &Glyph, zoom: (f32, f32), (rows, blur_px): (usize, f32), high_pass: &HighPass) -> Shape {
    let pad = 8;
    let flat = &glyph.levels * &glyph.opacity + glyph.opacity.mapv(|a| (1.0 - a) * BACKDROP_LEVEL);
    let cols = ((flat.ncols() as f32 * zoom.0).round() as usize).max(2);
    let scaled = resized(&flat, rows, cols);
    let padded = Array2::from_shape_fn((rows + 2 * pad, cols + 2 * pad), |(y, x)| {
        scaled[[y.saturating_sub(pad).min(rows - 1), x.saturating_sub(pad).min(cols - 1)]]
    });
    let padded = blurred_across(&padded, blur_px);
    let advance = glyph.advance * zoom.0;
    let own_cols = (advance.ceil() as usize).clamp(2, cols);
    let template = high_pass.apply(&padded).slice(s![pad..pad + rows, pad..pad + own_cols]).to_owned();
    Shape { character: glyph.character, template, advance, pictures: glyph.pictures }
}

/// Resamples grey levels of 0 to 255; the image crate keeps floating point pixels within 0 to 1.
fn resized(levels: &Array2<f32>, rows: usize, cols: usize) -> Array2<f32> {
    if levels.dim() == (rows, cols) {
        return levels.clone();
    }
    let picture: ImageBuffer<Luma<f32>, Vec<f32>> =
        ImageBuffer::from_fn(levels.ncols() as u32, levels.nrows() as u32, |x, y| {
            Luma([levels[[y as usize, x as usize]] / 255.0])
        });
    let scaled = resize(&picture, cols as u32, rows as u32, FilterType::Triangle);
    Array2::from_shape_fn((rows, cols), |(y, x)| 255.0 * scaled.get_pixel(x as u32, y as u32).0[0])
}

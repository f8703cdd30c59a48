//! Alphabets: the glyphs of a face as features at a region's working resolution.

use fast_image_resize::images::{TypedImage, TypedImageRef};
use fast_image_resize::pixels::F32;
use fast_image_resize::{FilterType, ResizeAlg, ResizeOptions, Resizer};
use ndarray::{Array2, Zip, s};

use super::appearance::{Appearance, BACKGROUND_LEVEL};
use crate::glyphs::{Face, Glyph};
use crate::recognise::features::blurred_across;
use crate::recognise::features::high_pass::HighPass;
use crate::recognise::features::window::working_factor;
use crate::stats::upper_median;

/// Minimum number of images of a character at which its template is reliable, that is, its own noise is
/// negligible. A labelled frame and its neighbours give nine images.
const MIN_RELIABLE_IMAGES: u32 = 10;

/// The template of one character.
#[derive(Debug, Clone)]
pub struct Shape {
    /// The character.
    pub character: char,
    /// Features of the glyph: the rows of the alphabet, and as many columns as the advance covers.
    pub template: Array2<f32>,
    /// Distance to the left edge of the next character, in working pixels.
    pub advance: f32,
    /// Number of images that the template is the mean of; `None` for a built-in glyph.
    pub image_count: Option<u32>,
}

impl Shape {
    /// Whether the template is built in, or the mean of enough images for its own noise to be negligible.
    #[must_use]
    pub fn is_reliable(&self) -> bool {
        self.image_count.is_none_or(|image_count| image_count >= MIN_RELIABLE_IMAGES)
    }
}

/// The templates of a face at a working resolution.
#[derive(Debug, Clone)]
pub struct Alphabet {
    /// The templates of the characters.
    pub shapes: Vec<Shape>,
    /// Number of rows of every template.
    pub rows: usize,
    /// Number of columns of the widest template.
    pub cols: usize,
    /// The high-pass filter that the templates were made with; frames must be filtered in the same way.
    pub high_pass: HighPass,
    /// Number of frame pixels averaged into one working pixel in each direction.
    pub factor: usize,
}

impl Alphabet {
    /// The templates of a face magnified by `scale` (x, y), which is 1 for learned faces.
    #[must_use]
    pub fn new(face: &Face, scale: (f32, f32)) -> Self {
        let factor = working_factor(face.cell.1 as f32 * scale.1);
        Self::with_appearance(face, Appearance::magnified(scale), factor)
    }

    /// The templates of a face with a given appearance.
    #[must_use]
    pub fn with_appearance(face: &Face, appearance: Appearance, factor: usize) -> Self {
        Self::with_some(face, appearance, factor, |_| true)
    }

    /// The templates of a face with a given appearance, for those characters for which `includes` returns
    /// `true`.
    pub(in crate::recognise) fn with_some(
        face: &Face,
        appearance: Appearance,
        factor: usize,
        includes: impl Fn(char) -> bool,
    ) -> Self {
        let high_pass = high_pass_of(face, appearance, factor);
        let glyphs = face.glyphs.iter().filter(|glyph| includes(glyph.character));
        let shapes = shapes_of(glyphs, (face.cell.1, appearance, factor), &high_pass);
        let cols = shapes.iter().map(|shape| shape.template.ncols()).max().unwrap_or(1);
        Self { shapes, rows: rows_of(face.cell.1, appearance, factor), cols, high_pass, factor }
    }

    /// Scales the templates to the contrast of features that contain text: built-in glyphs have full
    /// contrast, overlays have less.
    pub fn match_contrast(&mut self, features: &[Array2<f32>]) {
        let seen = strong_level(features.iter());
        let drawn = strong_level(self.shapes.iter().map(|shape| &shape.template));
        if drawn > 0.0 && seen > 0.0 {
            let gain = seen / drawn;
            self.shapes.iter_mut().for_each(|shape| shape.template *= gain);
        }
    }

    /// Scales digits whose contrast is far from the median to the median contrast: they were learned in front
    /// of backgrounds of different brightness.
    pub fn equalise_contrasts(&mut self) {
        let digits = || self.shapes.iter().filter(|shape| shape.character.is_ascii_digit());
        let mut levels: Vec<f32> =
            digits().map(|shape| strong_level(std::iter::once(&shape.template))).collect();
        let Some(usual) = upper_median(&mut levels) else { return };
        for shape in self.shapes.iter_mut().filter(|shape| shape.character.is_ascii_digit()) {
            let gain = usual / strong_level(std::iter::once(&shape.template)).max(f32::MIN_POSITIVE);
            if !(USUAL_CONTRASTS.0..=USUAL_CONTRASTS.1).contains(&gain) {
                shape.template *= gain;
            }
        }
    }

    /// Multiplies the distances between characters by `ratio`.
    pub fn scale_advances(&mut self, ratio: f32) {
        self.shapes.iter_mut().for_each(|shape| shape.advance *= ratio);
    }

    /// Whether all templates are built in.
    #[must_use]
    pub fn is_builtin(&self) -> bool {
        self.shapes.iter().all(|shape| shape.image_count.is_none())
    }

    /// The alphabet index of a character; `None` if the alphabet lacks it.
    #[must_use]
    pub fn index_of(&self, character: char) -> Option<usize> {
        self.shapes.iter().position(|shape| shape.character == character)
    }

    /// Whether all ten digits have a template.
    #[must_use]
    pub fn has_all_digits(&self) -> bool {
        self.missing_digits().next().is_none()
    }

    /// Digits without a template, in ascending order.
    pub(crate) fn missing_digits(&self) -> impl Iterator<Item = char> {
        ('0'..='9').filter(|digit| self.index_of(*digit).is_none())
    }

    /// Whether all ten digits have a reliable template.
    #[must_use]
    pub fn are_all_digits_reliable(&self) -> bool {
        ('0'..='9').all(|digit| self.index_of(digit).is_some_and(|index| self.shapes[index].is_reliable()))
    }

    /// The largest advance of the digits, in working pixels: the pitch of a monospaced face.
    #[must_use]
    pub fn pitch(&self) -> f32 {
        let digits = self.shapes.iter().filter(|shape| shape.character.is_ascii_digit());
        digits.map(|shape| shape.advance).fold(1.0, f32::max)
    }
}

/// Minimum and maximum contrast of a digit, relative to the median contrast of all digits, at which the digit
/// keeps its contrast: digits differ this much because of their shapes. Set by judgement.
const USUAL_CONTRASTS: (f32, f32) = (0.8, 1.25);

/// Level of the strongest strokes: the 0.95 quantile of the magnitudes of some features, in grey levels.
fn strong_level<'a>(features: impl Iterator<Item = &'a Array2<f32>>) -> f32 {
    let mut sizes: Vec<f32> = features.flat_map(|one| one.iter().map(|level| level.abs())).collect();
    if sizes.is_empty() {
        return 0.0;
    }
    let strong = sizes.len() * 19 / 20;
    *sizes.select_nth_unstable_by(strong, f32::total_cmp).1
}

/// Padding around a cell before it is high-pass filtered, in working pixels: more than the largest vertical
/// offset. In the padding the cell's edge pixels are repeated.
const PAD_PX: usize = 3;

/// Number of rows of a cell in working pixels, computed from its height in pixels of the face.
fn rows_of(cell_height: usize, appearance: Appearance, factor: usize) -> usize {
    ((cell_height as f32 * appearance.scale.1 / factor as f32).round() as usize).max(3)
}

/// The high-pass filter for a face with a given appearance.
pub(in crate::recognise) fn high_pass_of(face: &Face, appearance: Appearance, factor: usize) -> HighPass {
    let widest = face.glyphs.iter().map(|glyph| glyph.advance).fold(1.0, f32::max);
    HighPass::for_cell_width(widest * appearance.scale.0 / factor as f32)
}

/// The templates of some glyphs of a face whose cells are `cell_height` pixels high.
pub(in crate::recognise) fn shapes_of<'a>(
    glyphs: impl Iterator<Item = &'a Glyph>,
    (cell_height, appearance, factor): (usize, Appearance, usize),
    high_pass: &HighPass,
) -> Vec<Shape> {
    let zoom = (appearance.scale.0 / factor as f32, appearance.scale.1 / factor as f32);
    let rows = rows_of(cell_height, appearance, factor);
    glyphs.map(|glyph| shape_of(glyph, zoom, (rows, appearance), high_pass)).collect()
}

/// Composites a glyph with its background, scales it with padding, and computes its features.
fn shape_of(
    glyph: &Glyph,
    zoom: (f32, f32),
    (rows, appearance): (usize, Appearance),
    high_pass: &HighPass,
) -> Shape {
    let flat = Zip::from(&glyph.levels).and(&glyph.opacity);
    let flat = flat.map_collect(|level, opacity| level * opacity + (1.0 - opacity) * appearance.background);
    let cols = ((flat.ncols() as f32 * zoom.0).round() as usize).max(2);
    let scaled = scaled(&flat, zoom, appearance.offset_px, (rows + 2 * PAD_PX, cols + 2 * PAD_PX));
    let advance = glyph.advance * zoom.0;
    let own_cols = (advance.ceil() as usize).clamp(2, cols);
    let features =
        high_pass.apply_to_rows(&blurred_across(&scaled, appearance.blur_px), PAD_PX..PAD_PX + rows);
    let template = features.slice(s![.., PAD_PX..PAD_PX + own_cols]).to_owned();
    Shape { character: glyph.character, template, advance, image_count: glyph.image_count }
}

/// Resamples the grey levels of a cell, magnified by `zoom` (x, y), to `size` (rows, columns). The cell's top
/// left corner lies [`PAD_PX`] from the left edge and `offset_px` more than that from the top edge; around
/// the cell its edge pixels are repeated.
fn scaled(levels: &Array2<f32>, zoom: (f32, f32), offset_px: f32, size: (usize, usize)) -> Array2<f32> {
    let (rows, cols) = levels.dim();
    let extent = |zoom: f32, length: usize, cell: usize| {
        let before = ((PAD_PX + 1) as f32 / zoom).ceil() as usize + 1;
        let all = before + ((length + 1) as f32 / zoom).ceil() as usize + 1;
        (before, all.max(before + cell))
    };
    let ((left, width), (top, height)) = (extent(zoom.0, size.1, cols), extent(zoom.1, size.0, rows));
    let mut padded = Vec::with_capacity(width * height);
    for y in 0..height {
        let row = levels.row(y.saturating_sub(top).min(rows - 1));
        let (first, last) = (F32::new(row[0]), F32::new(row[cols - 1]));
        padded.extend(std::iter::repeat_n(first, left));
        padded.extend(row.iter().map(|level| F32::new(*level)));
        padded.extend(std::iter::repeat_n(last, width - left - cols));
    }
    let window = ResizeOptions::new().resize_alg(ResizeAlg::Convolution(FilterType::Box)).crop(
        left as f64 - PAD_PX as f64 / f64::from(zoom.0),
        top as f64 - (PAD_PX as f64 + f64::from(offset_px)) / f64::from(zoom.1),
        size.1 as f64 / f64::from(zoom.0),
        size.0 as f64 / f64::from(zoom.1),
    );
    let mut out = TypedImage::<F32>::new(size.1 as u32, size.0 as u32);
    let done = TypedImageRef::new(width as u32, height as u32, &padded)
        .is_ok_and(|source| Resizer::new().resize_typed(&source, &mut out, &window).is_ok());
    debug_assert!(done, "the crop box lies inside the padded cell");
    let levels: Vec<f32> = out.pixels().iter().map(|pixel| pixel.0).collect();
    Array2::from_shape_vec(size, levels).unwrap_or_else(|_| Array2::from_elem(size, BACKGROUND_LEVEL))
}
